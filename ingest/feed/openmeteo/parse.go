package openmeteo

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/response"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "open-meteo"

const feed response.Feed = FeedName

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
	body, first, err := feed.Begin(r)
	if err != nil {
		return nil, err
	}
	// The service writes nan, which is not JSON, for a place that no model covers.
	if head, _ := body.Peek(300); bytes.Contains(head, []byte(`"latitude":nan`)) {
		return nil, feed.Fault("response", "no requested model covers this place", "use another model, or best_match", nil)
	}
	c := ingest.NewCollector(FeedName, p.Skipped)
	dec := jsontext.NewDecoder(body, response.Lax)
	if first == '[' {
		err = response.Array(dec, func() error { return p.place(dec, c) })
	} else {
		err = p.place(dec, c)
	}
	if err != nil {
		return nil, feed.JSONFault(err)
	}
	if dec.PeekKind() != 0 {
		return nil, feed.Fault(fmt.Sprintf("byte %d", dec.InputOffset()), "the answer goes on after its end", "two answers may have been saved into one file", nil)
	}
	return c.Finish()
}

func (p Parser) place(dec *jsontext.Decoder, c *ingest.Collector) error {
	a, err := readAnswer(dec)
	if err != nil {
		return err
	}
	if a.failed || a.reason != "" {
		e := feed.Fault("response", "is an error from the service: "+ingest.Clip(a.reason), "check the feed's model and place in the config", nil)
		if strings.Contains(strings.ToLower(a.reason), "limit exceeded") {
			e.Retryable, e.Hint = true, "free use is rate-limited; the next run retries"
		}
		return e
	}
	if len(a.blocks) == 0 {
		return feed.Fault("response", "has neither \"hourly\" nor \"daily\" nor \"current\"", "this is not an answer of the archive, forecast, ensemble or flood API", nil)
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
	err = response.Object(dec, func(name string) error {
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
				return feed.Unexpected(name, "is not an offset of at most a day", nil)
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
			return response.Object(dec, func(col string) error {
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
	err := response.Object(dec, func(col string) error {
		if col == "time" {
			return list(dec, single, func(v jsontext.Value) error {
				b.time = append(b.time, v.Clone())
				return nil
			})
		}
		vs := values{name: col}
		err := list(dec, single, func(v jsontext.Value) error {
			f, err := response.JSONNumber(v)
			if err != nil {
				return feed.Unexpected(fmt.Sprintf("%s.%s[%d]", name, col, len(vs.at)), err.Error(), nil)
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
			return feed.Unexpected("response", "does not say its latitude and longitude", nil)
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
	parts, numbered, spread := p.split(b, table)
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
			return feed.Fault(where, fmt.Sprintf("has %d values for %d times", len(v.at), len(times)), "the answer is damaged; fetch it again", nil)
		}
		m := table[col.base]
		k := ingest.Key{Feed: FeedName, Site: site, Variable: m.variable, Statistic: m.statistic, TimeSeries: join(p.Product, m.series, col.model)}
		if spread[v.name] {
			k.TimeSeries = join(p.Product, "members-mean", col.model)
		}
		if numbered[column{base: col.base, model: col.model}] {
			k.Member = col.member + 1
		}
		if k = period(k, b.name, times); k.Period == "" && b.name != "daily" && m.statistic != ingest.Instant {
			c.Skip(site, where, "the period its sums cover is not given", len(v.at))
			continue
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
			return feed.Fault(where, "has a unit that cannot be used", "ask without unit options", err)
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

// split takes the columns' names apart. A column without a number is a member
// where its sisters have numbers, and the mean of the members where it has a
// spread beside it.
func (p Parser) split(b *block, table map[string]meaning) (parts []column, numbered map[column]bool, spread map[string]bool) {
	parts, numbered, spread = make([]column, len(b.columns)), map[column]bool{}, map[string]bool{}
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
	return parts, numbered, spread
}

// period completes a key by what its block says: days, the present, or sums
// over the step of its times.
func period(k ingest.Key, block string, times []int64) ingest.Key {
	switch {
	case block == "daily":
		k.Period = ingest.Daily
		return k
	case strings.HasPrefix(block, "current"):
		k.TimeSeries = join(k.TimeSeries, "current")
	}
	if k.Statistic != ingest.Instant {
		k.Period = step(times)
	}
	return k
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
				return nil, feed.Unexpected(where, "is not a number of seconds since 1970", nil)
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
				return nil, feed.Unexpected(where, fmt.Sprintf("%q is not a time like %s", ingest.Clip(s), layout), nil)
			}
			if b.name != "daily" {
				t = t.Add(-a.offset)
			}
		}
		if err := ingest.YearInRange(t); err != nil {
			return nil, feed.Unexpected(where, err.Error(), nil)
		}
		out[i] = t.UnixMicro()
	}
	return out, nil
}

func number(dec *jsontext.Decoder, into *float64) error {
	v, err := dec.ReadValue()
	if err != nil {
		return err
	}
	f, err := response.JSONNumber(v)
	if err != nil {
		return feed.Unexpected(string(dec.StackPointer()), err.Error(), nil)
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

// list walks the array that comes next; a single value is a list of one.
func list(dec *jsontext.Decoder, single bool, each func(jsontext.Value) error) error {
	if single {
		v, err := dec.ReadValue()
		if err != nil {
			return err
		}
		return each(v)
	}
	return response.Array(dec, func() error {
		v, err := dec.ReadValue()
		if err != nil {
			return err
		}
		return each(v)
	})
}
