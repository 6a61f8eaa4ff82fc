package eccc

import (
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/response"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "eccc"

const feed response.Feed = FeedName

// Parser reads one saved answer of the wateroffice service (CSV), of the
// Datamart (CSV) or of GeoMet (GeoJSON). A list of stations holds no readings.
type Parser struct {
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

// parameter is a quantity of the wateroffice service.
type parameter struct {
	variable ingest.Variable
	unit     string
	second   bool // another parameter holds the same variable first
}

// parameters: code -> meaning, from the service's list of parameters. Two of
// them carry water temperature, so their codes stay in the key. The service
// does not write units; these are the documented ones.
var parameters = map[string]parameter{
	"5":  {ingest.WaterTemperature, "°C", false},
	"41": {ingest.WaterTemperature, "°C", true},
	"46": {ingest.GaugeHeight, "m", false},
	"47": {ingest.Discharge, "m3/s", false},
	"8":  {ingest.Discharge, "m3/s", true},
	"4":  {ingest.AirTemperature, "°C", false},
}

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	s, _, _, err := p.parse(r)
	return s, err
}

func (p Parser) parse(r io.Reader) (series []ingest.Series, next string, rows int, err error) {
	br, first, err := feed.Begin(r)
	if err != nil {
		return nil, "", 0, err
	}
	c := ingest.NewCollector(FeedName, p.Skipped)
	if first == '{' {
		next, rows, err = p.json(br, c)
	} else {
		err = p.csv(br, c)
	}
	if err != nil {
		return nil, "", 0, err
	}
	series, err = c.Finish()
	return series, next, rows, err
}

func (p Parser) csv(r io.Reader, c *ingest.Collector) error {
	t, err := feed.Table(r)
	if err != nil {
		return err
	}
	// The header is bilingual and repeats names, so columns are known by place;
	// its first words tell the tables apart.
	var row func(where string, rec []string) error
	switch head := t.Header; {
	case len(head) >= 10 && head[0] == "ID" && strings.HasPrefix(head[2], "Water Level") && strings.HasPrefix(head[6], "Discharge"):
		row = func(where string, rec []string) error { return datamart(c, where, rec) }
	case len(head) >= 7 && head[0] == "ID" && strings.HasPrefix(head[2], "Parameter") && strings.HasPrefix(head[3], "Value"):
		row = func(where string, rec []string) error { return wateroffice(c, where, rec) }
	case len(head) >= 5 && head[0] == "ID" && strings.HasPrefix(head[2], "Latitude"):
		row = func(_ string, rec []string) error {
			c.Skip(strings.TrimSpace(rec[0]), "station descriptions", "they hold no readings", 1)
			return nil
		}
	default:
		return feed.Fault("line 1", "is not the header of a table of this agency", "save the CSV of the Datamart or of wateroffice's real_time_data service", nil)
	}
	for {
		more, err := t.Next()
		if err != nil || !more {
			return err
		}
		if err := row(t.Where(), t.Cells); err != nil {
			return err
		}
	}
}

// datamart takes level and flow of one moment. Its time carries the station's
// standard offset, in Newfoundland a half-hour one, also in summer.
func datamart(c *ingest.Collector, where string, rec []string) error {
	t, err := instant(rec[1])
	if err != nil {
		return feed.Unexpected(where+", Date", err.Error(), nil)
	}
	for _, q := range []struct {
		variable ingest.Variable
		unit     string
		at       int
	}{{ingest.GaugeHeight, "m", 2}, {ingest.Discharge, "m3/s", 6}} {
		v, err := response.Number(rec[q.at])
		if err != nil {
			return feed.Unexpected(fmt.Sprintf("%s, column %d", where, q.at+1), err.Error(), nil)
		}
		g, err := c.Open(ingest.Key{Feed: FeedName, Site: station(rec[0]), Variable: q.variable, Statistic: ingest.Instant}, q.unit)
		if err != nil {
			return feed.Unit(where, err)
		}
		g.Add(t.UnixMicro(), v, strings.TrimSpace(rec[q.at+2]), grade(rec[q.at+3]))
	}
	return nil
}

// grade reads the Datamart's QA/QC flag: 1 preliminary, 2 reviewed, 3 checked,
// 4 approved (the agency's readme).
func grade(s string) ingest.Approval {
	switch strings.TrimSpace(s) {
	case "1", "2", "3":
		return ingest.Provisional
	case "4":
		return ingest.Approved
	}
	return ingest.ApprovalUnknown
}

// wateroffice takes one value of one parameter; its times are UTC.
func wateroffice(c *ingest.Collector, where string, rec []string) error {
	site, code := station(rec[0]), strings.TrimSpace(rec[2])
	p, ok := parameters[code]
	if !ok {
		c.Skip(site, "parameter "+ingest.Clip(code), "unsupported variable", 1)
		return nil
	}
	t, err := instant(rec[1])
	if err != nil {
		return feed.Unexpected(where+", Date", err.Error(), nil)
	}
	v, err := response.Number(rec[3])
	if err != nil {
		return feed.Unexpected(where+", Value", err.Error(), nil)
	}
	k := ingest.Key{Feed: FeedName, Site: site, Variable: p.variable, Statistic: ingest.Instant}
	if p.second || p.variable == ingest.WaterTemperature {
		k.TimeSeries = code
	}
	g, err := c.Open(k, p.unit)
	if err != nil {
		return feed.Unit(where, err)
	}
	q := strings.TrimSpace(rec[5])
	if word := strings.TrimSpace(rec[4]); word != "" {
		if q != "" {
			q += ","
		}
		q += word
	}
	a := ingest.ApprovalUnknown
	switch low := strings.ToLower(rec[6]); {
	case strings.Contains(low, "provisional"), strings.Contains(low, "preliminary"), strings.Contains(low, "working"):
		a = ingest.Provisional
	case strings.Contains(low, "approved"), strings.Contains(low, "final"):
		a = ingest.Approved
	}
	g.Add(t.UnixMicro(), v, q, a)
	return nil
}

func station(s string) string { return strings.Clone(strings.TrimSpace(s)) }

// instant reads a time with its offset, or without one, which is UTC.
func instant(s string) (time.Time, error) {
	s = strings.TrimSpace(s)
	for _, layout := range []string{time.RFC3339, "2006-01-02 15:04:05Z07:00", "2006-01-02 15:04:05", "2006-01-02T15:04:05"} {
		if t, err := time.Parse(layout, s); err == nil {
			return t.UTC(), ingest.YearInRange(t)
		}
	}
	return time.Time{}, fmt.Errorf("%q is not a time", ingest.Clip(s))
}

// feature is one row of a GeoMet collection: hydrometric-realtime with
// DATETIME, hydrometric-daily-mean with DATE. Older answers write FLOW where
// newer ones write DISCHARGE.
type feature struct {
	Geometry struct {
		Coordinates []float64 `json:"coordinates"`
	} `json:"geometry"`
	Properties struct {
		Station         string   `json:"STATION_NUMBER"`
		Name            string   `json:"STATION_NAME"`
		DateTime        string   `json:"DATETIME"`
		Date            string   `json:"DATE"`
		Level           *float64 `json:"LEVEL"`
		Discharge       *float64 `json:"DISCHARGE"`
		Flow            *float64 `json:"FLOW"`
		LevelSymbol     string   `json:"LEVEL_SYMBOL_EN"`
		DischargeSymbol string   `json:"DISCHARGE_SYMBOL_EN"`
		FlowSymbol      string   `json:"FLOW_SYMBOL_EN"`
	} `json:"properties"`
}

func (p Parser) json(r io.Reader, c *ingest.Collector) (next string, rows int, err error) {
	var body struct {
		Features    []feature          `json:"features"`
		Default     map[string]feature `json:"_default"` // a TinyDB document, as test data of servers come
		Code        jsontext.Value     `json:"code"`
		Description string             `json:"description"`
		Links       []struct {
			Rel  string `json:"rel"`
			Href string `json:"href"`
		} `json:"links"`
	}
	if err := feed.JSON(r, &body); err != nil {
		return "", 0, err
	}
	if body.Features == nil && body.Default == nil {
		if body.Description != "" {
			return "", 0, feed.Fault("response", "is an error from the service: "+ingest.Clip(body.Description), "check the station and the dates", nil)
		}
		return "", 0, feed.Fault("response", "has no member \"features\"", "save an answer of /collections/hydrometric-.../items", nil)
	}
	for i := range body.Features {
		if err := add(c, fmt.Sprintf("features[%d]", i), &body.Features[i]); err != nil {
			return "", 0, err
		}
	}
	for id, f := range body.Default {
		if err := add(c, "_default."+ingest.Clip(id), &f); err != nil {
			return "", 0, err
		}
	}
	for _, l := range body.Links {
		if l.Rel == "next" {
			next = l.Href
		}
	}
	return next, len(body.Features), nil
}

func add(c *ingest.Collector, where string, f *feature) error {
	p := &f.Properties
	if p.Station == "" {
		return feed.Fault(where, "does not name its station", "ask for the property STATION_NUMBER", nil)
	}
	flow, symbol := p.Discharge, p.DischargeSymbol
	if flow == nil && p.Flow != nil {
		flow, symbol = p.Flow, p.FlowSymbol
	} else if symbol == "" {
		symbol = p.FlowSymbol
	}
	var at time.Time
	var err error
	k := ingest.Key{Feed: FeedName, Site: p.Station, Statistic: ingest.Instant}
	if p.DateTime != "" {
		at, err = instant(p.DateTime)
	} else {
		k.Statistic, k.Period = ingest.Mean, ingest.Daily
		if at, err = time.Parse(time.DateOnly, p.Date); err == nil {
			err = ingest.YearInRange(at)
		}
	}
	if err != nil {
		return feed.Unexpected(where, "its time cannot be read", err)
	}
	for _, q := range []struct {
		variable ingest.Variable
		unit     string
		value    *float64
		symbol   string
	}{{ingest.GaugeHeight, "m", p.Level, p.LevelSymbol}, {ingest.Discharge, "m3/s", flow, symbol}} {
		k.Variable = q.variable
		g, err := c.Open(k, q.unit)
		if err != nil {
			return feed.Unit(where, err)
		}
		g.Place = ingest.SiteInfo{Name: p.Name, Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN()}
		if xy := f.Geometry.Coordinates; len(xy) >= 2 {
			g.Place.Lon, g.Place.Lat = xy[0], xy[1]
		}
		if k.Period == ingest.Daily {
			g.DayStart = "midnight, local standard time"
		}
		v := math.NaN()
		if q.value != nil {
			v = *q.value
		}
		g.Add(at.UnixMicro(), v, q.symbol, ingest.ApprovalUnknown)
	}
	return nil
}
