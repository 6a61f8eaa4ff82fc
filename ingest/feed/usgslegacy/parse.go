package usgslegacy

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"math"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/usgs"
)

// FeedName is Key.Feed of every series of this feed.
const FeedName = "usgs-legacy"

// Parser reads one saved answer. TwoDigitYearsFrom is for RDB tables that went
// through a spreadsheet: the year in which the hundred years begin that a
// two-digit year is looked up in; zero refuses such dates.
type Parser struct {
	TwoDigitYearsFrom int
	Skipped           func(ingest.Skipped) // told what was left out; may be nil
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

// Parse implements ingest.Parser. It tells the three formats apart by how they
// begin.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	br := bufio.NewReaderSize(r, 64<<10)
	if b, _ := br.Peek(3); string(b) == "\xef\xbb\xbf" {
		_, _ = br.Discard(3)
	}
	c := collector{p: p}
	for {
		b, err := br.ReadByte()
		if err != nil {
			if errors.Is(err, io.EOF) {
				err = nil
			}
			return nil, bad("file", "is empty", "save the answer again", err)
		}
		if b == ' ' || b == '\n' || b == '\r' || b == '\t' {
			continue
		}
		_ = br.UnreadByte()
		switch b {
		case '{':
			err = c.json(br)
		case '<':
			err = c.xml(br)
		default:
			err = c.rdb(br)
		}
		if err != nil {
			return nil, err
		}
		return c.finish()
	}
}

func bad(where, problem, hint string, err error) *ingest.Error {
	return &ingest.Error{Feed: FeedName, Where: where, Problem: problem, Hint: hint, Err: err}
}

// asError keeps an *ingest.Error as it is and makes one of anything else.
func asError(err error, where, problem, hint string) error {
	if _, ok := errors.AsType[*ingest.Error](err); ok {
		return err
	}
	return bad(where, problem, hint, err)
}

func cut(where string) *ingest.Error {
	e := bad(where, "the file ends early", "the download was cut short; save it again", nil)
	e.Retryable = true
	return e
}

// collector gathers the series of a file in the order in which they come.
type collector struct {
	p     Parser
	out   []ingest.Series
	skips []ingest.Skipped
	words map[string]remark
}

// remark is a list of qualifier codes, taken apart.
type remark struct {
	approval ingest.Approval
	rest     string
}

func (c *collector) skip(site, what, why string, n int) {
	c.skips = append(c.skips, ingest.Skipped{Site: site, What: what, Why: why, Readings: n})
}

// head is what a file says about one time series besides its values.
type head struct {
	agency, number, name string
	lat, lon             float64
	zone                 string
	parameter, statistic string
	unit                 string
	noData               float64
}

func (h head) site() string { return h.agency + "-" + h.number }

// open begins a series of the given id (sensor, method or series number).
// ok is false if the house does not know the parameter or the statistic; the
// readings are then counted and reported as skipped.
func (c *collector) open(where string, h head, id string, daily bool, readings int) (s ingest.Series, conv ingest.Conversion, ok bool, err error) {
	if h.number == "" || h.agency == "" {
		return s, conv, false, bad(where, "does not name its site", "save the answer again", nil)
	}
	p, known := usgs.ParameterOf(h.parameter)
	if !known {
		c.skip(h.site(), "parameter "+h.parameter, "unsupported variable", readings)
		return s, conv, false, nil
	}
	stat, known := usgs.StatisticOf(h.statistic)
	if !known {
		c.skip(h.site(), "statistic "+h.statistic+" of parameter "+h.parameter, "unsupported statistic", readings)
		return s, conv, false, nil
	}
	if p.Variable == ingest.Precipitation && !daily {
		stat = ingest.Sum // since the reading before
	}
	conv, err = ingest.ConversionOf(p.Variable, h.unit)
	if err != nil {
		return s, conv, false, bad(where, "parameter "+h.parameter, "", err)
	}
	s.Key = ingest.Key{Feed: FeedName, Site: h.site(), Variable: p.Variable, Statistic: stat, TimeSeries: id}
	s.Place = ingest.SiteInfo{Name: h.name, Lat: h.lat, Lon: h.lon, Elevation: math.NaN(), Zone: h.zone}
	s.SourceUnit = h.unit
	if daily {
		s.Period, s.DayStart = ingest.Daily, "local midnight"
	}
	return s, conv, true, nil
}

// keep takes a finished series in.
func (c *collector) keep(where string, s ingest.Series) error {
	if n := s.Normalize(); n > 0 {
		c.skip(s.Site, "repeated times of "+s.String(), "the last one was kept", n)
	}
	if err := s.Check(); err != nil {
		return bad(where, "is not a valid series", "report it with the saved file", err)
	}
	c.out = append(c.out, s)
	return nil
}

// finish joins series that a file gives in several pieces, and reports what
// was left out.
func (c *collector) finish() ([]ingest.Series, error) {
	at := map[ingest.Key]int{}
	out := c.out[:0]
	for _, s := range c.out {
		i, seen := at[s.Key]
		if !seen {
			at[s.Key] = len(out)
			out = append(out, s)
			continue
		}
		o := &out[i]
		o.Time, o.Value = append(o.Time, s.Time...), append(o.Value, s.Value...)
		o.Qualifier, o.Approval = append(o.Qualifier, s.Qualifier...), append(o.Approval, s.Approval...)
		if n := o.Normalize(); n > 0 {
			c.skip(s.Site, "repeated times of "+s.String(), "the last one was kept", n)
		}
	}
	if c.p.Skipped != nil {
		for _, s := range c.skips {
			c.p.Skipped(s)
		}
	}
	return out, nil
}

// qualifiers takes a list of codes apart: A and P say how far the agency
// stands by the value, everything else is a remark. The list is written "P,Ice"
// in JSON (here already joined), "P Ice" in XML, "A:e", "A:[4]" or the older
// "Ae" in RDB.
func (c *collector) qualifiers(s string) remark {
	if r, ok := c.words[s]; ok {
		return r
	}
	var r remark
	var rest []string
	for _, w := range strings.FieldsFunc(s, func(x rune) bool { return x == ',' || x == ' ' || x == ':' }) {
		switch w {
		case "A":
			r.approval = ingest.Approved
		case "P":
			r.approval = ingest.Provisional
		case "Ae", "Pe":
			r.approval = ingest.Approved
			if w == "Pe" {
				r.approval = ingest.Provisional
			}
			rest = append(rest, "e")
		default:
			rest = append(rest, w)
		}
	}
	r.rest = strings.Join(rest, ",")
	if c.words == nil {
		c.words = map[string]remark{}
	}
	if len(c.words) < 1000 {
		c.words[strings.Clone(s)] = r
	}
	return r
}

// instant reads the WaterML forms of a time: with an offset an instant,
// without one a civil day at the site.
func instant(s string) (at int64, daily bool, err error) {
	switch {
	case len(s) == len("2006-01-02T15:04:05.000"), len(s) == len("2006-01-02T15:04:05"), len(s) == len("2006-01-02"):
		t, err := time.Parse("2006-01-02T15:04:05", s)
		if len(s) == len("2006-01-02") {
			t, err = time.Parse("2006-01-02", s)
		}
		if err == nil && t.Equal(t.Truncate(24*time.Hour)) {
			return t.UnixMicro(), true, inRange(t)
		}
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return 0, false, fmt.Errorf("the time %q is neither a day nor an instant with its offset from UTC", ingest.Clip(s))
	}
	return t.UnixMicro(), false, inRange(t)
}

func inRange(t time.Time) error {
	if y := t.Year(); y < 1700 || y > 2200 {
		return fmt.Errorf("the time lies in the year %d", y)
	}
	return nil
}
