package usgs

import (
	"io"
	"math"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// Location describes one monitoring location.
type Location struct {
	ID              string // "USGS-14076500"
	Name, State     string
	SiteType        string  // "Stream"
	SiteTypeCode    string  // "ST"
	Lat, Lon        float64 // degrees; NaN if unknown
	AltitudeM       float64 // m above the vertical datum; NaN if unknown
	DrainageAreaKm2 float64 // NaN if unknown
	Zone            string  // IANA
}

// Place is the location as series carry it.
func (l Location) Place() ingest.SiteInfo {
	return ingest.SiteInfo{Name: l.Name, Lat: l.Lat, Lon: l.Lon, Elevation: l.AltitudeM, Zone: l.Zone}
}

// squareMileKm2 follows from the mile of 1609.344 m.
const squareMileKm2 = 1.609344 * 1.609344

// ParseLocations reads an answer of monitoring-locations.
func ParseLocations(r io.Reader) ([]Location, error) {
	out, _, err := readLocations(r)
	return out, err
}

func readLocations(r io.Reader) (out []Location, pg page, err error) {
	pg, err = readPage(r, func(_ int, where string, r *row) error {
		if r.kind() != locationKind {
			return bad(where, "does not describe a monitoring location", "save an answer of monitoring-locations", nil)
		}
		id := r.ID
		if id == "" {
			id = r.AgencyCode + "-" + r.LocationNumber
		}
		l := Location{ID: string(id), Name: string(r.LocationName), State: string(r.StateName), SiteType: string(r.SiteType), SiteTypeCode: string(r.SiteTypeCode),
			AltitudeM: number(r.Altitude) * 0.3048, DrainageAreaKm2: number(r.DrainageArea) * squareMileKm2, Zone: ZoneOf(string(r.TimeZone), r.DST == "Y")}
		l.Lat, l.Lon = r.point()
		out = append(out, l)
		return nil
	})
	return out, pg, err
}

// TimeSeries describes one time series: an entry of time-series-metadata.
type TimeSeries struct {
	ID, Site    string
	Parameter   string          // USGS code
	Variable    ingest.Variable // "" if the house does not know the parameter
	Statistic   string          // USGS code
	Computation string          // "Mean", "Instantaneous", ...
	Period      string          // "Daily", "Points", "Water Year", ...; "Continuous values", ... in combined-metadata
	Unit        string
	Begin, End  time.Time // UTC; zero if there are no values
	Primary     bool
	Sublocation string
	Lat, Lon    float64
}

// ParseTimeSeries reads an answer of time-series-metadata or combined-metadata.
func ParseTimeSeries(r io.Reader) ([]TimeSeries, error) {
	out, _, err := readTimeSeries(r)
	return out, err
}

func readTimeSeries(r io.Reader) (out []TimeSeries, pg page, err error) {
	pg, err = readPage(r, func(_ int, where string, r *row) error {
		if r.kind() != metadataKind {
			return bad(where, "does not describe a time series", "save an answer of time-series-metadata", nil)
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
		return ts, bad(where, "its span of time: "+err.Error(), "report it with the saved response", nil)
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
	stat, ok := StatisticOf(ts.Statistic)
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

// Choose picks, among the series of one variable, statistic and period at one
// site, the one to rely on: primary before others, then the one without a
// sublocation, then the one that ends last. ok is false for an empty list.
func Choose(list []TimeSeries) (best TimeSeries, ok bool) {
	for _, t := range list {
		if !ok || better(t, best) {
			best, ok = t, true
		}
	}
	return best, ok
}

func better(a, b TimeSeries) bool {
	switch {
	case a.Primary != b.Primary:
		return a.Primary
	case (a.Sublocation == "") != (b.Sublocation == ""):
		return a.Sublocation == ""
	}
	return a.End.After(b.End)
}

// ChannelMeasurement is one visit with the current meter: what the wading
// model needs to tie depth and speed to flow. NaN where it was not measured.
type ChannelMeasurement struct {
	Site         string
	Time         time.Time
	Number       string  // the agency's number of the measurement; one visit may have several channels
	Channel      string  // name of the channel
	WidthM       float64 // m
	AreaM2       float64 // m2
	VelocityMS   float64 // m/s, mean over the section
	DischargeM3S float64 // m3/s
	Material     string  // bed material in the agency's word
	How          string  // from where it was measured, likewise: "Wading", "BridgeDownstreamSide"
}

// ParseChannel reads an answer of channel-measurements.
func ParseChannel(r io.Reader) ([]ChannelMeasurement, error) {
	out, _, err := readChannel(r)
	return out, err
}

func readChannel(r io.Reader) (out []ChannelMeasurement, pg page, err error) {
	pg, err = readPage(r, func(_ int, where string, r *row) error {
		if r.kind() != channelKind {
			return bad(where, "is not a channel measurement", "save an answer of channel-measurements", nil)
		}
		c, err := channel(where, r)
		if err == nil {
			out = append(out, c)
		}
		return err
	})
	return out, pg, err
}

func channel(where string, r *row) (ChannelMeasurement, error) {
	at, _, err := parseTime(string(r.Time))
	if err != nil {
		return ChannelMeasurement{}, bad(where, "its time "+err.Error(), "report it with the saved response", nil)
	}
	c := ChannelMeasurement{Site: string(r.Site), Time: time.UnixMicro(at).UTC(), Number: string(r.Number), Channel: string(r.Channel), Material: string(r.Material), How: string(r.How)}
	for _, m := range channelMembers {
		v, _, err := Value(string(*m.value(r)))
		if err != nil {
			return c, bad(where, m.name+" "+err.Error(), "report it with the saved response", nil)
		}
		if !math.IsNaN(v) {
			conv, err := ingest.ConversionOf(m.variable, string(*m.unit(r)))
			if err != nil {
				return c, bad(where, m.name, "", err)
			}
			v = conv.Apply(v)
		}
		*m.into(&c) = v
	}
	return c, nil
}

var channelMembers = []struct {
	name        string
	variable    ingest.Variable
	value, unit func(*row) *text
	into        func(*ChannelMeasurement) *float64
}{
	{"channel_width", ingest.ChannelWidth, func(r *row) *text { return &r.Width }, func(r *row) *text { return &r.WidthUnit }, func(c *ChannelMeasurement) *float64 { return &c.WidthM }},
	{"channel_area", ingest.ChannelArea, func(r *row) *text { return &r.Area }, func(r *row) *text { return &r.AreaUnit }, func(c *ChannelMeasurement) *float64 { return &c.AreaM2 }},
	{"channel_velocity", ingest.ChannelVelocity, func(r *row) *text { return &r.Velocity }, func(r *row) *text { return &r.VelocityUnit }, func(c *ChannelMeasurement) *float64 { return &c.VelocityMS }},
	{"channel_flow", ingest.Discharge, func(r *row) *text { return &r.Flow }, func(r *row) *text { return &r.FlowUnit }, func(c *ChannelMeasurement) *float64 { return &c.DischargeM3S }},
}

// addChannel keeps a channel measurement as four short series, so that it is
// stored like any reading, with from where it was measured as qualifier. A site with side channels gets a series for each.
func (b *builder) addChannel(where string, r *row) error {
	c, err := channel(where, r)
	if err != nil {
		return err
	}
	for _, m := range channelMembers {
		v := *m.into(&c)
		if math.IsNaN(v) {
			continue
		}
		id := "channel-measurements"
		if c.Channel != "" {
			id += " " + c.Channel
		}
		k := ingest.Key{Feed: FeedName, Site: c.Site, Variable: m.variable, Statistic: ingest.Instant, TimeSeries: id}
		s, err := b.series(where, k, string(*m.unit(r)), r)
		if err != nil {
			return err
		}
		push(s, c.Time.UnixMicro(), v, c.How, ingest.ApprovalUnknown)
	}
	return nil
}
