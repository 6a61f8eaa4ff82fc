package usgs

import (
	"io"
	"math"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// location is an entry of monitoring-locations.
type location struct {
	ingest.SiteInfo
	ID, State    string // "USGS-14076500", "Oregon"
	SiteTypeCode string // "ST" for a stream
}

func readLocations(r io.Reader) (out []location, pg page, err error) {
	pg, err = readPage(r, func(_ int, where string, r *row) error {
		if r.kind() != locationKind {
			return feed.Fault(where, "does not describe a monitoring location", "save an answer of monitoring-locations", nil)
		}
		id := r.ID
		if id == "" {
			id = r.AgencyCode + "-" + r.LocationNumber
		}
		l := location{ID: string(id), State: string(r.StateName), SiteTypeCode: string(r.SiteTypeCode)}
		l.Name, l.Elevation, l.Zone = string(r.LocationName), number(r.Altitude)*0.3048, zoneOf(string(r.TimeZone), r.DST == "Y")
		l.Lat, l.Lon = r.point()
		if miles2 := number(r.Drainage); miles2 > 0 { // false where it is not told
			l.Drainage = miles2 * 2.589988110336
		}
		out = append(out, l)
		return nil
	})
	return out, pg, err
}

// TimeSeries describes one time series: an entry of time-series-metadata.
type TimeSeries struct {
	ID, Site    string
	Parameter   string          // USGS code
	Variable    ingest.Variable // "" if Eclose does not know the parameter
	Statistic   string          // USGS code
	Computation string          // "Mean", "Instantaneous", ...
	Period      string          // "Daily", "Points", "Water Year", ...; "Continuous values", ... in combined-metadata
	Unit        string
	Begin, End  time.Time // UTC; zero if there are no values
	Primary     bool
	Sublocation string
	Lat, Lon    float64
}

func readTimeSeries(r io.Reader) (out []TimeSeries, pg page, err error) {
	pg, err = readPage(r, func(_ int, where string, r *row) error {
		if r.kind() != metadataKind {
			return feed.Fault(where, "does not describe a time series", "save an answer of time-series-metadata", nil)
		}
		ts, err := timeSeries(where, r)
		if err == nil {
			out = append(out, ts)
		}
		return err
	})
	return out, pg, err
}

func timeSeries(where string, r *row) (TimeSeries, error) {
	ts := TimeSeries{ID: string(r.ID), Site: string(r.Site), Parameter: string(r.Parameter), Variable: parameters[string(r.Parameter)].Variable,
		Statistic: string(r.Statistic), Computation: string(r.Computation), Period: string(r.ComputationPeriod), Unit: string(r.Unit),
		Primary: r.Primary == "Primary", Sublocation: string(r.Sublocation)}
	if ts.Period == "" {
		ts.Period = string(r.DataType)
	}
	ts.Lat, ts.Lon = r.point()
	var err error
	if ts.Begin, err = utc(r.BeginUTC, r.Begin); err == nil {
		ts.End, err = utc(r.EndUTC, r.End)
	}
	if err != nil {
		return ts, feed.Unexpected(where, "its span of time: "+err.Error(), nil)
	}
	return ts, nil
}

// utc reads the member that is in UTC, or the plain one if that has an offset
// (version 0 wrote local times without one).
func utc(named, plain text) (time.Time, error) {
	s := string(named)
	if s == "" {
		s = string(plain)
	}
	if s == "" {
		return time.Time{}, nil
	}
	at, _, err := parseTime(s)
	if err != nil {
		return time.Time{}, err
	}
	return time.UnixMicro(at).UTC(), nil
}

func (b *builder) addMetadata(where string, r *row) error {
	ts, err := timeSeries(where, r)
	if err != nil {
		return err
	}
	stat, ok := statisticOf(ts.Statistic)
	if ts.Variable == "" || !ok {
		b.skip(ts.Site, strings.TrimSpace("description of parameter "+ts.Parameter+" "+ts.Statistic), "unsupported variable or statistic", 1)
		return nil
	}
	k := ingest.Key{Feed: FeedName, Site: ts.Site, Variable: ts.Variable, Statistic: stat, TimeSeries: ts.ID}
	switch ts.Period {
	case "Daily", "Daily values":
		k.Period = ingest.Daily
	case "Points", "Continuous values":
		if k.Variable == ingest.Precipitation {
			k.Statistic = ingest.Sum
		}
	default:
		b.skip(ts.Site, "description of parameter "+ts.Parameter+", "+ts.Period, "it is neither continuous nor daily", 1)
		return nil
	}
	if ts.Unit == "" {
		b.skip(ts.Site, "description of parameter "+ts.Parameter, "it states no unit", 1)
		return nil
	}
	_, err = b.series(where, k, ts.Unit, r)
	return err
}

// addChannel keeps a visit with the current meter as four short series, so that
// it is stored like any reading, with from where it was measured as qualifier.
// A site with side channels gets a series for each.
func (b *builder) addChannel(where string, r *row) error {
	at, _, err := parseTime(string(r.Time))
	if err != nil {
		return feed.Unexpected(where, "its time "+err.Error(), nil)
	}
	id := "channel-measurements"
	if r.Channel != "" {
		id += " " + string(r.Channel)
	}
	for _, m := range []struct {
		name        string
		variable    ingest.Variable
		value, unit text
	}{
		{"channel_width", ingest.ChannelWidth, r.Width, r.WidthUnit},
		{"channel_area", ingest.ChannelArea, r.Area, r.AreaUnit},
		{"channel_velocity", ingest.ChannelVelocity, r.Velocity, r.VelocityUnit},
		{"channel_flow", ingest.Discharge, r.Flow, r.FlowUnit},
	} {
		v, _, err := value(string(m.value))
		if err != nil {
			return feed.Unexpected(where, m.name+" "+err.Error(), nil)
		}
		if math.IsNaN(v) {
			continue
		}
		k := ingest.Key{Feed: FeedName, Site: string(r.Site), Variable: m.variable, Statistic: ingest.Instant, TimeSeries: id}
		s, err := b.series(where, k, string(m.unit), r)
		if err != nil {
			return err
		}
		push(s, at, b.conv[s].Apply(v), string(r.How), ingest.ApprovalUnknown)
	}
	return nil
}
