package usgs

import (
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// Parser reads one saved answer of the collections daily, continuous,
// latest-daily, latest-continuous, field-measurements, channel-measurements,
// time-series-metadata and combined-metadata (series without readings),
// monitoring-locations and the statistics API (no series; counted as skipped).
//
// Site, Parameter and Statistic stand in for what an answer leaves out because
// it was asked for with a short list of properties. The zero Parser takes them
// from the answer's own link to itself, where it has one.
type Parser struct {
	Site, Parameter, Statistic string
	Skipped                    func(ingest.Skipped) // called with what was left out; may be nil
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	b := newBuilder(p)
	if _, err := b.read(r); err != nil {
		return nil, err
	}
	return b.finish()
}

// builder gathers rows into series. Rows of several series come mixed and in
// no order, so nothing is whole before the last row.
type builder struct {
	p       Parser
	byKey   map[ingest.Key]*ingest.Series
	order   []*ingest.Series
	conv    map[*ingest.Series]ingest.Conversion
	skipped map[skipKey]*ingest.Skipped
	skips   []*ingest.Skipped
	pending []row // rows whose site or parameter only the self link tells, which may follow them
	where   []string
	last    struct { // the series of the row before, found without building its key
		ts, stat, param, site, unit text
		daily                       bool
		s                           *ingest.Series
	}
}

type skipKey struct{ site, what string }

func newBuilder(p Parser) *builder {
	return &builder{p: p, byKey: map[ingest.Key]*ingest.Series{}, conv: map[*ingest.Series]ingest.Conversion{}, skipped: map[skipKey]*ingest.Skipped{}}
}

func (b *builder) read(r io.Reader) (page, error) {
	pg, err := readPage(r, func(_ int, where string, r *row) error { return b.add(where, r) })
	if err != nil {
		return pg, err
	}
	site, param, stat := b.p.Site, b.p.Parameter, b.p.Statistic
	if site == "" {
		site = pg.self.Get("monitoring_location_id")
	}
	if param == "" {
		param = pg.self.Get("parameter_code")
	}
	if stat == "" {
		stat = pg.self.Get("statistic_id")
	}
	for i := range b.pending {
		r := &b.pending[i]
		fill(&r.Site, site)
		fill(&r.Parameter, param)
		fill(&r.Statistic, stat)
		if r.Site == "" || r.Parameter == "" || strings.Contains(string(r.Site), ",") || strings.Contains(string(r.Parameter), ",") {
			return pg, feed.Fault(b.where[i], "says neither its site nor its parameter", "ask for the properties monitoring_location_id, parameter_code and time_series_id too, or name --site and --parameter", nil)
		}
		if err := b.addReading(b.where[i], r); err != nil {
			return pg, err
		}
	}
	b.pending, b.where = nil, nil
	return pg, nil
}

func fill(t *text, with string) {
	if *t == "" {
		*t = text(with)
	}
}

func (b *builder) skip(site, what, why string, n int) {
	k := skipKey{site, what}
	s := b.skipped[k]
	if s == nil {
		s = &ingest.Skipped{Site: site, What: what, Why: why}
		b.skipped[k] = s
		b.skips = append(b.skips, s)
	}
	s.Readings += n
}

func (b *builder) add(where string, r *row) error {
	switch r.kind() {
	case readingKind:
		if r.Site == "" || r.Parameter == "" {
			c := *r
			c.geometry = nil
			b.pending, b.where = append(b.pending, c), append(b.where, where)
			return nil
		}
		return b.addReading(where, r)
	case channelKind:
		return b.addChannel(where, r)
	case metadataKind:
		return b.addMetadata(where, r)
	case locationKind:
		b.skip("", "site descriptions", "they hold no readings; see 'eclose gauges find'", 1)
	case normalKind:
		ns, err := normals(where, r)
		if err != nil {
			return err
		}
		b.skip(string(r.Site), "statistics of past years", "these are not readings", len(ns))
	default:
		return feed.Fault(where, "is of no collection that holds readings", "save an answer of daily, continuous, latest-..., field-measurements or channel-measurements", nil)
	}
	return nil
}

// series finds or begins the series that a row belongs to. unit is the
// agency's spelling.
func (b *builder) series(where string, k ingest.Key, unit string, r *row) (*ingest.Series, error) {
	s := b.byKey[k]
	if s == nil {
		c, err := ingest.ConversionOf(k.Variable, unit)
		if err != nil {
			return nil, feed.Fault(where, "unit_of_measure", "", err)
		}
		s = &ingest.Series{Key: k, SourceUnit: unit}
		s.Place = ingest.SiteInfo{Elevation: math.NaN()}
		s.Place.Lat, s.Place.Lon = r.point()
		if k.Period == ingest.Daily {
			s.DayStart = "local midnight"
		}
		b.byKey[k] = s
		b.conv[s] = c
		b.order = append(b.order, s)
	}
	if s.SourceUnit != unit {
		return nil, feed.Fault(where, fmt.Sprintf("unit_of_measure is %q, but earlier rows of the series %s are in %q", unit, k, s.SourceUnit), "a series must have one unit; report it with the saved response", nil)
	}
	return s, nil
}

func (b *builder) addReading(where string, r *row) error {
	at, daily, err := parseTime(string(r.Time))
	if err != nil {
		return feed.Unexpected(where, "its time "+err.Error(), nil)
	}
	l := &b.last
	if l.s == nil || l.ts != r.TimeSeriesID || l.stat != r.Statistic || l.param != r.Parameter || l.site != r.Site || l.unit != r.Unit || l.daily != daily {
		site := string(r.Site)
		p, ok := parameters[string(r.Parameter)]
		if !ok {
			b.skip(site, "parameter "+string(r.Parameter), "unsupported variable", 1)
			return nil
		}
		stat, ok := statisticOf(string(r.Statistic))
		if !ok {
			b.skip(site, "statistic "+string(r.Statistic)+" of parameter "+p.Code, "unsupported statistic", 1)
			return nil
		}
		k := ingest.Key{Feed: FeedName, Site: site, Variable: p.Variable, Statistic: stat, TimeSeries: string(r.TimeSeriesID)}
		if k.TimeSeries == "" {
			k.TimeSeries = string(r.FieldSeries)
		}
		if daily {
			k.Period = ingest.Daily
		} else if p.Variable == ingest.Precipitation {
			k.Statistic = ingest.Sum // since the reading before
		}
		s, err := b.series(where, k, string(r.Unit), r)
		if err != nil {
			return err
		}
		l.ts, l.stat, l.param, l.site, l.unit, l.daily, l.s = r.TimeSeriesID, r.Statistic, r.Parameter, r.Site, r.Unit, daily, s
	}
	s := l.s
	v, word, err := value(string(r.Value))
	if err != nil {
		return feed.Unexpected(where, "its value "+err.Error(), nil)
	}
	q := string(r.Qualifier)
	if word != "" {
		q = joinQualifiers(word, q)
	}
	push(s, at, b.conv[s].Apply(v), q, approval(string(r.Approval)))
	return nil
}

func push(s *ingest.Series, at int64, v float64, q string, a ingest.Approval) {
	s.Time = append(s.Time, at)
	s.Value = append(s.Value, v)
	s.Qualifier = append(s.Qualifier, q)
	s.Approval = append(s.Approval, a)
}

func joinQualifiers(a, b string) string {
	if b == "" || strings.EqualFold(a, b) {
		return a
	}
	return a + "," + b
}

// noData is what USGS services write where a number must stand and none was
// measured; legacy answers state it, the OGC API should send null.
const noData = -999999

// value reads a value: a number, nothing (NaN), or a word such as Ice that
// stands in the number's place (NaN and the word).
func value(s string) (v float64, word string, err error) {
	s = strings.TrimSpace(s)
	if s == "" {
		return math.NaN(), "", nil
	}
	v, perr := strconv.ParseFloat(s, 64)
	switch {
	case perr != nil && isWord(s):
		return math.NaN(), s, nil
	case perr != nil:
		return 0, "", fmt.Errorf("%q is neither a number nor a remark", ingest.Clip(s))
	case math.IsInf(v, 0):
		return 0, "", fmt.Errorf("%q is infinite", ingest.Clip(s))
	case v == noData:
		return math.NaN(), "", nil
	}
	return v, "", nil
}

// isWord holds for the remarks that USGS puts in place of a value: Ice, Eqp,
// Dis, Ssn, Mnt, ***, and other short words of letters.
func isWord(s string) bool {
	if s == "***" || s == "--" {
		return true
	}
	for _, r := range s {
		if (r < 'A' || r > 'Z') && (r < 'a' || r > 'z') && r != '_' {
			return false
		}
	}
	return len(s) <= 20
}

func approval(s string) ingest.Approval {
	switch strings.ToLower(s) {
	case "approved":
		return ingest.Approved
	case "provisional":
		return ingest.Provisional
	}
	return ingest.ApprovalUnknown
}

// parseTime reads a bare date (a day) or an instant with offset, and returns
// microseconds. CSV writes a blank where JSON writes a T.
func parseTime(s string) (at int64, daily bool, err error) {
	if len(s) == len("2006-01-02") {
		t, err := time.Parse("2006-01-02", s)
		if err != nil {
			return 0, false, fmt.Errorf("%q is not a date", s)
		}
		return t.UnixMicro(), true, inRange(t)
	}
	if len(s) > 10 && s[10] == ' ' {
		s = s[:10] + "T" + s[11:]
	}
	t, err := time.Parse(time.RFC3339, s)
	if err != nil {
		return 0, false, fmt.Errorf("%q is not an instant with its offset from UTC", ingest.Clip(s))
	}
	return t.UnixMicro(), false, inRange(t)
}

// inRange keeps out years in which no gauge stood and which later sums over
// days could not carry.
func inRange(t time.Time) error {
	if y := t.Year(); y < 1700 || y > 2200 {
		return fmt.Errorf("lies in the year %d", y)
	}
	return nil
}

// finish sorts each series and reports what was left out.
func (b *builder) finish() ([]ingest.Series, error) {
	out := make([]ingest.Series, 0, len(b.order))
	for _, s := range b.order {
		if n := s.Normalize(); n > 0 {
			b.skip(s.Site, "repeated times of "+s.String(), "the last one was kept", n)
		}
		if err := s.Check(); err != nil {
			return nil, feed.Unexpected("response", "is not a valid series", err)
		}
		out = append(out, *s)
	}
	if b.p.Skipped != nil {
		for _, s := range b.skips {
			b.p.Skipped(*s)
		}
	}
	return out, nil
}
