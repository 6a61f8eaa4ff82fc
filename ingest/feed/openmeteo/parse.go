package openmeteo

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "open-meteo"

// Parser reads one saved answer of the archive, forecast, ensemble or flood
// API, for one place or several.
type Parser struct {
	Site    string   // the place as it was asked for, "lat,lon"; "": the grid cell that answered
	Product string   // begins Key.TimeSeries, to keep a forecast apart from an archive; may be ""
	Models  []string // model names that were asked for; those of 2026 are known without
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

func bad(where, problem, hint string, err error) *ingest.Error {
	return &ingest.Error{Feed: FeedName, Where: where, Problem: problem, Hint: hint, Err: err}
}

// answer is one place of an answer.
type answer struct {
	lat, lon, elevation float64
	offset              time.Duration // of its local times from UTC
	zone                string
	units               map[string]map[string]string // block -> column -> unit
	blocks              []block
	reason              string
	failed              bool
}

type block struct {
	name    string
	time    []jsontext.Value
	columns []values
}

type values struct {
	name string
	at   []float64 // NaN for null
}

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	b, err := io.ReadAll(r)
	if err != nil {
		return nil, bad("answer", "could not be read", "", err)
	}
	b = bytes.TrimPrefix(b, []byte("\xef\xbb\xbf"))
	switch head := bytes.TrimLeft(b, " \t\r\n"); {
	case len(head) == 0:
		return nil, bad("answer", "is empty", "try again; if still empty, open the URL in a browser", nil)
	case head[0] == '<':
		return nil, bad("answer", "is a web page or XML, not data", "the service may be down; open the URL in a browser", nil)
	}
	c := ingest.NewCollector(FeedName, p.Skipped)
	dec := jsontext.NewDecoder(bytes.NewReader(b), jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))
	if dec.PeekKind() == '[' {
		if _, err := dec.ReadToken(); err != nil {
			return nil, broken(dec, b, err)
		}
		for dec.PeekKind() != ']' {
			if err := p.place(dec, b, c); err != nil {
				return nil, err
			}
		}
		if _, err := dec.ReadToken(); err != nil {
			return nil, broken(dec, b, err)
		}
	} else if err := p.place(dec, b, c); err != nil {
		return nil, err
	}
	if dec.PeekKind() != 0 {
		return nil, bad(fmt.Sprintf("byte %d", dec.InputOffset()), "the answer goes on after its end", "two answers may have been saved into one file", nil)
	}
	return c.Finish()
}

// broken tells three bodies apart that are all no JSON: one cut on its way, one
// of a place that no model covers (the server writes nan), and a garbled one.
func broken(dec *jsontext.Decoder, b []byte, err error) *ingest.Error {
	if already, ok := errors.AsType[*ingest.Error](err); ok {
		return already
	}
	where := fmt.Sprintf("byte %d %s", dec.InputOffset(), dec.StackPointer())
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		e := bad(where, "the response ends early", "the download was cut short; fetch it again", nil)
		e.Retryable = true
		return e
	}
	if bytes.Contains(b[:min(len(b), 300)], []byte(`"latitude":nan`)) {
		return bad("answer", "no requested model covers this place", "use another model, or best_match", nil)
	}
	return bad(where, "the answer is not valid JSON", "fetch it again; if it persists, report it with the saved response", err)
}

func (p Parser) place(dec *jsontext.Decoder, b []byte, c *ingest.Collector) error {
	a, err := readAnswer(dec)
	if err != nil {
		return broken(dec, b, err)
	}
	if a.failed || a.reason != "" {
		e := bad("answer", "is an error from the service: "+ingest.Clip(a.reason), "check the feed's model and place in the config", nil)
		if strings.Contains(strings.ToLower(a.reason), "limit exceeded") {
			e.Retryable, e.Hint = true, "free use is rate-limited; the next run retries"
		}
		return e
	}
	if len(a.blocks) == 0 {
		return bad("answer", "has neither \"hourly\" nor \"daily\" nor \"current\"", "this is not an answer of the archive, forecast, ensemble or flood API", nil)
	}
	for i := range a.blocks {
		if err := p.block(&a, &a.blocks[i], c); err != nil {
			return err
		}
	}
	return nil
}

func readAnswer(dec *jsontext.Decoder) (a answer, err error) {
	a = answer{lat: math.NaN(), lon: math.NaN(), elevation: math.NaN(), units: map[string]map[string]string{}}
	err = object(dec, func(name string) error {
		switch name {
		case "latitude":
			return number(dec, &a.lat)
		case "longitude":
			return number(dec, &a.lon)
		case "elevation":
			return number(dec, &a.elevation)
		case "utc_offset_seconds":
			s := math.NaN()
			if err := number(dec, &s); err != nil {
				return err
			}
			if !(math.Abs(s) <= 86400) {
				return bad(name, "is not an offset of at most a day", "report it with the saved response", nil)
			}
			a.offset = time.Duration(s) * time.Second
		case "timezone":
			return word(dec, &a.zone)
		case "reason":
			return word(dec, &a.reason)
		case "error":
			v, err := dec.ReadValue()
			a.failed = string(v) != "false" && string(v) != "null"
			return err
		case "hourly", "daily", "current", "current_weather", "minutely_15":
			bl, err := readBlock(dec, name)
			a.blocks = append(a.blocks, bl)
			return err
		default:
			of, ok := strings.CutSuffix(name, "_units")
			if !ok {
				return dec.SkipValue()
			}
			m := map[string]string{}
			a.units[of] = m
			return object(dec, func(col string) error {
				var u string
				err := word(dec, &u)
				m[col] = u
				return err
			})
		}
		return nil
	})
	return a, err
}

func readBlock(dec *jsontext.Decoder, name string) (block, error) {
	b := block{name: name}
	single := strings.HasPrefix(name, "current")
	err := object(dec, func(col string) error {
		if col == "time" {
			return list(dec, single, func(v jsontext.Value) error {
				b.time = append(b.time, v.Clone())
				return nil
			})
		}
		vs := values{name: col}
		err := list(dec, single, func(v jsontext.Value) error {
			f, err := parseNumber(v)
			if err != nil {
				return bad(fmt.Sprintf("%s.%s[%d]", name, col, len(vs.at)), err.Error(), "report it with the saved response", nil)
			}
			vs.at = append(vs.at, f)
			return nil
		})
		b.columns = append(b.columns, vs)
		return err
	})
	return b, err
}

// block turns the columns of one block into series.
func (p Parser) block(a *answer, b *block, c *ingest.Collector) error {
	site := p.Site
	if site == "" {
		site = strconv.FormatFloat(a.lat, 'f', -1, 64) + "," + strconv.FormatFloat(a.lon, 'f', -1, 64)
		if math.IsNaN(a.lat) || math.IsNaN(a.lon) {
			return bad("answer", "does not say its latitude and longitude", "report it with the saved response", nil)
		}
	}
	if b.name == "minutely_15" {
		c.Skip(site, "block minutely_15", "only hourly data are used", len(b.time)*len(b.columns))
		return nil
	}
	unix := a.units[b.name]["time"] == "unixtime"
	times, err := readTimes(a, b, unix)
	if err != nil {
		return err
	}
	table := hourly
	if b.name == "daily" {
		table = daily
	}
	// A column without a number is a member where its sisters have numbers,
	// and the mean of the members where it has a spread beside it.
	numbered, spread := map[column]bool{}, map[string]bool{}
	parts := make([]column, len(b.columns))
	for i, v := range b.columns {
		if name, ok := strings.CutSuffix(v.name, "_spread"); ok {
			spread[name] = true
			continue
		}
		col, ok := split(v.name, table, p.Models)
		if !ok {
			continue
		}
		parts[i] = col
		if col.member > 0 {
			numbered[column{base: col.base, model: col.model}] = true
		}
	}
	for i, v := range b.columns {
		col := parts[i]
		if col.base == "" {
			if v.name != "interval" {
				c.Skip(site, b.name+"."+v.name, skipReason(v.name), len(v.at))
			}
			continue
		}
		where := b.name + "." + v.name
		if len(v.at) != len(times) {
			return bad(where, fmt.Sprintf("has %d values for %d times", len(v.at), len(times)), "the answer is damaged; fetch it again", nil)
		}
		m := table[col.base]
		k := ingest.Key{Feed: FeedName, Site: site, Variable: m.variable, Statistic: m.statistic, TimeSeries: join(p.Product, m.series, col.model)}
		if spread[v.name] {
			k.TimeSeries = join(p.Product, "members-mean", col.model)
		}
		if numbered[column{base: col.base, model: col.model}] {
			k.Member = col.member + 1
		}
		switch {
		case b.name == "daily":
			k.Period = ingest.Daily
		case strings.HasPrefix(b.name, "current"):
			k.TimeSeries = join(k.TimeSeries, "current")
		}
		if b.name != "daily" && m.statistic != ingest.Instant {
			k.Period = step(times)
			if k.Period == "" {
				c.Skip(site, where, "the period its sums cover is not given", len(v.at))
				continue
			}
		}
		unit := a.units[b.name][v.name]
		var g *ingest.Builder
		switch m.unit {
		case "":
			g, err = c.Open(k, unit)
		case unit:
			g, err = c.OpenWith(k, unit, m.conv)
		default:
			err = fmt.Errorf("the unit is %q, not %q", unit, m.unit)
		}
		if err != nil {
			return bad(where, "has a unit that cannot be used", "ask without unit options", err)
		}
		g.Place = ingest.SiteInfo{Lat: a.lat, Lon: a.lon, Elevation: a.elevation}
		if b.name == "daily" {
			g.DayStart = "midnight in " + a.zone
		}
		for j, t := range times {
			g.Add(t, v.at[j], "", ingest.ApprovalUnknown)
		}
	}
	return nil
}

func skipReason(name string) string {
	switch {
	case strings.HasSuffix(name, "_spread"):
		return "it is the spread of the members, not a reading"
	case strings.Contains(name, "_member"):
		return "its name is not variable, member, model"
	}
	return "unsupported variable"
}

func join(words ...string) string {
	out := ""
	for _, w := range words {
		if w != "" && out != "" {
			out += "-"
		}
		out += w
	}
	return out
}

// step is the common distance of the times as an ISO 8601 duration; one hour
// for a single time, because the block is called hourly; "" if it varies or is
// no whole number of hours.
func step(times []int64) string {
	const hour = int64(time.Hour / time.Microsecond)
	if len(times) < 2 {
		return ingest.Hourly
	}
	d := times[1] - times[0]
	for i := 2; i < len(times); i++ {
		if times[i]-times[i-1] != d {
			return ""
		}
	}
	if d < hour || d%hour != 0 {
		return ""
	}
	return fmt.Sprintf("PT%dH", d/hour)
}

// readTimes turns the block's times into microseconds UTC. A local time has
// the one offset that the answer states, for all its rows; a day becomes
// 00:00 UTC of its date.
func readTimes(a *answer, b *block, unix bool) ([]int64, error) {
	out := make([]int64, len(b.time))
	for i, v := range b.time {
		where := fmt.Sprintf("%s.time[%d]", b.name, i)
		var t time.Time
		switch {
		case unix:
			n, err := strconv.ParseInt(string(v), 10, 64)
			if err != nil || n < -1e10 || n > 1e10 {
				return nil, bad(where, "is not a number of seconds since 1970", "report it with the saved response", nil)
			}
			t = time.Unix(n, 0).UTC()
			if b.name == "daily" {
				t = t.Add(a.offset).Truncate(24 * time.Hour)
			}
		default:
			s, layout := strings.Trim(string(v), `"`), "2006-01-02T15:04"
			if b.name == "daily" {
				layout = time.DateOnly
			}
			var err error
			if t, err = time.Parse(layout, s); err != nil {
				return nil, bad(where, fmt.Sprintf("%q is not a time like %s", ingest.Clip(s), layout), "report it with the saved response", nil)
			}
			if b.name != "daily" {
				t = t.Add(-a.offset)
			}
		}
		if err := ingest.YearInRange(t); err != nil {
			return nil, bad(where, err.Error(), "report it with the saved response", nil)
		}
		out[i] = t.UnixMicro()
	}
	return out, nil
}

func parseNumber(v jsontext.Value) (float64, error) {
	switch v.Kind() {
	case 'n':
		return math.NaN(), nil
	case '0':
		f, err := strconv.ParseFloat(string(v), 64)
		if err != nil {
			return 0, fmt.Errorf("%s is out of range", ingest.Clip(string(v)))
		}
		return f, nil
	}
	return 0, fmt.Errorf("%s is neither a number nor null", ingest.Clip(string(v)))
}

func number(dec *jsontext.Decoder, into *float64) error {
	v, err := dec.ReadValue()
	if err != nil {
		return err
	}
	f, err := parseNumber(v)
	if err != nil {
		return bad(string(dec.StackPointer()), err.Error(), "report it with the saved response", nil)
	}
	*into = f
	return nil
}

func word(dec *jsontext.Decoder, into *string) error {
	if dec.PeekKind() != '"' {
		return dec.SkipValue()
	}
	return jsonv2.UnmarshalDecode(dec, into)
}

// object walks the members of the object that comes next.
func object(dec *jsontext.Decoder, member func(name string) error) error {
	t, err := dec.ReadToken()
	if err != nil {
		return err
	}
	if t.Kind() != '{' {
		return fmt.Errorf("an object was expected, not %s", t.Kind())
	}
	for dec.PeekKind() != '}' {
		t, err := dec.ReadToken()
		if err != nil {
			return err
		}
		if err := member(t.String()); err != nil {
			return err
		}
	}
	_, err = dec.ReadToken()
	return err
}

// list walks the array that comes next; a single value is a list of one.
func list(dec *jsontext.Decoder, single bool, each func(jsontext.Value) error) error {
	if single {
		v, err := dec.ReadValue()
		if err != nil {
			return err
		}
		return each(v)
	}
	t, err := dec.ReadToken()
	if err != nil {
		return err
	}
	if t.Kind() != '[' {
		return fmt.Errorf("an array was expected, not %s", t.Kind())
	}
	for dec.PeekKind() != ']' {
		v, err := dec.ReadValue()
		if err != nil {
			return err
		}
		if err := each(v); err != nil {
			return err
		}
	}
	_, err = dec.ReadToken()
	return err
}
