package sensorthings

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/observedproperty"
	"example.org/eclose/ingest/feed/response"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "sensorthings"

const feed response.Feed = FeedName

// Parser reads one saved answer: a Datastream or a Thing with its Observations
// expanded, or a list of them; observations alone only with what they leave
// out given beside.
type Parser struct {
	Site    string // the thing, where the answer does not say it
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

const (
	expand = "save /Datastreams(id)?$expand=Observations,ObservedProperty,Thing"
)

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	s, _, _, err := p.parse(r, nil)
	return s, err
}

// parse reads an answer whose observations, where they do not say it
// themselves, belong to the datastream of.
func (p Parser) parse(r io.Reader, of *datastream) (series []ingest.Series, next string, rows int, err error) {
	a, raw, err := readAnswer(r)
	if err != nil {
		return nil, "", 0, err
	}
	list := []jsontext.Value{raw}
	if a.Value != nil {
		list = *a.Value
	}
	c := ingest.NewCollector(FeedName, p.Skipped)
	for i, v := range list {
		where := fmt.Sprintf("value[%d]", i)
		if a.Value == nil {
			where = "response"
		}
		if err := p.entity(c, where, v, of); err != nil {
			return nil, "", 0, err
		}
	}
	series, err = c.Finish()
	return series, a.Next, len(list), err
}

func readAnswer(r io.Reader) (a answer, raw jsontext.Value, err error) {
	if err := feed.JSON(r, &raw); err != nil {
		return a, nil, err
	}
	if err := unmarshal("response", raw, &a); err != nil {
		return a, nil, err
	}
	if said := a.refusal(); said != "" {
		return a, nil, feed.Fault("response", "is an error from the service: "+ingest.Clip(said), "check base-url and the ids in the config", nil)
	}
	return a, raw, nil
}

func unmarshal(where string, raw jsontext.Value, into any) error {
	if err := response.Unmarshal(raw, into); err != nil {
		return feed.Unexpected(where, "is not the expected JSON", err)
	}
	return nil
}

func (p Parser) entity(c *ingest.Collector, where string, raw jsontext.Value, of *datastream) error {
	var e element
	if err := unmarshal(where, raw, &e); err != nil {
		return err
	}
	switch {
	case e.Components != nil:
		list, err := unfold(where, e.Components, e.Rows)
		if err != nil {
			return err
		}
		return p.observations(c, where, of, list)
	case e.Unit != nil || e.Observations != nil:
		return p.datastream(c, where, &e.datastream)
	case e.Streams != nil:
		var t thing
		if err := unmarshal(where, raw, &t); err != nil {
			return err
		}
		for i := range t.Datastreams {
			d := &t.Datastreams[i]
			d.Thing = t
			if err := p.datastream(c, fmt.Sprintf("%s.Datastreams[%d]", where, i), d); err != nil {
				return err
			}
		}
		return nil
	case len(e.Result) > 0 || e.Phenomenon != "":
		d := of
		if e.Datastream != nil {
			d = e.Datastream
		}
		return p.observations(c, where, d, []observation{e.observation})
	case e.Locations != nil || e.Name != "":
		c.Skip(string(e.ID), "descriptions", "they hold no readings; "+expand, 1)
		return nil
	}
	return feed.Fault(where, "is neither a Datastream, a Thing nor an Observation", expand, nil)
}

// unfold turns the rows of a data array into observations.
func unfold(where string, components []string, rows [][]jsontext.Value) ([]observation, error) {
	at := func(name string) int { return slices.Index(components, name) }
	iTime, iResult, iQuality := at("phenomenonTime"), at("result"), at("resultQuality")
	if iTime < 0 || iResult < 0 {
		return nil, feed.Fault(where+".components", "lacks phenomenonTime or result", "ask for both", nil)
	}
	out := make([]observation, 0, len(rows))
	for i, r := range rows {
		if len(r) != len(components) {
			return nil, feed.Unexpected(fmt.Sprintf("%s.dataArray[%d]", where, i), fmt.Sprintf("has %d values for %d components", len(r), len(components)), nil)
		}
		o := observation{Result: r[iResult]}
		if err := response.Unmarshal(r[iTime], &o.Phenomenon); err != nil {
			return nil, feed.Unexpected(fmt.Sprintf("%s.dataArray[%d]", where, i), "its phenomenonTime is not a text", nil)
		}
		if iQuality >= 0 {
			o.Quality = r[iQuality]
		}
		out = append(out, o)
	}
	return out, nil
}

func (p Parser) datastream(c *ingest.Collector, where string, d *datastream) error {
	if d.Next != "" {
		c.Skip(string(d.Thing.ID), "readings after the first page of datastream "+string(d.ID), "they are not in this file; follow Observations@iot.nextLink", 0)
	}
	return p.observations(c, where, d, d.Observations)
}

func (p Parser) observations(c *ingest.Collector, where string, d *datastream, list []observation) error {
	if d == nil || d.Unit == nil {
		return feed.Fault(where, "does not say what was measured and in which unit", expand, nil)
	}
	site := string(d.Thing.ID)
	if p.Site != "" && site == "" {
		site = p.Site
	}
	if site == "" {
		return feed.Fault(where, "does not name its Thing", expand+", or name it with --site", nil)
	}
	v, ok := variableOf(d)
	if !ok {
		c.Skip(site, "observed property "+ingest.Clip(d.Property.Name+" of datastream "+d.Name), "unsupported variable", len(list))
		return nil
	}
	unit := unitOf(v, d)
	place := placeOf(d.Thing)
	for i, o := range list {
		at := fmt.Sprintf("%s, observation %d", where, i+1)
		k := ingest.Key{Feed: FeedName, Site: site, Variable: v, Statistic: ingest.Instant, TimeSeries: string(d.ID)}
		begin, end, err := phenomenon(o.Phenomenon)
		if err != nil {
			return feed.Unexpected(at+", phenomenonTime", err.Error(), nil)
		}
		total := v == ingest.Precipitation || v == ingest.Snowfall
		span := end.Sub(begin)
		switch {
		case span == 0 && total:
			c.Skip(site, "values of "+ingest.Clip(d.Name), "the period its sums cover is not given", 1)
			continue
		case span > 0 && !total:
			c.Skip(site, "values of "+ingest.Clip(d.Name), "they cover a span, and the standard has no word for mean, highest or lowest", 1)
			continue
		case total:
			k.Statistic, k.Period = ingest.Sum, ingest.PeriodOf(span)
			if k.Period == "" {
				c.Skip(site, "values of "+ingest.Clip(d.Name), "their span is not whole seconds", 1)
				continue
			}
			if k.Period == ingest.Daily {
				y, m, dd := begin.Date()
				end = time.Date(y, m, dd, 0, 0, 0, 0, time.UTC)
			}
		}
		x, word, err := result(o.Result)
		if err != nil {
			return feed.Unexpected(at+", result", err.Error(), nil)
		}
		g, err := c.Open(k, unit)
		if err != nil {
			return feed.Unit(where, err)
		}
		g.Place = place
		if k.Period == ingest.Daily {
			g.DayStart = "as the server counts its days"
		}
		g.Add(end.UnixMicro(), x, remark(word, o.Quality), ingest.ApprovalUnknown)
	}
	return nil
}

func variableOf(d *datastream) (ingest.Variable, bool) {
	return observedproperty.Of(d.Property.Definition, d.Property.Name)
}

// unitOf is the first of symbol, name and definition that converts.
func unitOf(v ingest.Variable, d *datastream) string {
	for _, w := range []string{d.Unit.Symbol, d.Unit.Name, d.Unit.Definition} {
		u := observedproperty.Unit(strings.TrimSpace(w))
		if _, err := ingest.ConversionOf(v, u); err == nil {
			return u
		}
	}
	return d.Unit.Symbol
}

// phenomenon reads an instant, or an interval "a/b". The zone of the begin is
// kept, for the date of a day.
func phenomenon(s string) (begin, end time.Time, err error) {
	a, b, two := strings.Cut(s, "/")
	read := func(s string) (time.Time, error) {
		t, err := time.Parse(time.RFC3339, strings.TrimSpace(s))
		if err != nil {
			return t, fmt.Errorf("%q is not a time with a UTC offset", ingest.Clip(s))
		}
		return t, ingest.YearInRange(t)
	}
	if begin, err = read(a); err != nil || !two {
		return begin, begin, err
	}
	if end, err = read(b); err == nil && end.Before(begin) {
		err = fmt.Errorf("%q ends before it begins", ingest.Clip(s))
	}
	return begin, end, err
}

// result reads a number, bare or in quotes; null is missing, and so is a short
// word, which is kept. NaN comes as a text, because JSON has none.
func result(v jsontext.Value) (x float64, word string, err error) {
	s := string(v)
	switch v.Kind() {
	case 'n', 0:
		return math.NaN(), "", nil
	case '"':
		if err := response.Unmarshal(v, &s); err != nil {
			return 0, "", fmt.Errorf("%s cannot be read", ingest.Clip(s))
		}
		s = strings.TrimSpace(s)
	case '0':
	default:
		return 0, "", fmt.Errorf("%s is neither a number nor a text", ingest.Clip(s))
	}
	x, word, err = response.OrWord(s)
	return x, strings.ReplaceAll(word, ",", ";"), err
}

// remark keeps the word in a number's place and a quality that is a text or a
// number. The standard's own form, a DQ_Element, is an object without a common
// word in it, and is left alone.
func remark(word string, quality jsontext.Value) string {
	var q string
	switch quality.Kind() {
	case '"':
		if response.Unmarshal(quality, &q) != nil {
			q = ""
		}
	case '0':
		q = string(quality)
	}
	q = ingest.Clip(strings.ReplaceAll(strings.TrimSpace(q), ",", ";"))
	switch {
	case word == "":
		return q
	case q == "":
		return word
	}
	return word + "," + q
}

func placeOf(t thing) ingest.SiteInfo {
	pl := ingest.SiteInfo{Name: t.Name, Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN()}
	for _, l := range t.Locations {
		kind, at := l.Location.Type, l.Location.Coordinates
		if kind == "Feature" {
			kind, at = l.Location.Geometry.Type, l.Location.Geometry.Coordinates
		}
		var xy []float64
		if kind == "Point" && response.Unmarshal(at, &xy) == nil && len(xy) >= 2 && math.Abs(xy[1]) <= 90 && math.Abs(xy[0]) <= 180 {
			pl.Lon, pl.Lat = xy[0], xy[1]
			if len(xy) > 2 {
				pl.Elevation = xy[2]
			}
			break
		}
	}
	return pl
}
