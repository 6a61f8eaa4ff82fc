package eahydrology

import (
	"fmt"
	"io"
	"math"
	"path"
	"strings"
	"time"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/response"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "ea"

const feed response.Feed = FeedName

// Parser reads one saved answer of either API: readings as JSON or CSV, or a
// station with the latest reading of each of its measures.
type Parser struct {
	Measure string // the measure, for a table that does not name it
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

// link is an address that comes bare or inside an object.
type link string

// UnmarshalJSONFrom implements json.UnmarshalerFrom.
func (l *link) UnmarshalJSONFrom(dec *jsontext.Decoder) error {
	v, err := dec.ReadValue()
	if err != nil {
		return err
	}
	switch v.Kind() {
	case '"':
		var s string
		err = response.Unmarshal(v, &s)
		*l = link(s)
	case '{':
		var o struct {
			ID string `json:"@id"`
		}
		err = response.Unmarshal(v, &o)
		*l = link(o.ID)
	}
	return err
}

// reading is one value. The service leaves value out where there is none;
// where a measure had several in one moment it is a list.
type reading struct {
	Measure      link           `json:"measure"`
	Date         string         `json:"date"`
	DateTime     string         `json:"dateTime"`
	Value        jsontext.Value `json:"value"`
	Quality      string         `json:"quality"`
	Completeness string         `json:"completeness"`
}

// item is an element of items: a reading, a station or a measure.
type item struct {
	reading
	Measures      jsontext.Value `json:"measures"`
	LatestReading jsontext.Value `json:"latestReading"`
	Label         jsontext.Value `json:"label"`
	Lat           jsontext.Value `json:"lat"`
	Long          jsontext.Value `json:"long"`
	Notation      jsontext.Value `json:"notation"`
	ID            string         `json:"@id"`
}

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	br, first, err := feed.Begin(r)
	if err != nil {
		return nil, err
	}
	c := ingest.NewCollector(FeedName, p.Skipped)
	read := p.csv
	if first == '{' {
		read = p.json
	}
	if err := read(br, c); err != nil {
		return nil, err
	}
	return c.Finish()
}

func (p Parser) json(r io.Reader, c *ingest.Collector) error {
	dec := jsontext.NewDecoder(r, response.Lax)
	found, n := false, 0
	err := response.Object(dec, func(name string) error {
		if name != "items" {
			return dec.SkipValue()
		}
		found = true
		if dec.PeekKind() != '[' { // one item stands alone
			var x item
			if err := jsonv2.UnmarshalDecode(dec, &x); err != nil {
				return err
			}
			return p.item(c, "items", &x)
		}
		return response.Array(dec, func() error {
			var x item
			if err := jsonv2.UnmarshalDecode(dec, &x); err != nil {
				return err
			}
			n++
			return p.item(c, fmt.Sprintf("items[%d]", n-1), &x)
		})
	})
	if err == nil && !found {
		err = feed.Fault("response", "has no member \"items\"", "this is not an answer of the Hydrology or flood-monitoring API", nil)
	}
	return feed.JSONFault(err)
}

func (p Parser) item(c *ingest.Collector, where string, x *item) error {
	pl := ingest.SiteInfo{Name: response.Word(x.Label), Lat: number(x.Lat), Lon: number(x.Long), Elevation: math.NaN()}
	switch {
	case x.DateTime != "":
		return p.reading(c, where, &x.reading, pl)
	case x.LatestReading.Kind() == '{': // a measure
		return p.latest(c, where, x.LatestReading, link(x.ID), pl)
	case x.Measures != nil: // a station; its measures may be a list or one object
		list := []jsontext.Value{x.Measures}
		if x.Measures.Kind() == '[' {
			list = nil
			if err := response.Unmarshal(x.Measures, &list); err != nil {
				return feed.Unexpected(where+".measures", "is not a list", err)
			}
		}
		for i, v := range list {
			var m item
			if v.Kind() != '{' || response.Unmarshal(v, &m) != nil {
				continue
			}
			if m.LatestReading.Kind() != '{' {
				c.Skip(path.Base(x.ID), "measures without a reading", "there is nothing to read, or only the address of a reading", 1)
				continue
			}
			if err := p.latest(c, fmt.Sprintf("%s.measures[%d]", where, i), m.LatestReading, link(m.ID), pl); err != nil {
				return err
			}
		}
	case x.Notation != nil || x.ID != "":
		c.Skip("", "descriptions", "they hold no readings", 1)
	default:
		return feed.Unexpected(where, "is neither a reading, a measure nor a station", nil)
	}
	return nil
}

func (p Parser) latest(c *ingest.Collector, where string, v jsontext.Value, measure link, pl ingest.SiteInfo) error {
	var r reading
	if err := response.Unmarshal(v, &r); err != nil {
		return feed.Unexpected(where+".latestReading", "is not a reading", err)
	}
	if r.Measure == "" {
		r.Measure = measure
	}
	pl.Name = strings.TrimSpace(pl.Name)
	return p.reading(c, where+".latestReading", &r, pl)
}

func (p Parser) reading(c *ingest.Collector, where string, r *reading, pl ingest.SiteInfo) error {
	v := math.NaN()
	switch r.Value.Kind() {
	case '0':
		v = number(r.Value)
	case '[':
		var list []float64
		if err := response.Unmarshal(r.Value, &list); err != nil || len(list) == 0 {
			return feed.Unexpected(where+".value", "is a list without a number", nil)
		}
		v = list[len(list)-1]
	case 0, 'n':
	default:
		return feed.Unexpected(where+".value", ingest.Clip(string(r.Value))+" is not a number", nil)
	}
	return p.add(c, where, string(r.Measure), r.DateTime, r.Date, v, r.Quality, r.Completeness, pl)
}

func (p Parser) add(c *ingest.Collector, where, measure, dateTime, date string, v float64, quality, completeness string, pl ingest.SiteInfo) error {
	if measure == "" {
		measure = p.Measure
	}
	if measure == "" {
		return feed.Fault(where, "does not name its measure", "ask for the column measure too", nil)
	}
	m, err := parseMeasure(measure)
	if err != nil {
		return feed.Unexpected(where, err.Error(), nil)
	}
	if m.why != "" {
		c.Skip(m.key.Site, "measure "+ingest.Clip(path.Base(measure)), m.why, 1)
		return nil
	}
	t, err := instant(dateTime)
	if err != nil {
		return feed.Unexpected(where, err.Error(), nil)
	}
	if m.key.Period == ingest.Daily {
		// A daily extreme may be stamped with its own time of day, so the
		// water day's date counts, where it is told.
		if t = t.Truncate(24 * time.Hour); date != "" {
			if t, err = time.Parse(time.DateOnly, date); err != nil || ingest.YearInRange(t) != nil {
				return feed.Unexpected(where, fmt.Sprintf("%q is not a date", ingest.Clip(date)), nil)
			}
		}
	}
	g, err := c.Open(m.key, unitWords.Replace(m.unit))
	if err != nil {
		return feed.Unit(where, err)
	}
	if m.key.Period == ingest.Daily {
		g.DayStart = "09:00 UTC"
	}
	g.Place = pl
	q := quality
	if completeness != "" && completeness != "Complete" {
		if q != "" {
			q += ","
		}
		q += completeness
	}
	a := ingest.ApprovalUnknown
	switch quality {
	case "Good":
		a = ingest.Approved
	case "Unchecked":
		a = ingest.Provisional
	}
	g.Add(t.UnixMicro(), v, strings.Clone(q), a)
	return nil
}

// instant reads a time with Z (flood-monitoring) or without a zone
// (Hydrology), where it is GMT all year.
func instant(s string) (time.Time, error) {
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		if t, err = time.Parse("2006-01-02T15:04:05", s); err != nil {
			if t, err = time.Parse("2006-01-02T15:04", s); err != nil {
				return t, fmt.Errorf("%q is not a time", ingest.Clip(s))
			}
		}
	}
	if err := ingest.YearInRange(t); err != nil {
		return t, fmt.Errorf("%q %w", ingest.Clip(s), err)
	}
	return t.UTC(), nil
}

func (p Parser) csv(r io.Reader, c *ingest.Collector) error {
	t, err := feed.Table(r)
	if err != nil {
		return err
	}
	iTime, iDate, iMeasure, iValue := t.Column("dateTime"), t.Column("date"), t.Column("measure"), t.Column("value")
	iQuality, iComplete := t.Column("quality"), t.Column("completeness")
	if iTime < 0 || iValue < 0 {
		return feed.Fault("line 1", "has no columns dateTime and value", "this is not a table of readings", nil)
	}
	for {
		more, err := t.Next()
		if err != nil || !more {
			return err
		}
		several := strings.Split(t.Cell(iValue), "|") // values of one moment
		v, err := response.Number(several[len(several)-1])
		if err != nil {
			return feed.Unexpected(t.Where()+", value", err.Error(), nil)
		}
		if err := p.add(c, t.Where(), t.Cell(iMeasure), t.Cell(iTime), t.Cell(iDate), v, t.Cell(iQuality), t.Cell(iComplete), ingest.SiteInfo{Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN()}); err != nil {
			return err
		}
	}
}

// number reads a number; NaN if v is something else.
func number(v jsontext.Value) float64 {
	f, err := response.JSONNumber(v)
	if err != nil {
		return math.NaN()
	}
	return f
}
