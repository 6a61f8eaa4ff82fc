package usgs

import (
	"context"
	"fmt"
	"io"
	"math"
	"net/url"
	"sort"
	"strings"

	"example.org/eclose/ingest"
)

// Search says which gauges are wanted: within RadiusKm of a point, or in a
// state of the USA; and which variable they must measure.
type Search struct {
	Lat, Lon, RadiusKm float64 // degrees and km; used if State is empty
	State              string  // "ID" or "Idaho"
	Variable           ingest.Variable
	AllTypes           bool // also wells, lakes, outfalls; otherwise streams only
}

// Found is one gauge with the series it has, newest end first.
type Found struct {
	Location
	DistanceKm float64 // NaN for a search by state
	Series     []TimeSeries
}

// Find searches the service's own lists: the series of the wanted parameters
// first, then the sites they belong to.
func (s *Source) Find(ctx context.Context, f Search) ([]Found, error) {
	q := url.Values{"limit": {"10000"}, "f": {"json"}}
	wanted := codesFor([]ingest.Variable{f.Variable})
	if len(wanted) == 0 {
		return nil, bad("search", fmt.Sprintf("the service has no parameter for %q", f.Variable), "search for water_temperature or discharge", nil)
	}
	q.Set("parameter_code", strings.Join(codesFor([]ingest.Variable{f.Variable, ingest.Discharge}), ","))
	if f.State != "" {
		name, ok := stateName(f.State)
		if !ok {
			return nil, bad("state "+f.State, "is no state or territory of the USA", "write two letters, such as OR", nil)
		}
		q.Set("state_name", name)
	} else {
		if math.Abs(f.Lat) > 90 || math.Abs(f.Lon) > 180 || f.RadiusKm <= 0 || f.RadiusKm > 500 || math.IsNaN(f.Lat+f.Lon+f.RadiusKm) {
			return nil, bad("search", "latitude, longitude or radius are out of range", "latitude -90 to 90, longitude -180 to 180, radius up to 500 km", nil)
		}
		// A degree of latitude is 111.2 km; the box holds the circle.
		dLat := f.RadiusKm / 111.2
		dLon := math.Min(180, dLat/math.Max(0.01, math.Cos(f.Lat*math.Pi/180)))
		q.Set("bbox", fmt.Sprintf("%.5f,%.5f,%.5f,%.5f", math.Max(-180, f.Lon-dLon), math.Max(-90, f.Lat-dLat), math.Min(180, f.Lon+dLon), math.Min(90, f.Lat+dLat)))
	}
	bySite := map[string][]TimeSeries{}
	err := s.walk(ctx, "time-series-metadata", q, func(r io.Reader) (page, error) {
		list, pg, err := readTimeSeries(r)
		for _, t := range list {
			if p := t.Period; p == "Daily" || p == "Points" {
				bySite[t.Site] = append(bySite[t.Site], t)
			}
		}
		return pg, err
	})
	if err != nil {
		return nil, err
	}
	var ids []string
	for site, list := range bySite {
		for _, t := range list {
			if t.Variable == f.Variable {
				ids = append(ids, site)
				break
			}
		}
	}
	sort.Strings(ids)
	var out []Found
	for len(ids) > 0 {
		n := min(len(ids), 100) // keeps the URL far below the 8 KB at which the service answers 414
		q := url.Values{"id": {strings.Join(ids[:n], ",")}, "limit": {"1000"}, "f": {"json"}}
		ids = ids[n:]
		err := s.walk(ctx, "monitoring-locations", q, func(r io.Reader) (page, error) {
			list, pg, err := readLocations(r)
			for _, l := range list {
				out = append(out, Found{Location: l, DistanceKm: math.NaN(), Series: bySite[l.ID]})
			}
			return pg, err
		})
		if err != nil {
			return nil, err
		}
	}
	return narrow(out, f), nil
}

// narrow drops what the box held beyond the circle and what is no stream, and
// sorts: nearest first, or by number for a state.
func narrow(in []Found, f Search) []Found {
	out := in[:0]
	for _, g := range in {
		if !f.AllTypes && !strings.HasPrefix(g.SiteTypeCode, "ST") {
			continue
		}
		if f.State == "" {
			g.DistanceKm = distanceKm(f.Lat, f.Lon, g.Lat, g.Lon)
			if !(g.DistanceKm <= f.RadiusKm) {
				continue
			}
		}
		sort.SliceStable(g.Series, func(a, b int) bool { return g.Series[a].End.After(g.Series[b].End) })
		out = append(out, g)
	}
	sort.SliceStable(out, func(a, b int) bool {
		if f.State == "" && out[a].DistanceKm != out[b].DistanceKm {
			return out[a].DistanceKm < out[b].DistanceKm
		}
		return out[a].ID < out[b].ID
	})
	return out
}

// distanceKm is the great-circle distance by the haversine formula on a sphere
// of 6371.0088 km, the mean radius of the earth (IUGG). Arguments in degrees.
func distanceKm(lat1, lon1, lat2, lon2 float64) float64 {
	const rad, radius = math.Pi / 180, 6371.0088
	a := math.Sin((lat2 - lat1) * rad / 2)
	b := math.Sin((lon2 - lon1) * rad / 2)
	h := a*a + math.Cos(lat1*rad)*math.Cos(lat2*rad)*b*b
	return 2 * radius * math.Asin(math.Sqrt(math.Min(1, h)))
}

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
