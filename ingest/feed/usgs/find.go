package usgs

import (
	"context"
	"fmt"
	"io"
	"net/url"
	"slices"
	"strings"

	"example.org/eclose/ingest"
)

// Find implements ingest.GaugeFinder. It searches the service's own lists: the
// series of the wanted parameters first, then the sites they belong to.
func (s *Source) Find(ctx context.Context, f ingest.GaugeSearch) ([]ingest.Gauge, error) {
	if err := f.Check(FeedName); err != nil {
		return nil, err
	}
	q := url.Values{"limit": {"10000"}, "f": {"json"}}
	wanted := codesFor([]ingest.Variable{f.Variable})
	if len(wanted) == 0 {
		return nil, feed.Fault("search", fmt.Sprintf("the service does not measure %q", f.Variable), "search for water_temperature or discharge", nil)
	}
	q.Set("parameter_code", strings.Join(codesFor([]ingest.Variable{f.Variable, ingest.Discharge}), ","))
	if f.Region != "" {
		name, ok := stateName(f.Region)
		if !ok {
			return nil, feed.Fault("state "+ingest.Clip(f.Region), "is no state or territory of the USA", "write two letters, such as OR", nil)
		}
		q.Set("state_name", name)
	} else {
		west, south, east, north := f.Box()
		q.Set("bbox", fmt.Sprintf("%.5f,%.5f,%.5f,%.5f", west, south, east, north))
	}
	bySite := map[string][]ingest.GaugeSeries{}
	err := s.walk(ctx, "time-series-metadata", q, func(r io.Reader) (page, error) {
		list, pg, err := readTimeSeries(r)
		for _, t := range list {
			if x, ok := t.listed(); ok {
				bySite[t.Site] = append(bySite[t.Site], x)
			}
		}
		return pg, err
	})
	if err != nil {
		return nil, err
	}
	var ids []string
	for site, list := range bySite {
		if slices.ContainsFunc(list, func(x ingest.GaugeSeries) bool { return x.Variable == f.Variable }) {
			ids = append(ids, site)
		}
	}
	slices.Sort(ids)
	var out []ingest.Gauge
	for part := range slices.Chunk(ids, 100) { // keeps the URL far below the 8 KB at which the service answers 414
		q := url.Values{"id": {strings.Join(part, ",")}, "limit": {"1000"}, "f": {"json"}}
		err := s.walk(ctx, "monitoring-locations", q, func(r io.Reader) (page, error) {
			list, pg, err := readLocations(r)
			for _, l := range list {
				if f.AllTypes || strings.HasPrefix(l.SiteTypeCode, "ST") {
					out = append(out, ingest.Gauge{Feed: FeedName, Site: l.ID, SiteInfo: l.SiteInfo, Region: l.State, Series: bySite[l.ID]})
				}
			}
			return pg, err
		})
		if err != nil {
			return nil, err
		}
	}
	return f.Narrow(out), nil
}

// listed is a series of readings or of daily values as a search tells it.
func (t TimeSeries) listed() (ingest.GaugeSeries, bool) {
	x := ingest.GaugeSeries{ID: t.ID, Variable: t.Variable, Begin: t.Begin, End: t.End, Primary: t.Primary}
	var ok bool
	x.Statistic, ok = statisticOf(t.Statistic)
	switch t.Period {
	case "Daily":
		x.Period = ingest.Daily
	case "Points":
	default:
		ok = false
	}
	return x, ok && t.Variable != ""
}

// KnowsState says whether s is a state or territory of the USA, by its two
// letters or its name.
func KnowsState(s string) bool { _, ok := stateName(s); return ok }

// stateName turns the postal abbreviation into the name that the service
// filters by; a name passes.
func stateName(s string) (string, bool) {
	if n, ok := states[strings.ToUpper(s)]; ok {
		return n, true
	}
	for _, n := range states {
		if strings.EqualFold(n, s) {
			return n, true
		}
	}
	return "", false
}

var states = map[string]string{
	"AL": "Alabama", "AK": "Alaska", "AZ": "Arizona", "AR": "Arkansas", "CA": "California", "CO": "Colorado", "CT": "Connecticut", "DE": "Delaware",
	"DC": "District of Columbia", "FL": "Florida", "GA": "Georgia", "HI": "Hawaii", "ID": "Idaho", "IL": "Illinois", "IN": "Indiana", "IA": "Iowa",
	"KS": "Kansas", "KY": "Kentucky", "LA": "Louisiana", "ME": "Maine", "MD": "Maryland", "MA": "Massachusetts", "MI": "Michigan", "MN": "Minnesota",
	"MS": "Mississippi", "MO": "Missouri", "MT": "Montana", "NE": "Nebraska", "NV": "Nevada", "NH": "New Hampshire", "NJ": "New Jersey", "NM": "New Mexico",
	"NY": "New York", "NC": "North Carolina", "ND": "North Dakota", "OH": "Ohio", "OK": "Oklahoma", "OR": "Oregon", "PA": "Pennsylvania", "RI": "Rhode Island",
	"SC": "South Carolina", "SD": "South Dakota", "TN": "Tennessee", "TX": "Texas", "UT": "Utah", "VT": "Vermont", "VA": "Virginia", "WA": "Washington",
	"WV": "West Virginia", "WI": "Wisconsin", "WY": "Wyoming", "PR": "Puerto Rico", "GU": "Guam", "VI": "Virgin Islands", "AS": "American Samoa",
}
