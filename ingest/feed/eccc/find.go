package eccc

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"net/url"
	"slices"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
)

// The list of stations was not recorded. Its filters (bbox, PROV_TERR_STATE_LOC)
// and its members are those of the agency's documentation of the collection
// hydrometric-stations, and of a user's dated note on it. It does not say what a
// station measures, so the wateroffice service is asked which of the stations
// sent a value of late: a sensor that is out is not found.

const (
	stationsAsked = 25             // stations of one request to wateroffice: its answer is below 2 MB then
	lately        = 24 * time.Hour // how far back it is asked
	mostStations  = 1000           // above it the search is too wide to ask about each
)

var provinces = map[string]string{
	"AB": "Alberta", "BC": "British Columbia", "MB": "Manitoba", "NB": "New Brunswick", "NL": "Newfoundland and Labrador", "NS": "Nova Scotia", "NT": "Northwest Territories",
	"NU": "Nunavut", "ON": "Ontario", "PE": "Prince Edward Island", "QC": "Quebec", "SK": "Saskatchewan", "YT": "Yukon",
}

// Province is the code of a province or territory, of which the code or the
// name is given.
func Province(s string) (code string, ok bool) {
	for code, name := range provinces {
		if strings.EqualFold(s, code) || strings.EqualFold(s, name) {
			return code, true
		}
	}
	return "", false
}

// Find implements ingest.GaugeFinder: GeoMet's list of stations that report at
// once, and of them those that sent the variable in the last day.
func (s Source) Find(ctx context.Context, f ingest.GaugeSearch) ([]ingest.Gauge, error) {
	if err := f.Check(FeedName); err != nil {
		return nil, err
	}
	var codes []string
	for _, code := range []string{"5", "41", "46", "47"} {
		if v := parameters[code].variable; v == f.Variable || v == ingest.Discharge {
			codes = append(codes, code)
		}
	}
	if !slices.ContainsFunc(codes, func(c string) bool { return parameters[c].variable == f.Variable }) {
		return nil, feed.Fault("search", fmt.Sprintf("the service does not measure %s", strings.ReplaceAll(string(f.Variable), "_", " ")), "search for water_temperature or discharge", nil)
	}
	q := url.Values{"limit": {fmt.Sprint(perPage)}, "f": {"json"}}
	if f.Region != "" {
		code, ok := Province(f.Region)
		if !ok {
			return nil, feed.Fault("province "+ingest.Clip(f.Region), "is no province or territory of Canada", "write two letters, such as BC", nil)
		}
		q.Set("PROV_TERR_STATE_LOC", code)
	} else {
		west, south, east, north := f.Box()
		q.Set("bbox", fmt.Sprintf("%.5f,%.5f,%.5f,%.5f", west, south, east, north))
	}
	bySite, err := s.stations(ctx, s.geoMet()+"/collections/hydrometric-stations/items?"+q.Encode())
	if err != nil {
		return nil, err
	}
	var ids []string
	for id, g := range bySite {
		g.Series = []ingest.GaugeSeries{{Variable: f.Variable}} // until it is known: only the circle counts
		if len(f.Narrow([]ingest.Gauge{g})) == 1 {
			ids = append(ids, id)
		}
	}
	if len(ids) > mostStations {
		return nil, feed.Fault("search", fmt.Sprintf("%d stations are too many to ask about each", len(ids)), "search in a smaller circle", nil)
	}
	slices.Sort(ids)
	var out []ingest.Gauge
	for part := range slices.Chunk(ids, stationsAsked) {
		series, err := s.latest(ctx, part, codes)
		if err != nil {
			return nil, err
		}
		for _, id := range part {
			g := bySite[id]
			g.Series = series[id]
			out = append(out, g)
		}
	}
	return f.Narrow(out), nil
}

func (s Source) geoMet() string {
	return cmp.Or(strings.TrimRight(s.GeoMetURL, "/"), GeoMetURL)
}

func (s Source) stations(ctx context.Context, first string) (map[string]ingest.Gauge, error) {
	out := map[string]ingest.Gauge{}
	err := s.Client.Pages(ctx, client.Request{Feed: FeedName, URL: first, Types: jsonTypes}, func(resp *client.Response) (string, int, error) {
		list, link, err := readStations(resp.Body)
		for _, g := range list {
			out[g.Site] = g
		}
		return link, len(list), err
	})
	return out, err
}

// readStations reads a page of hydrometric-stations: the stations that report
// at once, and the link to the next page.
func readStations(r io.Reader) (out []ingest.Gauge, next string, err error) {
	var body struct {
		Features *[]struct {
			Geometry struct {
				Coordinates []float64 `json:"coordinates"`
			} `json:"geometry"`
			Properties struct {
				Station  string   `json:"STATION_NUMBER"`
				Name     string   `json:"STATION_NAME"`
				Province string   `json:"PROV_TERR_STATE_LOC"`
				Status   string   `json:"STATUS_EN"`
				RealTime *float64 `json:"REAL_TIME"` // 0 or 1
			} `json:"properties"`
		} `json:"features"`
		Description string `json:"description"`
		Links       []struct {
			Rel  string `json:"rel"`
			Href string `json:"href"`
		} `json:"links"`
	}
	if err := feed.JSON(r, &body); err != nil {
		return nil, "", err
	}
	if body.Features == nil {
		if body.Description != "" {
			return nil, "", feed.Fault("list of stations", "is an error from the service: "+ingest.Clip(body.Description), "", nil)
		}
		return nil, "", feed.Unexpected("list of stations", "has no member \"features\"", nil)
	}
	for i, x := range *body.Features {
		p := x.Properties
		if !stationID.MatchString(p.Station) {
			return nil, "", feed.Unexpected(fmt.Sprintf("features[%d]", i), fmt.Sprintf("%q is not the number of a station", ingest.Clip(p.Station)), nil)
		}
		if p.RealTime != nil && *p.RealTime == 0 {
			continue
		}
		g := ingest.Gauge{Feed: FeedName, Site: p.Station, Region: ingest.Clip(p.Province), Status: ingest.Clip(p.Status),
			SiteInfo: ingest.SiteInfo{Name: ingest.Clip(p.Name), Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN()}}
		if xy := x.Geometry.Coordinates; len(xy) >= 2 {
			g.Lon, g.Lat = xy[0], xy[1]
		}
		out = append(out, g)
	}
	for _, l := range body.Links {
		if l.Rel == "next" {
			next = l.Href
		}
	}
	return out, next, nil
}

// latest tells what some stations sent in the last day.
func (s Source) latest(ctx context.Context, stations, codes []string) (map[string][]ingest.GaugeSeries, error) {
	now := s.Now().UTC()
	q := url.Values{"stations[]": stations, "parameters[]": codes, "start_date": {now.Add(-lately).Format(time.DateTime)}, "end_date": {now.Format(time.DateTime)}}
	out := map[string][]ingest.GaugeSeries{}
	all := ingest.Request{Variables: ingest.Variables()}
	err := s.realTime(ctx, q, all, func(x ingest.Series) error {
		for i := x.Len() - 1; i >= 0; i-- {
			if !math.IsNaN(x.Value[i]) {
				out[x.Site] = append(out[x.Site], ingest.GaugeSeries{ID: x.TimeSeries, Variable: x.Variable, Statistic: x.Statistic, Period: x.Period, End: x.At(i)})
				break
			}
		}
		return nil
	})
	return out, err
}
