package ghcn

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "ghcn"

// Parser reads one saved answer of the access data service (CSV or JSON), a
// file by station (wide with header, long without), a .dly file or an export
// of the older Climate Data Online; any of them may be packed by gzip.
type Parser struct {
	Units   string // Tenths, Metric or Standard; "": told from the numbers, or refused
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

func bad(where, problem, hint string, err error) *ingest.Error {
	return &ingest.Error{Feed: FeedName, Where: where, Problem: problem, Hint: hint, Err: err}
}

// maxBytes is the most that a packed file may swell to. The longest .dly files
// have some 10 MB.
const maxBytes = 256 << 20

// cell is one value of the answer, before its unit is known.
type cell struct {
	site, element string
	day           int64 // microseconds
	text          string
	flags         string
	where         string
}

type parsing struct {
	Parser
	ev      evidence
	cells   []cell
	places  map[string]ingest.SiteInfo
	columns map[string]int // elements the house does not know -> values
}

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	br := bufio.NewReaderSize(r, 64<<10)
	if head, _ := br.Peek(2); string(head) == "\x1f\x8b" {
		z, err := gzip.NewReader(br)
		if err != nil {
			return nil, bad("file", "is not gzip after all", "fetch it again", err)
		}
		br = bufio.NewReaderSize(&capped{r: z, left: maxBytes}, 64<<10)
	}
	if head, _ := br.Peek(3); string(head) == "\xef\xbb\xbf" {
		_, _ = br.Discard(3)
	}
	ps := &parsing{Parser: p, places: map[string]ingest.SiteInfo{}, columns: map[string]int{}}
	head, err := br.Peek(64)
	if len(head) == 0 {
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, bad("answer", "could not be read", "fetch it again", err)
		}
		return nil, bad("answer", "is empty", "try again; if still empty, check the station and dates", nil)
	}
	first := bytes.TrimLeft(head, " \r\n\t")
	switch {
	case len(first) > 0 && first[0] == '<':
		return nil, bad("answer", "is a web page or XML, not data", "the service may be down; open the URL in a browser", nil)
	case len(first) > 0 && (first[0] == '[' || first[0] == '{'):
		err = ps.json(br)
	case isDly(head):
		err = ps.dly(br)
	default:
		err = ps.csv(br)
	}
	if err != nil {
		return nil, err
	}
	return ps.finish()
}

// capped fails instead of ending when a packed file swells too far.
type capped struct {
	r    io.Reader
	left int64
}

func (c *capped) Read(b []byte) (int, error) {
	n, err := c.r.Read(b)
	if c.left -= int64(n); c.left < 0 {
		return 0, fmt.Errorf("it unpacks to more than %d MiB", maxBytes>>20)
	}
	return n, err
}

// isDly looks at the fixed columns: station 1-11, year 12-15, month 16-17,
// element 18-21 (readme, section III).
func isDly(head []byte) bool {
	if len(head) < 29 || bytes.IndexByte(head[:21], ',') >= 0 {
		return false
	}
	for _, b := range head[11:17] {
		if b < '0' || b > '9' {
			return false
		}
	}
	return true
}

func (p *parsing) add(c cell) {
	if _, ok := elements[c.element]; !ok {
		if strings.TrimSpace(c.text) != "" {
			p.columns[c.site+" "+c.element]++
		}
		return
	}
	p.ev.see(c.element, c.text)
	p.cells = append(p.cells, c)
}

func (p *parsing) finish() ([]ingest.Series, error) {
	c := ingest.NewCollector(FeedName, p.Skipped)
	var units string
	if len(p.cells) > 0 {
		var err error
		if units, err = p.ev.units(p.Units); err != nil {
			return nil, bad("answer", err.Error(), "ask the service for units=metric", nil)
		}
	}
	for _, x := range p.cells {
		e := elements[x.element]
		k := ingest.Key{Feed: FeedName, Site: x.site, Variable: e.variable, Statistic: e.statistic, Period: ingest.Daily}
		unit := e.unit(units)
		g, err := c.Open(k, unit)
		if unit == "0.1 m/s" {
			g, err = c.OpenWith(k, unit, tenthOfMetrePerSecond)
		}
		if err != nil {
			return nil, bad(x.where, "has a unit that cannot be used", "", err)
		}
		g.DayStart = "the station's observation time"
		if pl, ok := p.places[x.site]; ok {
			g.Place = pl
		}
		v := math.NaN()
		if s := strings.TrimSpace(x.text); s != "" {
			f, err := strconv.ParseFloat(s, 64)
			if err != nil || math.IsInf(f, 0) {
				return nil, bad(x.where, fmt.Sprintf("%q is not a number", ingest.Clip(s)), "report it with the saved response", nil)
			}
			if f != -9999 {
				v = f
			}
		}
		g.Add(x.day, v, x.flags, ingest.ApprovalUnknown)
	}
	for _, k := range slices.Sorted(maps.Keys(p.columns)) {
		site, name, _ := strings.Cut(k, " ")
		why := left[name]
		if why == "" {
			why = "unsupported variable"
		}
		c.Skip(site, "element "+name, why, p.columns[k])
	}
	return c.Finish()
}

// qualifier joins the measurement flag and the quality flag. The source flag
// stands beside every value and says nothing of it.
func qualifier(m, q string) string {
	m, q = strings.TrimSpace(m), strings.TrimSpace(q)
	switch {
	case m == "" && q == "":
		return ""
	case q == "":
		return "M:" + m
	case m == "":
		return "Q:" + q
	}
	return "M:" + m + ",Q:" + q
}

// attributes reads "M,Q,S" or "M,Q,S,time".
func attributes(s string) string {
	f := strings.Split(s, ",")
	if len(f) < 2 {
		return ""
	}
	return qualifier(f[0], f[1])
}

func station(s string) string {
	s = strings.TrimPrefix(strings.TrimSpace(s), "GHCND:")
	return strings.Clone(s)
}

func day(s string) (int64, error) {
	s = strings.TrimSpace(s)
	layout := time.DateOnly
	if len(s) == 8 {
		layout = "20060102"
	}
	t, err := time.Parse(layout, s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a date", ingest.Clip(s))
	}
	if err := ingest.YearInRange(t); err != nil {
		return 0, fmt.Errorf("%q %w", s, err)
	}
	return t.UnixMicro(), nil
}

func (p *parsing) json(r io.Reader) error {
	dec := jsontext.NewDecoder(r, jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))
	broken := func(err error) *ingest.Error {
		where := fmt.Sprintf("byte %d", dec.InputOffset())
		if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
			e := bad(where, "the response ends early", "the download was cut short; fetch it again", nil)
			e.Retryable = true
			return e
		}
		return bad(where, "the answer is not a JSON array of rows", "fetch it again; if it persists, report it with the saved response", err)
	}
	if dec.PeekKind() == '{' {
		v, err := dec.ReadValue()
		if err != nil {
			return broken(err)
		}
		return bad("answer", "holds no rows; the service says "+ingest.Clip(string(v)), "check the station, the dates and the data types", nil)
	}
	if _, err := dec.ReadToken(); err != nil {
		return broken(err)
	}
	for n := 0; dec.PeekKind() != ']'; n++ {
		var m map[string]any
		if err := jsonv2.UnmarshalDecode(dec, &m); err != nil {
			return broken(err)
		}
		row := map[string]string{}
		for k, v := range m {
			switch v := v.(type) {
			case string:
				row[k] = v
			case float64:
				row[k] = strconv.FormatFloat(v, 'f', -1, 64)
			}
		}
		where := fmt.Sprintf("row %d", n+1)
		if err := p.row(where, slices.Sorted(maps.Keys(row)), func(name string) (string, bool) { v, ok := row[name]; return v, ok }); err != nil {
			return err
		}
	}
	if _, err := dec.ReadToken(); err != nil {
		return broken(err)
	}
	return nil
}

var notElements = []string{"STATION", "STATION_NAME", "NAME", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION"}

// row takes one station and day of a wide table.
func (p *parsing) row(where string, names []string, get func(string) (string, bool)) error {
	id, _ := get("STATION")
	site := station(id)
	if site == "" {
		return bad(where, "does not name its station", "ask for the column STATION", nil)
	}
	date, _ := get("DATE")
	at, err := day(date)
	if err != nil {
		return bad(where+", DATE", err.Error(), "report it with the saved response", nil)
	}
	if _, known := p.places[site]; !known {
		p.places[site] = place(get)
	}
	for _, name := range names {
		if slices.Contains(notElements, name) || strings.HasSuffix(name, "_ATTRIBUTES") {
			continue
		}
		v, ok := get(name)
		if !ok {
			continue
		}
		flags, _ := get(name + "_ATTRIBUTES")
		p.add(cell{site: site, element: name, day: at, text: v, flags: attributes(flags), where: where + ", " + name})
	}
	return nil
}

func place(get func(string) (string, bool)) ingest.SiteInfo {
	f := func(name string) float64 {
		s, _ := get(name)
		v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
		if err != nil {
			return math.NaN()
		}
		return v
	}
	name, ok := get("NAME")
	if !ok {
		name, _ = get("STATION_NAME")
	}
	return ingest.SiteInfo{Name: strings.TrimSpace(name), Lat: f("LATITUDE"), Lon: f("LONGITUDE"), Elevation: f("ELEVATION")}
}

func (p *parsing) csv(r io.Reader) error {
	cr := csv.NewReader(r)
	cr.FieldsPerRecord = -1
	first, err := cr.Read()
	if err != nil {
		return brokenCSV(err)
	}
	if len(first) >= 4 && len(first[1]) == 8 && len(first[2]) == 4 && !slices.Contains(first, "DATE") {
		return p.long(cr, first)
	}
	at := map[string]int{}
	for i, h := range first {
		first[i] = strings.TrimSpace(h)
		if _, twice := at[first[i]]; twice {
			return bad("line 1", fmt.Sprintf("two columns are named %q", ingest.Clip(first[i])), "report it with the saved response", nil)
		}
		at[first[i]] = i
	}
	if _, ok := at["DATE"]; !ok {
		return bad("line 1", "has no column DATE", "this is not an answer of the access data service", nil)
	}
	for {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return brokenCSV(err)
		}
		line, _ := cr.FieldPos(0)
		where := fmt.Sprintf("line %d", line)
		if len(rec) != len(first) {
			return bad(where, fmt.Sprintf("has %d columns; the header has %d", len(rec), len(first)), "the download may have been cut short; fetch it again", nil)
		}
		err = p.row(where, first, func(name string) (string, bool) {
			i, ok := at[name]
			if !ok {
				return "", false
			}
			return rec[i], true
		})
		if err != nil {
			return err
		}
	}
}

// long takes the by-station file without header:
// ID,YYYYMMDD,ELEMENT,VALUE,M,Q,S,TIME.
func (p *parsing) long(cr *csv.Reader, rec []string) error {
	p.Units = Tenths
	for {
		line, _ := cr.FieldPos(0)
		where := fmt.Sprintf("line %d", line)
		if len(rec) < 7 {
			return bad(where, fmt.Sprintf("has %d columns, not 8", len(rec)), "the download may have been cut short; fetch it again", nil)
		}
		at, err := day(rec[1])
		if err != nil {
			return bad(where, err.Error(), "report it with the saved response", nil)
		}
		p.add(cell{site: station(rec[0]), element: rec[2], day: at, text: rec[3], flags: qualifier(rec[4], rec[5]), where: where})
		if rec, err = cr.Read(); errors.Is(err, io.EOF) {
			return nil
		} else if err != nil {
			return brokenCSV(err)
		}
	}
}

func brokenCSV(err error) *ingest.Error {
	if pe, ok := errors.AsType[*csv.ParseError](err); ok {
		return bad(fmt.Sprintf("line %d, column %d", pe.Line, pe.Column), "is not CSV", "fetch it again; if it persists, report it with the saved response", pe.Err)
	}
	e := bad("answer", "breaks off", "the download was cut short; fetch it again", err)
	e.Retryable = true
	return e
}

// dly takes fixed lines of 269 characters: 31 times value 5, M 1, Q 1, S 1.
// A month has 31 places, whatever its length.
func (p *parsing) dly(r io.Reader) error {
	p.Units = Tenths
	sc := bufio.NewScanner(r)
	for n := 1; sc.Scan(); n++ {
		l := strings.TrimRight(sc.Text(), "\r")
		where := fmt.Sprintf("line %d", n)
		if l == "" {
			continue
		}
		if len(l) < 21 {
			return bad(where, "is shorter than its head of 21 characters", "the file may be cut off; fetch it again", nil)
		}
		element := l[17:21]
		year, err1 := strconv.Atoi(l[11:15])
		month, err2 := strconv.Atoi(l[15:17])
		first := time.Date(year, time.Month(month), 1, 0, 0, 0, 0, time.UTC)
		if err1 != nil || err2 != nil || month < 1 || month > 12 || ingest.YearInRange(first) != nil {
			return bad(where, fmt.Sprintf("%q is not a year and month", ingest.Clip(l[11:17])), "report it with the saved response", nil)
		}
		days := first.AddDate(0, 1, -1).Day()
		if len(l) < 21+8*days-3 { // blank flags at the end of a line get lost
			return bad(where, fmt.Sprintf("has %d characters where %s needs %d", len(l), first.Format("January 2006"), 21+8*days), "the file may be cut off; fetch it again", nil)
		}
		site := station(l[:11])
		for d := range days {
			f := l[21+8*d:]
			for len(f) < 8 {
				f += " "
			}
			if _, ok := elements[element]; !ok {
				if strings.TrimSpace(f[:5]) != "-9999" {
					p.columns[site+" "+element]++
				}
				continue
			}
			p.cells = append(p.cells, cell{site: site, element: element, day: first.AddDate(0, 0, d).UnixMicro(), text: f[:5], flags: qualifier(f[5:6], f[6:7]), where: where})
		}
	}
	if err := sc.Err(); err != nil {
		return bad("file", "could not be read", "fetch it again", err)
	}
	return nil
}
