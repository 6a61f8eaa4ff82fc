package eahydrology

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"net/url"
	"path"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/response"
)

// The list of stations was not recorded. Its query (lat, long, dist in km,
// observedProperty, _limit, _offset) and its members (label, lat, long, status,
// dateOpened, riverName, measures with their @id) are those of the agency's
// reference of the Hydrology API; that label, lat, long and status may be lists
// is reported by users of the service. The names of measures and of properties are
// those of recorded answers.

// stationsPage is how many stations are asked for at once.
const stationsPage = 2000

// properties are the words by which the service filters stations. The one of
// water temperature is not documented, so all stations of a circle are asked
// for then, and distinguished by the names of their measures.
var properties = map[ingest.Variable]string{ingest.Discharge: "waterFlow", ingest.GaugeHeight: "waterLevel", ingest.Precipitation: "rainfall", ingest.WaterTemperature: ""}

// Find implements ingest.GaugeFinder by the Hydrology API's list of stations,
// which has no states or provinces to search by.
func (s Source) Find(ctx context.Context, f ingest.GaugeSearch) ([]ingest.Gauge, error) {
	if err := f.Check(FeedName); err != nil {
		return nil, err
	}
	if f.Region != "" {
		return nil, feed.Fault("search", "stations cannot be searched by state or province", "use --near", nil)
	}
	property, ok := properties[f.Variable]
	if !ok {
		return nil, feed.Fault("search", fmt.Sprintf("the service measures no %s", strings.ReplaceAll(string(f.Variable), "_", " ")), "search for water_temperature or discharge", nil)
	}
	base := cmp.Or(strings.TrimRight(s.BaseURL, "/"), LiveURL)
	q := url.Values{"lat": {degrees(f.Lat)}, "long": {degrees(f.Lon)}, "dist": {degrees(f.RadiusKm)}, "_limit": {strconv.Itoa(stationsPage)}}
	if property != "" {
		q.Set("observedProperty", property)
	}
	var out []ingest.Gauge
	seen := map[string]bool{}
	for offset := 0; ; offset += stationsPage {
		if offset > 0 {
			q.Set("_offset", strconv.Itoa(offset))
		}
		resp, err := s.Client.Get(ctx, client.Request{Feed: FeedName, URL: base + "/hydrology/id/stations.json?" + q.Encode(), Types: []string{"application/json"}})
		if err != nil {
			return nil, err
		}
		list, rows, err := readStations(resp.Body)
		if err != nil {
			return nil, err
		}
		fresh := 0
		for _, g := range list {
			if !seen[g.Site] {
				seen[g.Site] = true
				fresh++
				out = append(out, g)
			}
		}
		if rows < stationsPage || fresh == 0 { // a server that heeds no offset says the same again
			return f.Narrow(out), nil
		}
	}
}

// degrees writes a number without the exponent that %g may give it.
func degrees(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// station is an element of the list. Members that a station has twice are
// lists.
type station struct {
	ID       string         `json:"@id"`
	Label    jsontext.Value `json:"label"`
	River    jsontext.Value `json:"riverName"`
	Lat      jsontext.Value `json:"lat"`
	Long     jsontext.Value `json:"long"`
	Status   jsontext.Value `json:"status"`
	Opened   jsontext.Value `json:"dateOpened"`
	Measures jsontext.Value `json:"measures"`
}

// readStations reads a list of stations: those of which a measure is a variable
// of package ingest, and how many there were in all.
func readStations(r io.Reader) (out []ingest.Gauge, rows int, err error) {
	var body struct {
		Items *[]station `json:"items"`
	}
	if err := feed.JSON(r, &body); err != nil {
		return nil, 0, err
	}
	if body.Items == nil {
		return nil, 0, feed.Unexpected("list of stations", "has no member \"items\"", nil)
	}
	hasMeasures := false
	for i := range *body.Items {
		x := &(*body.Items)[i]
		hasMeasures = hasMeasures || x.Measures != nil
		if g := x.gauge(); len(g.Series) > 0 {
			out = append(out, g)
		}
	}
	if len(*body.Items) > 0 && !hasMeasures {
		return nil, 0, feed.Unexpected("list of stations", "does not say what the stations measure", nil)
	}
	return out, len(*body.Items), nil
}

func (x *station) gauge() ingest.Gauge {
	id := path.Base(x.ID)
	if !stationID.MatchString(id) {
		return ingest.Gauge{}
	}
	g := ingest.Gauge{Feed: FeedName, Site: id, Status: word(x.Status), SiteInfo: ingest.SiteInfo{Name: ingest.Clip(word(x.Label)), Lat: number(first(x.Lat)), Lon: number(first(x.Long)), Elevation: math.NaN(), Zone: "Europe/London"}}
	if river := ingest.Clip(word(x.River)); river != "" && !strings.Contains(g.Name, river) {
		g.Name = river + " at " + g.Name
	}
	since, _ := time.Parse(time.DateOnly, word(x.Opened))
	for _, v := range several(x.Measures) {
		var l link
		if response.Unmarshal(v, &l) != nil {
			continue
		}
		m, err := parseMeasure(string(l))
		if err != nil || m.why != "" || m.key.Site != id {
			continue
		}
		g.Series = append(g.Series, ingest.GaugeSeries{ID: m.key.TimeSeries, Variable: m.key.Variable, Statistic: m.key.Statistic, Period: m.key.Period, Begin: since})
	}
	return g
}

// several is the elements of a list, or the one that stands alone.
func several(v jsontext.Value) []jsontext.Value {
	if v.Kind() != '[' {
		if v == nil {
			return nil
		}
		return []jsontext.Value{v}
	}
	var list []jsontext.Value
	if response.Unmarshal(v, &list) != nil {
		return nil
	}
	return list
}

func first(v jsontext.Value) jsontext.Value {
	if list := several(v); len(list) > 0 {
		return list[0]
	}
	return nil
}

// word is a text, the label of an object, or the first of several.
func word(v jsontext.Value) string {
	v = first(v)
	if v.Kind() == '{' {
		var o struct {
			Label string `json:"label"`
		}
		if response.Unmarshal(v, &o) == nil {
			return o.Label
		}
	}
	return response.Word(v)
}
