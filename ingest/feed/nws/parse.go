package nws

import (
	"fmt"
	"io"
	"maps"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/response"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "nws"

const feed response.Feed = FeedName

// Parser reads one saved answer of /gridpoints/{office}/{x},{y}, of its
// /forecast and /forecast/hourly, and of /stations/{id}/observations and
// /latest. An answer of /points or /stations holds no readings.
type Parser struct {
	Site    string // the place as it was asked for; "": the grid cell or station that answered
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

type quantity struct {
	UnitCode string   `json:"unitCode"`
	Value    *float64 `json:"value"`
	QC       string   `json:"qualityControl"`
}

// body is whatever the service may answer.
type body struct {
	Type       jsontext.Value `json:"type"`
	Title      string         `json:"title"`
	Status     jsontext.Value `json:"status"`
	Detail     string         `json:"detail"`
	Geometry   jsontext.Value `json:"geometry"`
	Properties jsontext.Value `json:"properties"`
	Features   []feature      `json:"features"`
	Pagination struct {
		Next string `json:"next"`
	} `json:"pagination"`
}

type feature struct {
	Geometry   jsontext.Value `json:"geometry"`
	Properties jsontext.Value `json:"properties"`
}

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	s, _, err := p.parse(r)
	return s, err
}

func readBody(r io.Reader) (b body, err error) {
	if err := feed.JSON(r, &b); err != nil {
		return b, err
	}
	if b.refuses() {
		return b, problem(&b)
	}
	return b, nil
}

// refuses reports whether the body is an RFC 7807 problem instead of data.
func (b *body) refuses() bool {
	return strings.Contains(response.Word(b.Type), "/problems/") || (b.Title != "" && len(b.Status) > 0 && len(b.Properties) == 0 && b.Features == nil)
}

// problem turns an RFC 7807 body into an error. Faults of the server pass,
// those of the request do not.
func problem(b *body) *ingest.Error {
	e := feed.Fault("response", fmt.Sprintf("the service says: %s: %s", ingest.Clip(b.Title), ingest.Clip(b.Detail)), "", nil)
	status, _ := strconv.Atoi(strings.Trim(string(b.Status), `"`))
	switch kind := path.Base(response.Word(b.Type)); {
	case kind == "InvalidPoint" || kind == "MarineForecastNotSupported":
		e.Hint = "the service covers the United States only; use another weather feed"
	case kind == "ForecastGridExpired":
		e.Hint = "the office has not issued a new forecast; the last one is kept, with its age"
	case status >= 500 || status == 429:
		e.Hint = "temporary; the last forecast is kept, with its age"
	}
	e.Retryable = status >= 500 || status == 429
	return e
}

func (p Parser) parse(r io.Reader) (series []ingest.Series, next string, err error) {
	b, err := readBody(r)
	if err != nil {
		return nil, "", err
	}
	c := ingest.NewCollector(FeedName, p.Skipped)
	switch {
	case response.Word(b.Type) == "FeatureCollection":
		for i, f := range b.Features {
			if err := p.feature(c, fmt.Sprintf("features[%d]", i), f); err != nil {
				return nil, "", err
			}
		}
	case len(b.Properties) > 0:
		if err := p.feature(c, "answer", feature{b.Geometry, b.Properties}); err != nil {
			return nil, "", err
		}
	default:
		return nil, "", feed.Fault("response", "has neither features nor properties", "ask with Accept: application/geo+json", nil)
	}
	series, err = c.Finish()
	return series, b.Pagination.Next, err
}

func (p Parser) feature(c *ingest.Collector, where string, f feature) error {
	var m map[string]jsontext.Value
	if err := response.Unmarshal(f.Properties, &m); err != nil || m == nil {
		return feed.Unexpected(where, "has no object of properties", err)
	}
	switch {
	case m["timestamp"] != nil:
		return p.observation(c, where, f.Geometry, m)
	case m["periods"] != nil:
		return p.periods(c, where, f.Geometry, m)
	case m["gridId"] != nil && m["validTimes"] != nil:
		return p.grid(c, where, f.Geometry, m)
	case strings.Contains(response.Word(m["@id"]), "/observations/"):
		c.Skip(path.Base(path.Dir(path.Dir(response.Word(m["@id"])))), "reports", "they have neither a time nor a value", 1)
		return nil
	case m["forecastGridData"] != nil:
		c.Skip("", "the grid cell of a point", "it holds no readings; save the answer of /gridpoints/...", 1)
		return nil
	case m["stationIdentifier"] != nil:
		c.Skip("", "station descriptions", "they hold no readings", 1)
		return nil
	}
	return feed.Fault(where, "is neither a grid, a forecast nor an observation", "save an answer of /gridpoints/{office}/{x},{y} or /stations/{id}/observations", nil)
}

// layer says what a layer of the grid holds.
type layer struct {
	name     string
	variable ingest.Variable
	total    bool   // its value is the sum of its interval
	unit     string // where the service leaves it out
}

// layers that Eclose takes. A layer without totals holds for each hour of
// an interval, because equal neighbours are written as one.
var layers = []layer{
	{name: "temperature", variable: ingest.AirTemperature},
	{name: "relativeHumidity", variable: ingest.RelativeHumidity},
	{name: "skyCover", variable: ingest.CloudCover},
	{name: "windSpeed", variable: ingest.WindSpeed},
	{name: "quantitativePrecipitation", variable: ingest.Precipitation, total: true},
	{name: "probabilityOfThunder", variable: ingest.ThunderProbability, unit: "percent"},
}

// left says why known layers are left out.
var left = map[string]string{
	"maxTemperature": "it is a day or night extreme, not a calendar-day one; the hourly data cover it",
	"minTemperature": "it is a day or night extreme, not a calendar-day one; the hourly data cover it",
	"snowfallAmount": "it is snow depth, not water equivalent",
}

type gridLayer struct {
	UOM    string `json:"uom"`
	Values []struct {
		ValidTime string         `json:"validTime"`
		Value     jsontext.Value `json:"value"`
	} `json:"values"`
}

func (p Parser) grid(c *ingest.Collector, where string, geometry jsontext.Value, m map[string]jsontext.Value) error {
	site := p.Site
	if site == "" {
		site = response.Word(m["gridId"]) + "-" + response.Word(m["gridX"]) + "," + response.Word(m["gridY"])
	}
	pl := place(geometry, m)
	for _, l := range layers {
		raw := m[l.name]
		delete(m, l.name)
		if raw == nil {
			continue
		}
		var g gridLayer
		at := where + "." + l.name
		if err := response.Unmarshal(raw, &g); err != nil {
			return feed.Unexpected(at, "is not a layer of values", err)
		}
		if len(g.Values) == 0 {
			c.Skip(site, "layer "+l.name, "the office leaves it empty", 0)
			continue
		}
		k := ingest.Key{Feed: FeedName, Site: site, Variable: l.variable, Statistic: ingest.Instant, TimeSeries: "forecast"}
		if l.total {
			k.Statistic, k.Period = ingest.Sum, ingest.Hourly
		}
		unit := g.UOM
		if unit == "" {
			unit = l.unit
		}
		s, err := c.Open(k, unit)
		if err != nil {
			return feed.Unit(at, err)
		}
		s.Place = pl
		for i, v := range g.Values {
			here := fmt.Sprintf("%s.values[%d]", at, i)
			start, d, err := parseInterval(v.ValidTime)
			if err != nil {
				return feed.Unexpected(here, "validTime "+err.Error(), nil)
			}
			x, err := response.JSONNumber(v.Value)
			if err != nil {
				return feed.Unexpected(here, err.Error(), nil)
			}
			if d%time.Hour != 0 {
				c.Skip(site, "intervals of layer "+l.name, "they are not whole hours", 1)
				continue
			}
			spread(s, start, int(d/time.Hour), x, l.total, v.ValidTime)
		}
	}
	for _, name := range slices.Sorted(maps.Keys(m)) {
		var g gridLayer
		if m[name].Kind() != '{' || response.Unmarshal(m[name], &g) != nil || len(g.Values) == 0 {
			continue
		}
		why := left[name]
		if why == "" {
			why = "unsupported variable"
		}
		c.Skip(site, "layer "+name, why, len(g.Values))
	}
	return nil
}

// spread writes an interval out in hours. A total is divided, so that the
// hours add up to it, and the hours carry the interval's length as qualifier;
// anything else is repeated.
func spread(s *ingest.Builder, start time.Time, hours int, x float64, total bool, interval string) {
	q := ""
	if total && hours > 1 {
		_, d, _ := strings.Cut(interval, "/")
		q = "part of " + d
	}
	for h := range hours {
		at, v := start.Add(time.Duration(h)*time.Hour), x
		if total {
			at, v = at.Add(time.Hour), x/float64(hours)
		}
		s.Add(at.UnixMicro(), v, q, ingest.ApprovalUnknown)
	}
}

var observed = []struct {
	name     string
	variable ingest.Variable
	hourly   bool
}{
	{"temperature", ingest.AirTemperature, false},
	{"relativeHumidity", ingest.RelativeHumidity, false},
	{"windSpeed", ingest.WindSpeed, false},
	{"precipitationLastHour", ingest.Precipitation, true},
}

// observation takes one report of a station. A quantity without a value is a
// missing reading; its quality code is kept (V passed, X failed, Z unchecked
// and others; older answers write "qc:V").
func (p Parser) observation(c *ingest.Collector, where string, geometry jsontext.Value, m map[string]jsontext.Value) error {
	t, err := parseTime(response.Word(m["timestamp"]))
	if err != nil {
		return feed.Unexpected(where+".timestamp", err.Error(), nil)
	}
	site := p.Site
	if site == "" {
		site = path.Base(response.Word(m["station"]))
	}
	if site == "" || site == "." || site == "/" {
		return feed.Fault(where, "does not name its station", "name it with --site", nil)
	}
	for _, o := range observed {
		raw := m[o.name]
		if raw.Kind() != '{' {
			continue
		}
		var q quantity
		if err := response.Unmarshal(raw, &q); err != nil {
			return feed.Unexpected(where+"."+o.name, "is not a quantity", err)
		}
		if q.UnitCode == "" {
			continue
		}
		k := ingest.Key{Feed: FeedName, Site: site, Variable: o.variable, Statistic: ingest.Instant}
		if o.hourly {
			k.Statistic, k.Period = ingest.Sum, ingest.Hourly
		}
		s, err := c.Open(k, q.UnitCode)
		if err != nil {
			return feed.Unit(where+"."+o.name, err)
		}
		s.Place = place(geometry, m)
		v := math.NaN()
		if q.Value != nil {
			v = *q.Value
		}
		s.Add(t.UnixMicro(), v, strings.TrimPrefix(q.QC, "qc:"), ingest.ApprovalUnknown)
	}
	return nil
}

// periods takes the hours of /forecast/hourly. The half days of /forecast hold
// a day's high and a night's low and are left out.
func (p Parser) periods(c *ingest.Collector, where string, geometry jsontext.Value, m map[string]jsontext.Value) error {
	var list []struct {
		Start string         `json:"startTime"`
		End   string         `json:"endTime"`
		Temp  jsontext.Value `json:"temperature"`
		Unit  string         `json:"temperatureUnit"`
	}
	if err := response.Unmarshal(m["periods"], &list); err != nil {
		return feed.Unexpected(where+".periods", "is not a list of periods", err)
	}
	pl := place(geometry, m)
	site := p.Site
	if site == "" {
		site = "point"
		if !math.IsNaN(pl.Lat) {
			site = strconv.FormatFloat(pl.Lat, 'f', 4, 64) + "," + strconv.FormatFloat(pl.Lon, 'f', 4, 64)
		}
	}
	for i, x := range list {
		here := fmt.Sprintf("%s.periods[%d]", where, i)
		if x.Start == "" && x.End == "" {
			continue
		}
		start, err := parseTime(x.Start)
		if err != nil {
			return feed.Unexpected(here+".startTime", err.Error(), nil)
		}
		end, err := parseTime(x.End)
		if err != nil {
			return feed.Unexpected(here+".endTime", err.Error(), nil)
		}
		if end.Sub(start) != time.Hour {
			c.Skip(site, "forecasts of half days", "they hold a day's high or a night's low; save /forecast/hourly or the grid", 1)
			continue
		}
		unit, v := x.Unit, math.NaN()
		if x.Temp.Kind() == '{' {
			var q quantity
			if err := response.Unmarshal(x.Temp, &q); err != nil {
				return feed.Unexpected(here+".temperature", "is not a quantity", err)
			}
			if q.Value != nil {
				v = *q.Value
			}
			unit = q.UnitCode
		} else if v, err = response.JSONNumber(x.Temp); err != nil {
			return feed.Unexpected(here+".temperature", err.Error(), nil)
		}
		s, err := c.Open(ingest.Key{Feed: FeedName, Site: site, Variable: ingest.AirTemperature, Statistic: ingest.Instant, TimeSeries: "forecast"}, unit)
		if err != nil {
			return feed.Unit(here, err)
		}
		s.Place = pl
		s.Add(start.UnixMicro(), v, "", ingest.ApprovalUnknown)
	}
	return nil
}

// place is the point of a station, or the middle of a cell's corners.
func place(geometry jsontext.Value, m map[string]jsontext.Value) ingest.SiteInfo {
	pl := ingest.SiteInfo{Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN()}
	var q quantity
	if response.Unmarshal(m["elevation"], &q) == nil && q.Value != nil && strings.HasSuffix(q.UnitCode, ":m") {
		pl.Elevation = *q.Value
	}
	var g struct {
		Type        string         `json:"type"`
		Coordinates jsontext.Value `json:"coordinates"`
		Geometries  []struct {
			Type        string         `json:"type"`
			Coordinates jsontext.Value `json:"coordinates"`
		} `json:"geometries"`
	}
	if response.Unmarshal(geometry, &g) != nil {
		return pl
	}
	if len(g.Geometries) > 0 {
		g.Type, g.Coordinates = g.Geometries[0].Type, g.Geometries[0].Coordinates
	}
	switch g.Type {
	case "Point":
		var xy []float64
		if response.Unmarshal(g.Coordinates, &xy) == nil && len(xy) >= 2 {
			pl.Lon, pl.Lat = xy[0], xy[1]
		}
	case "Polygon":
		var rings [][][]float64
		if response.Unmarshal(g.Coordinates, &rings) != nil || len(rings) == 0 || len(rings[0]) < 2 {
			break
		}
		ring := rings[0][1:] // the first corner comes again at the end
		x, y := 0.0, 0.0
		for _, c := range ring {
			if len(c) < 2 {
				return pl
			}
			x, y = x+c[0], y+c[1]
		}
		pl.Lon, pl.Lat = x/float64(len(ring)), y/float64(len(ring))
	}
	return pl
}
