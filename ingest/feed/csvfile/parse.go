package csvfile

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/response"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "csv"

const feed response.Feed = FeedName

// Column declares one column of values.
type Column struct {
	Name      string // as in the header; or its place, "#3", counted from 1
	Variable  ingest.Variable
	Unit      string           // as people write it: "°F", "ft3/s"
	Statistic ingest.Statistic // "": mean for days, sum for rain and snow, else instant
	Period    string           // "": instantaneous; "PT1H", "P1D", ...
	Qualifier string           // name of a column of remarks; may be ""
}

// Parser reads one file. The zero Parser reads files that describe themselves:
// a column "time" of ISO 8601 instants with their offset, and columns named by
// variable and unit, such as "water_temperature (°C)".
type Parser struct {
	Site              string // "": "file"
	TimeColumn        string // "": "time", or the first column
	Layout            string // a Go layout, "iso8601" (also if empty) or "unix"
	Zone              string // IANA name or fixed offset; compulsory unless the times carry one
	TwoDigitYearsFrom int    // first year of the hundred for years of two digits
	Columns           []Column
	Missing           []string // cells that mean "no value", beside empty ones
	Delimiter         string   // one character; "": the commonest of , ; and tab in the header
	DecimalComma      bool
	SkipLines         int // lines before the header
	Skipped           func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

func (p *Parser) onlyDays() bool {
	for _, c := range p.Columns {
		if c.Period != ingest.Daily {
			return false
		}
	}
	return len(p.Columns) > 0
}

// field is a declared column found in the header.
type field struct {
	Column
	at, remark int // index of the column and of its remarks; -1: none
	open       *ingest.Builder
}

// reading is one cell that waits for the instant of its row.
type reading struct {
	field     int
	value     float64
	qualifier string
}

type row struct {
	stamp
	line     int
	readings []reading
}

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	br := response.Text(r)
	for i := range p.SkipLines {
		if _, err := br.ReadString('\n'); err != nil {
			return nil, feed.Fault(fmt.Sprintf("line %d", i+1), fmt.Sprintf("the file has fewer than the %d lines to skip", p.SkipLines), "check skip-lines", nil)
		}
	}
	if p.Site == "" {
		p.Site = "file"
	}
	cr := csv.NewReader(br)
	cr.Comma = p.comma(br)
	cr.Comment = '#'
	cr.LazyQuotes = true
	cr.FieldsPerRecord = -1
	cr.TrimLeadingSpace = cr.Comma != '\t'
	if !validComma(cr.Comma) {
		return nil, feed.Fault("config", fmt.Sprintf("delimiter %q is not allowed", p.Delimiter), "use a comma, a semicolon or a tab", nil)
	}
	header, err := cr.Read()
	if err != nil {
		if errors.Is(err, io.EOF) {
			return nil, feed.Fault("response", "has no header line", "check that it is not empty", nil)
		}
		return nil, broken(err)
	}
	for i := range header {
		header[i] = strings.TrimSpace(header[i])
	}
	ps := &parsing{Parser: p, line: p.SkipLines, c: ingest.NewCollector(FeedName, p.Skipped)}
	if err := ps.find(header); err != nil {
		return nil, err
	}
	if ps.clock, err = newClock(&ps.Parser); err != nil {
		return nil, feed.Fault("config", err.Error(), "", nil)
	}
	cr.ReuseRecord = true
	if err := ps.rows(cr, len(header)); err != nil {
		return nil, err
	}
	if err := ps.place(); err != nil {
		return nil, err
	}
	return ps.c.Finish()
}

func validComma(r rune) bool {
	return r != 0 && r != '"' && r != '\r' && r != '\n' && r != '#' && r != '�'
}

func (p *Parser) comma(br *bufio.Reader) rune {
	if p.Delimiter == `\t` {
		return '\t'
	}
	for _, r := range p.Delimiter {
		return r
	}
	head, _ := br.Peek(8192)
	best, most := ',', 0
	for line := range strings.SplitSeq(string(head), "\n") {
		if strings.HasPrefix(line, "#") || strings.TrimSpace(line) == "" {
			continue
		}
		for _, r := range ",;\t" {
			if n := strings.Count(line, string(r)); n > most {
				best, most = r, n
			}
		}
		break
	}
	return best
}

func broken(err error) *ingest.Error {
	if pe, ok := errors.AsType[*csv.ParseError](err); ok {
		return feed.Fault(fmt.Sprintf("line %d, column %d", pe.Line, pe.Column), "is not CSV", "check the delimiter and the quotes", pe.Err)
	}
	e := feed.Fault("response", "could not be read", "", err)
	return e
}

// parsing is one run of a Parser.
type parsing struct {
	Parser
	line   int // lines before what the CSV reader sees
	c      *ingest.Collector
	clock  *clock
	timeAt int
	fields []field
	all    []row
	header []string
}

var described = regexp.MustCompile(`^([a-z_]+) ?\(([^()]+)\)$`)

// find looks the declared columns up in the header.
func (p *parsing) find(header []string) error {
	p.header = slices.Clone(header)
	if len(p.Columns) == 0 {
		for _, h := range header {
			if m := described.FindStringSubmatch(h); m != nil && ingest.Variable(m[1]).Unit() != "" {
				p.Columns = append(p.Columns, Column{Name: h, Variable: ingest.Variable(m[1]), Unit: m[2]})
			}
		}
		if len(p.Columns) == 0 {
			return feed.Fault("line 1", "no column is declared, and none is named like \"water_temperature (°C)\"", "declare the columns in the config, under [[feeds.csv.column]], and name it with --config", nil)
		}
	}
	var err error
	if p.TimeColumn == "" {
		p.timeAt = max(slices.Index(header, "time"), 0)
	} else if p.timeAt, err = p.lookUp(p.TimeColumn); err != nil {
		return err
	}
	for _, c := range p.Columns {
		if c.Variable.Unit() == "" {
			return feed.Fault("config", fmt.Sprintf("column %q: variable %q is not supported", c.Name, c.Variable), "", nil)
		}
		f := field{Column: c, remark: -1}
		if f.at, err = p.lookUp(c.Name); err != nil {
			return err
		}
		if c.Qualifier != "" {
			if f.remark, err = p.lookUp(c.Qualifier); err != nil {
				return err
			}
		}
		sums := c.Variable == ingest.Precipitation || c.Variable == ingest.Snowfall
		if f.Statistic == "" {
			switch {
			case sums:
				f.Statistic = ingest.Sum
			case c.Period != ingest.NoPeriod:
				f.Statistic = ingest.Mean
			default:
				f.Statistic = ingest.Instant
			}
		}
		k := ingest.Key{Feed: FeedName, Site: p.Site, Variable: c.Variable, Statistic: f.Statistic, Period: c.Period}
		for _, g := range p.fields {
			if g.open.Key == k {
				k.TimeSeries = c.Name
			}
		}
		if f.open, err = p.c.Open(k, c.Unit); err != nil {
			// The unit is in somebody's own file: no agency has renamed it.
			if fault := (*ingest.Error)(nil); errors.As(err, &fault) {
				fault.Hint = fmt.Sprintf("write the unit as %s", ingest.UnitExamples(k.Variable))
			}
			return feed.Fault("config", fmt.Sprintf("column %q", c.Name), "", err)
		}
		if c.Period == ingest.Daily {
			f.open.DayStart = "as declared by the file"
		}
		p.fields = append(p.fields, f)
	}
	return nil
}

func (p *parsing) lookUp(name string) (int, error) {
	if n, ok := strings.CutPrefix(name, "#"); ok {
		i, err := strconv.Atoi(n)
		if err != nil || i < 1 || i > len(p.header) {
			return 0, feed.Fault("config", fmt.Sprintf("column %q: the file has %d columns", name, len(p.header)), "count them from 1, as #1, #2, ...", nil)
		}
		return i - 1, nil
	}
	i := slices.Index(p.header, name)
	if i < 0 {
		return 0, feed.Fault(fmt.Sprintf("line %d", p.line+1), fmt.Sprintf("there is no column %q; the header has %s", name, ingest.Clip(strings.Join(p.header, ", "))), "check the column's name and the delimiter in the config", nil)
	}
	if slices.Contains(p.header[i+1:], name) {
		return 0, feed.Fault(fmt.Sprintf("line %d", p.line+1), fmt.Sprintf("two columns are named %q", name), "refer to it by position: #1, #2, ...", nil)
	}
	return i, nil
}

func (p *parsing) rows(cr *csv.Reader, width int) error {
	for n := 0; ; n++ {
		rec, err := cr.Read()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			if pe, ok := errors.AsType[*csv.ParseError](err); ok {
				pe.Line += p.line
			}
			return broken(err)
		}
		at := func(i int) string {
			l, c := cr.FieldPos(i)
			return fmt.Sprintf("line %d, column %d (%s)", l+p.line, c, ingest.Clip(p.header[i]))
		}
		line, _ := cr.FieldPos(0)
		if len(rec) == 1 && strings.TrimSpace(rec[0]) == "" && width > 1 {
			continue
		}
		if len(rec) < width {
			return feed.Fault(fmt.Sprintf("line %d", line+p.line), fmt.Sprintf("has %d columns; the header has %d", len(rec), width), "the file may be cut off, or a delimiter is missing", nil)
		}
		if strings.TrimSpace(strings.Join(rec[width:], "")) != "" {
			return feed.Fault(fmt.Sprintf("line %d", line+p.line), fmt.Sprintf("has %d columns; the header has %d", len(rec), width), "a decimal comma needs another delimiter, or quotes around the number", nil)
		}
		cell := strings.TrimSpace(rec[p.timeAt])
		st, err := p.clock.read(cell)
		if err != nil {
			if n == 0 && p.isUnitRow(rec) {
				p.c.Skip(p.Site, "the line below the header", "contains text, not readings", 1)
				continue
			}
			return feed.Fault(at(p.timeAt), err.Error(), "check time-layout in the config", nil)
		}
		if !st.known && p.clock.zone == nil {
			return feed.Fault(at(p.timeAt), fmt.Sprintf("%q has no UTC offset and no zone is set", ingest.Clip(cell)), "declare zone, such as \"Europe/London\" or \"UTC-08:00\"", nil)
		}
		r := row{stamp: st, line: line + p.line}
		for i := range p.fields {
			f := &p.fields[i]
			v, word, err := p.value(strings.TrimSpace(rec[f.at]))
			if err != nil {
				return feed.Fault(at(f.at), err.Error(), "check the delimiter and the decimal mark, or name the word under missing in the config", nil)
			}
			q := word
			if f.remark >= 0 {
				if note := strings.TrimSpace(rec[f.remark]); note != "" {
					if q != "" {
						q += ","
					}
					q += strings.Clone(note)
				}
			}
			r.readings = append(r.readings, reading{i, v, q})
		}
		p.all = append(p.all, r)
	}
}

// isUnitRow holds for a row of units or types under the header: no declared
// cell of it is a number.
func (p *parsing) isUnitRow(rec []string) bool {
	for _, f := range p.fields {
		if _, err := strconv.ParseFloat(strings.TrimSpace(rec[f.at]), 64); err == nil {
			return false
		}
	}
	return true
}

// value reads a cell: a number, nothing, a mark for nothing, or a short word
// in the number's place, which is kept as the reading's qualifier.
func (p *parsing) value(s string) (v float64, word string, err error) {
	if s == "" || slices.Contains(p.Missing, s) {
		return math.NaN(), "", nil
	}
	n := s
	if p.DecimalComma {
		n = strings.Replace(n, ",", ".", 1)
	}
	v, perr := strconv.ParseFloat(n, 64)
	switch {
	case perr == nil && math.IsNaN(v):
		return v, strings.Clone(s), nil // kept as the reading's qualifier, so that it is counted
	case perr == nil && !math.IsInf(v, 0) && !strings.ContainsAny(n, "xX_"):
		for _, m := range p.Missing {
			if f, err := strconv.ParseFloat(m, 64); err == nil && f == v {
				return math.NaN(), "", nil
			}
		}
		return v, "", nil
	case perr != nil && isWord(s):
		return math.NaN(), strings.Clone(s), nil
	}
	return 0, "", fmt.Errorf("%q is not a number", ingest.Clip(s))
}

func isWord(s string) bool {
	for _, r := range s {
		if (r < 'A' || r > 'Z') && (r < 'a' || r > 'z') && r != '*' && r != '-' {
			return false
		}
	}
	return len(s) <= 12
}

// place gives every row its instant. Where the clock was put back, a wall time
// has two instants: the rows' order tells which, as the first one that is
// later than the row before. Where it was put forward, a wall time never was,
// and the reading is left out and reported.
func (p *parsing) place() error {
	rows := p.all
	if len(rows) > 1 && rows[len(rows)-1].at.Before(rows[0].at) {
		slices.Reverse(rows) // newest first
	}
	before := time.Time{}
	var none time.Time // the first time that never was
	left := 0
	for _, r := range rows {
		t := r.at
		if !r.known && !p.onlyDays() {
			two, n := ingest.WallClock(r.at, p.clock.zone)
			switch n {
			case 0:
				if left == 0 {
					none = r.at
				}
				left += len(r.readings)
				continue
			case 2:
				t = two[0]
				if !t.After(before) && two[1].After(before) {
					t = two[1]
				}
			default:
				t = two[0]
			}
		}
		before = t
		day := r.at // the date on the wall
		if r.known && p.clock.zone != nil {
			_, off := t.In(p.clock.zone).Zone()
			day = t.Add(time.Duration(off) * time.Second)
		}
		for _, v := range r.readings {
			f := &p.fields[v.field]
			at := t
			if f.Period == ingest.Daily {
				at = day.Truncate(24 * time.Hour)
			}
			f.open.Add(at.UnixMicro(), v.value, v.qualifier, ingest.ApprovalUnknown)
		}
	}
	if left > 0 {
		p.c.Skip(p.Site, "times that the clocks of "+p.Zone+" left out", fmt.Sprintf("%s and the like did not exist (clock change); if the logger keeps standard time all year, declare a fixed offset, e.g. zone = \"UTC-08:00\"", none.Format("2006-01-02 15:04")), left)
	}
	return nil
}
