package ghcn

import (
	"bufio"
	"bytes"
	"compress/gzip"
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
	"example.org/eclose/ingest/feed/response"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "ghcn"

const feed response.Feed = FeedName

// Parser reads one saved answer of the access data service (CSV or JSON), a
// file by station (wide with header, long without), a .dly file or an export
// of the older Climate Data Online; any of them may be packed by gzip.
type Parser struct {
	Units   string // Tenths, Metric or Standard; "": told from the numbers, or refused
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

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
	columns map[string]int // elements that Eclose does not know -> values
}

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	br := bufio.NewReaderSize(r, 64<<10)
	if head, _ := br.Peek(2); string(head) == "\x1f\x8b" {
		z, err := gzip.NewReader(br)
		if err != nil {
			return nil, feed.Fault("response", "is not gzip after all", "fetch it again", err)
		}
		br = bufio.NewReaderSize(&capped{r: z, left: maxBytes}, 64<<10)
	}
	ps := &parsing{Parser: p, places: map[string]ingest.SiteInfo{}, columns: map[string]int{}}
	body, first, err := feed.Begin(br)
	if err != nil {
		return nil, err
	}
	head, _ := body.Peek(64)
	switch {
	case first == '[' || first == '{':
		err = ps.json(body)
	case isDly(head):
		err = ps.dly(body)
	default:
		err = ps.csv(body)
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
			return nil, feed.Fault("response", err.Error(), "ask the service for units=metric", nil)
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
			return nil, feed.Unit(x.where, err)
		}
		g.DayStart = "the station's observation time"
		if pl, ok := p.places[x.site]; ok {
			g.Place = pl
		}
		v, err := response.Number(x.text)
		if err != nil {
			return nil, feed.Unexpected(x.where, err.Error(), nil)
		}
		if v == -9999 {
			v = math.NaN()
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
	dec := jsontext.NewDecoder(r, response.Lax)
	if dec.PeekKind() == '{' {
		v, err := dec.ReadValue()
		if err != nil {
			return feed.JSONFault(err)
		}
		return feed.Fault("response", "holds no rows; the service says "+ingest.Clip(string(v)), "check the station, the dates and the data types", nil)
	}
	n := 0
	return feed.JSONFault(response.Array(dec, func() error {
		var m map[string]any
		if err := jsonv2.UnmarshalDecode(dec, &m); err != nil {
			return err
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
		n++
		return p.row(fmt.Sprintf("row %d", n), slices.Sorted(maps.Keys(row)), func(name string) (string, bool) { v, ok := row[name]; return v, ok })
	}))
}

var notElements = []string{"STATION", "STATION_NAME", "NAME", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION"}

// row takes one station and day of a wide table.
func (p *parsing) row(where string, names []string, get func(string) (string, bool)) error {
	id, _ := get("STATION")
	site := station(id)
	if site == "" {
		return feed.Fault(where, "does not name its station", "ask for the column STATION", nil)
	}
	date, _ := get("DATE")
	at, err := day(date)
	if err != nil {
		return feed.Unexpected(where+", DATE", err.Error(), nil)
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
	t, err := feed.Table(r)
	if err != nil {
		return err
	}
	if h := t.Header; len(h) >= 7 && len(h[1]) == 8 && len(h[2]) == 4 && !slices.Contains(h, "DATE") {
		return p.long(t)
	}
	at := map[string]int{}
	for i, h := range t.Header {
		if _, twice := at[h]; twice {
			return feed.Unexpected("line 1", fmt.Sprintf("two columns are named %q", ingest.Clip(h)), nil)
		}
		at[h] = i
	}
	if _, ok := at["DATE"]; !ok {
		return feed.Fault("line 1", "has no column DATE", "this is not an answer of the access data service", nil)
	}
	for {
		more, err := t.Next()
		if err != nil || !more {
			return err
		}
		err = p.row(t.Where(), t.Header, func(name string) (string, bool) {
			i, ok := at[name]
			if !ok {
				return "", false
			}
			return t.Cells[i], true
		})
		if err != nil {
			return err
		}
	}
}

// long takes the by-station file without header:
// ID,YYYYMMDD,ELEMENT,VALUE,M,Q,S,TIME.
func (p *parsing) long(t *response.Rows) error {
	p.Units = Tenths
	where, rec := "line 1", t.Header
	for {
		at, err := day(rec[1])
		if err != nil {
			return feed.Unexpected(where, err.Error(), nil)
		}
		p.add(cell{site: station(rec[0]), element: rec[2], day: at, text: rec[3], flags: qualifier(rec[4], rec[5]), where: where})
		if more, err := t.Next(); err != nil || !more {
			return err
		}
		where, rec = t.Where(), t.Cells
	}
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
			return feed.Fault(where, "is shorter than its head of 21 characters", "the file may be cut off; fetch it again", nil)
		}
		element := l[17:21]
		year, err1 := strconv.Atoi(l[11:15])
		month, err2 := strconv.Atoi(l[15:17])
		first := time.Date(year, time.Month(month), 1, 0, 0, 0, 0, time.UTC)
		if err1 != nil || err2 != nil || month < 1 || month > 12 || ingest.YearInRange(first) != nil {
			return feed.Unexpected(where, fmt.Sprintf("%q is not a year and month", ingest.Clip(l[11:17])), nil)
		}
		days := first.AddDate(0, 1, -1).Day()
		if len(l) < 21+8*days-3 { // blank flags at the end of a line get lost
			return feed.Fault(where, fmt.Sprintf("has %d characters where %s needs %d", len(l), first.Format("January 2006"), 21+8*days), "the file may be cut off; fetch it again", nil)
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
		return feed.Fault("response", "could not be read", "fetch it again", err)
	}
	return nil
}
