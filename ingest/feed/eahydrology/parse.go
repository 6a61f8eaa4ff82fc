package eahydrology

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "ea"

// Parser reads one saved answer of either API: readings as JSON or CSV, or a
// station with the latest reading of each of its measures.
type Parser struct {
	Measure string // the measure, for a table that does not name it
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

func bad(where, problem, hint string, err error) *ingest.Error {
	return &ingest.Error{Feed: FeedName, Where: where, Problem: problem, Hint: hint, Err: err}
}

var lax = jsonv2.JoinOptions(jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))

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
		err = jsonv2.Unmarshal(v, &s, lax)
		*l = link(s)
	case '{':
		var o struct {
			ID string `json:"@id"`
		}
		err = jsonv2.Unmarshal(v, &o, lax)
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
	br, first, err := begin(r)
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

// begin passes over a byte-order mark and blanks and tells the first byte of
// the answer.
func begin(r io.Reader) (*bufio.Reader, byte, error) {
	br := bufio.NewReaderSize(r, 64<<10)
	if b, _ := br.Peek(3); string(b) == "\xef\xbb\xbf" {
		_, _ = br.Discard(3)
	}
	for {
		b, err := br.ReadByte()
		switch {
		case err != nil:
			return nil, 0, bad("answer", "is empty", "try again; if still empty, open the URL in a browser", nil)
		case b == '<':
			return nil, 0, bad("answer", "is a web page or XML, not data", "the service may be down; open the URL in a browser", nil)
		case b != ' ' && b != '\n' && b != '\r' && b != '\t':
			_ = br.UnreadByte()
			return br, b, nil
		}
	}
}

func (p Parser) json(r io.Reader, c *ingest.Collector) error {
	dec := jsontext.NewDecoder(r, lax)
	broken := func(err error) error {
		if already, ok := errors.AsType[*ingest.Error](err); ok {
			return already
		}
		where := fmt.Sprintf("byte %d", dec.InputOffset())
		if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
			e := bad(where, "the response ends early", "the download was cut short; fetch it again", nil)
			e.Retryable = true
			return e
		}
		return bad(where, "the answer is not the expected JSON", "fetch it again; if it persists, report it with the saved response", err)
	}
	if _, err := dec.ReadToken(); err != nil {
		return broken(err)
	}
	found, n := false, 0
	for dec.PeekKind() != '}' {
		t, err := dec.ReadToken()
		if err != nil {
			return broken(err)
		}
		if t.String() != "items" {
			if err := dec.SkipValue(); err != nil {
				return broken(err)
			}
			continue
		}
		found = true
		if dec.PeekKind() != '[' { // one item stands alone
			var x item
			if err := jsonv2.UnmarshalDecode(dec, &x, lax); err != nil {
				return broken(err)
			}
			if err := p.item(c, "items", &x); err != nil {
				return err
			}
			continue
		}
		if _, err := dec.ReadToken(); err != nil {
			return broken(err)
		}
		for dec.PeekKind() != ']' {
			var x item
			if err := jsonv2.UnmarshalDecode(dec, &x, lax); err != nil {
				return broken(err)
			}
			if err := p.item(c, fmt.Sprintf("items[%d]", n), &x); err != nil {
				return err
			}
			n++
		}
		if _, err := dec.ReadToken(); err != nil {
			return broken(err)
		}
	}
	if _, err := dec.ReadToken(); err != nil {
		return broken(err)
	}
	if !found {
		return bad("answer", "has no member \"items\"", "this is not an answer of the Hydrology or flood-monitoring API", nil)
	}
	return nil
}

func (p Parser) item(c *ingest.Collector, where string, x *item) error {
	pl := ingest.SiteInfo{Name: str(x.Label), Lat: num(x.Lat), Lon: num(x.Long), Elevation: math.NaN()}
	switch {
	case x.DateTime != "":
		return p.reading(c, where, &x.reading, pl)
	case x.LatestReading.Kind() == '{': // a measure
		return p.latest(c, where, x.LatestReading, link(x.ID), pl)
	case x.Measures != nil: // a station; its measures may be a list or one object
		list := []jsontext.Value{x.Measures}
		if x.Measures.Kind() == '[' {
			list = nil
			if err := jsonv2.Unmarshal(x.Measures, &list, lax); err != nil {
				return bad(where+".measures", "is not a list", "report it with the saved response", err)
			}
		}
		for i, v := range list {
			var m item
			if v.Kind() != '{' || jsonv2.Unmarshal(v, &m, lax) != nil {
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
		return bad(where, "is neither a reading, a measure nor a station", "report it with the saved response", nil)
	}
	return nil
}

func (p Parser) latest(c *ingest.Collector, where string, v jsontext.Value, measure link, pl ingest.SiteInfo) error {
	var r reading
	if err := jsonv2.Unmarshal(v, &r, lax); err != nil {
		return bad(where+".latestReading", "is not a reading", "report it with the saved response", err)
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
		v = num(r.Value)
	case '[':
		var list []float64
		if err := jsonv2.Unmarshal(r.Value, &list, lax); err != nil || len(list) == 0 {
			return bad(where+".value", "is a list without a number", "report it with the saved response", nil)
		}
		v = list[len(list)-1]
	case 0, 'n':
	default:
		return bad(where+".value", ingest.Clip(string(r.Value))+" is not a number", "report it with the saved response", nil)
	}
	return p.add(c, where, string(r.Measure), r.DateTime, r.Date, v, r.Quality, r.Completeness, pl)
}

func (p Parser) add(c *ingest.Collector, where, measure, dateTime, date string, v float64, quality, completeness string, pl ingest.SiteInfo) error {
	if measure == "" {
		measure = p.Measure
	}
	if measure == "" {
		return bad(where, "does not name its measure", "ask for the column measure too", nil)
	}
	m, err := parseMeasure(measure)
	if err != nil {
		return bad(where, err.Error(), "report it with the saved response", nil)
	}
	if m.why != "" {
		c.Skip(m.key.Site, "measure "+ingest.Clip(path.Base(measure)), m.why, 1)
		return nil
	}
	t, err := instant(dateTime)
	if err != nil {
		return bad(where, err.Error(), "report it with the saved response", nil)
	}
	if m.key.Period == ingest.Daily {
		// A daily extreme may be stamped with its own time of day, so the
		// water day's date counts, where it is told.
		if t = t.Truncate(24 * time.Hour); date != "" {
			if t, err = time.Parse(time.DateOnly, date); err != nil || ingest.YearInRange(t) != nil {
				return bad(where, fmt.Sprintf("%q is not a date", ingest.Clip(date)), "report it with the saved response", nil)
			}
		}
	}
	g, err := c.Open(m.key, unitWords.Replace(m.unit))
	if err != nil {
		return bad(where, "has a unit that cannot be used", "", err)
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
	cr := csv.NewReader(r)
	cr.FieldsPerRecord = -1
	broken := func(err error) error {
		if pe, ok := errors.AsType[*csv.ParseError](err); ok {
			return bad(fmt.Sprintf("line %d, column %d", pe.Line, pe.Column), "is not CSV", "fetch it again; if it persists, report it with the saved response", pe.Err)
		}
		e := bad("answer", "breaks off", "the download was cut short; fetch it again", err)
		e.Retryable = true
		return e
	}
	head, err := cr.Read()
	if err != nil {
		return broken(err)
	}
	at := func(name string) int { return slices.Index(head, name) }
	iTime, iDate, iMeasure, iValue, iQuality, iComplete := at("dateTime"), at("date"), at("measure"), at("value"), at("quality"), at("completeness")
	if iTime < 0 || iValue < 0 {
		return bad("line 1", "has no columns dateTime and value", "this is not a table of readings", nil)
	}
	cr.ReuseRecord = true
	for {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return broken(err)
		}
		line, _ := cr.FieldPos(0)
		where := fmt.Sprintf("line %d", line)
		if len(rec) != len(head) {
			return bad(where, fmt.Sprintf("has %d columns; the header has %d", len(rec), len(head)), "the download may have been cut short; fetch it again", nil)
		}
		get := func(i int) string {
			if i < 0 {
				return ""
			}
			return strings.TrimSpace(rec[i])
		}
		v := math.NaN()
		if s := get(iValue); s != "" {
			// Several values of one moment are parted by a bar.
			parts := strings.Split(s, "|")
			if v, err = strconv.ParseFloat(parts[len(parts)-1], 64); err != nil || math.IsInf(v, 0) {
				return bad(where+", value", fmt.Sprintf("%q is not a number", ingest.Clip(s)), "report it with the saved response", nil)
			}
		}
		if err := p.add(c, where, get(iMeasure), get(iTime), get(iDate), v, get(iQuality), get(iComplete), ingest.SiteInfo{Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN()}); err != nil {
			return err
		}
	}
}

func num(v jsontext.Value) float64 {
	f, err := strconv.ParseFloat(string(v), 64)
	if err != nil || math.IsInf(f, 0) {
		return math.NaN()
	}
	return f
}

func str(v jsontext.Value) string {
	var s string
	if v.Kind() != '"' || jsonv2.Unmarshal(v, &s, lax) != nil {
		return ""
	}
	return s
}
