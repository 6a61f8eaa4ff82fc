package waterml2

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/observedproperty"
	"example.org/eclose/ingest/feed/response"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "waterml2"

const feed response.Feed = FeedName

// Parser reads one saved document.
type Parser struct {
	Site    string // for documents that do not name their feature of interest
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	var doc document
	err := feed.XML(r, func(d *xml.Decoder) (err error) {
		doc, err = read(d)
		return err
	})
	if err != nil {
		return nil, err
	}
	switch {
	case doc.refused != nil:
		return nil, feed.Fault("response", "is an error from the service: "+ingest.Clip(strings.TrimSpace(doc.refused.Code+" "+strings.Join(doc.refused.Text, " "))), "check the request", nil)
	case doc.root.Local == "timeSeriesResponse":
		return nil, feed.Fault("response", "is WaterML 1, not 2", "for gauges of the US Geological Survey use the feed usgs", nil)
	case len(doc.observations) == 0 && doc.root.Local != "Collection" && doc.root.Local != "GetObservationResponse":
		return nil, feed.Fault("response", fmt.Sprintf("its root %q holds no observation", ingest.Clip(doc.root.Local)), "save a WaterML 2.0 answer", nil)
	}
	c := ingest.NewCollector(FeedName, p.Skipped)
	alone := oneFeature(doc.observations)
	for i := range doc.observations {
		o := &doc.observations[i]
		at := fmt.Sprintf("observation %d", i+1)
		site := p.site(o, doc.identifier, alone)
		if site == "" {
			return nil, feed.Fault(at, "does not name its feature of interest", "name it with --site", nil)
		}
		if err := observe(c, at, site, o); err != nil {
			return nil, err
		}
	}
	return c.Finish()
}

// oneFeature says whether all observations are of one place, so that the
// collection's own identifier names it.
func oneFeature(all []observation) bool {
	for _, o := range all {
		if o.Feature.Title != all[0].Feature.Title || o.Feature.Href != all[0].Feature.Href {
			return false
		}
	}
	return true
}

// site is the most lasting name of the place: ids of elements (gml:id) hold
// within one document only and come last.
func (p Parser) site(o *observation, collection string, alone bool) string {
	point := &o.Feature.Point
	choice := []string{point.Identifier, o.Feature.Href}
	if alone {
		choice = append(choice, collection)
	}
	for _, w := range append(choice, p.Site, point.ID, o.Feature.Title) {
		if w = address(w); w != "" && !strings.HasPrefix(w, "#") {
			return w
		}
	}
	return ""
}

// address leaves out what says nothing: http or https.
func address(w string) string {
	w = strings.TrimSpace(w)
	return strings.TrimPrefix(strings.TrimPrefix(w, "http://"), "https://")
}

// tail is the last word of an address of a code list.
func tail(l *link) string {
	if l == nil {
		return ""
	}
	w := strings.TrimRight(l.Href, "/#:")
	if w = w[strings.LastIndexAny(w, "/#:")+1:]; w != "" {
		return w
	}
	return l.Title
}

// kind is what one value stands for.
type kind struct {
	statistic ingest.Statistic
	after     bool // its period begins at its time; else it ends there
	why       string
}

// interpolation reads the code list of 10-126r4, clause 7.14 and annex on
// interpolation types: "Prec" names the period that ends at the time, "Succ"
// the one that begins there.
func interpolation(word string) kind {
	low := strings.ToLower(word)
	k := kind{after: strings.HasSuffix(low, "succ")}
	switch low {
	case "", "continuous", "discontinuous", "instantaneous":
		k.statistic = ingest.Instant
	case "averageprec", "averagesucc":
		k.statistic = ingest.Mean
	case "maxprec", "maxsucc":
		k.statistic = ingest.Max
	case "minprec", "minsucc":
		k.statistic = ingest.Min
	case "totalprec", "totalsucc":
		k.statistic = ingest.Sum
	case "constprec", "constsucc":
		k.statistic = ingest.Instant
	default:
		k.why = fmt.Sprintf("unsupported kind of value %q", ingest.Clip(word))
	}
	return k
}

// statistics: words by which observations name a statistic beside the
// interpolation type.
var statistics = map[string]ingest.Statistic{
	"mean": ingest.Mean, "average": ingest.Mean, "maximum": ingest.Max, "max": ingest.Max, "minimum": ingest.Min, "min": ingest.Min,
	"sum": ingest.Sum, "total": ingest.Sum, "median": ingest.Median, "instantaneous": ingest.Instant,
}

func declared(o *observation) ingest.Statistic {
	for _, n := range slices.Concat(o.Procedure.Process.Parameters, o.Parameters) {
		for _, w := range []string{n.Name.Title, n.Value} {
			if s, ok := statistics[strings.ToLower(strings.TrimSpace(w))]; ok {
				return s
			}
		}
	}
	return ""
}

func observe(c *ingest.Collector, where, site string, o *observation) error {
	if o.Result.Words != nil {
		c.Skip(site, "a series of categories", "it holds words, not numbers", len(o.Result.Words.Points))
		return nil
	}
	ts := o.Result.Series
	if ts == nil {
		c.Skip(site, "a result that is no time series", "only MeasurementTimeseries is read", 1)
		return nil
	}
	name := o.Property.Title
	if name == "" {
		name = o.Property.Href
	}
	variable, ok := observedproperty.Of(o.Property.Href, o.Property.Title)
	if !ok {
		c.Skip(site, "observed property "+ingest.Clip(name), "unsupported variable", len(ts.Points))
		return nil
	}
	k := ingest.Key{Feed: FeedName, Site: site, Variable: variable}
	for _, w := range []string{o.Procedure.Href, o.Procedure.Process.Identifier} {
		if w = address(w); w != "" && !strings.HasPrefix(w, "#") {
			k.TimeSeries = w
			break
		}
	}
	zone := offset(o.Feature.Point.Offset)
	pl := place(o)
	for i := range ts.Points {
		x := &ts.Points[i]
		at := fmt.Sprintf("%s, point %d", where, i+1)
		m := x.Own.over(ts.Default)
		text := strings.TrimSpace(x.Time)
		if text == "" {
			c.Skip(site, "points without a time", "they hold no reading", 1)
			continue
		}
		t, day, err := instant(text, zone)
		if err != nil {
			return feed.Unexpected(at+", time", err.Error(), nil)
		}
		kd := interpolation(tail(m.Interpolation))
		stat := declared(o)
		if stat == "" || kd.statistic != ingest.Instant {
			stat = kd.statistic
		}
		k, t, why := keyAndTime(k, kd, stat, m.Aggregation, t, day)
		if why != "" {
			c.Skip(site, "values of "+ingest.Clip(name), why, 1)
			continue
		}
		g, err := c.Open(k, observedproperty.Unit(m.unit()))
		if err != nil {
			return feed.Unit(at, err)
		}
		g.Place = pl
		if day {
			g.DayStart = "as the agency counts its days"
		}
		v, word, err := value(x.Value.Text, x.Value.Nil)
		if err != nil {
			return feed.Unexpected(at+", value", err.Error(), nil)
		}
		reason := tail(m.NilReason)
		if reason == "" {
			reason = x.Value.Reason
		}
		q, a := remarks(m, word, reason)
		g.Add(t.UnixMicro(), v, q, a)
	}
	if len(ts.Points) == 0 {
		c.Skip(site, "a series of "+ingest.Clip(name), "it holds no points", 0)
	}
	return nil
}

// keyAndTime finds the key and the time of one value. Our time is the end
// of a period, but the date for a day.
func keyAndTime(k ingest.Key, kd kind, stat ingest.Statistic, aggregation string, t time.Time, day bool) (ingest.Key, time.Time, string) {
	if kd.why != "" {
		return k, t, kd.why
	}
	k.Statistic = stat
	total := k.Variable == ingest.Precipitation || k.Variable == ingest.Snowfall
	switch {
	case day:
		k.Period = ingest.Daily
		if stat == ingest.Instant && total {
			return k, t, "they have dates and do not say what of the day they are"
		}
		return k, t, ""
	case stat == ingest.Instant && total:
		return k, t, "the period its sums cover is not given"
	case stat == ingest.Instant:
		return k, t.UTC(), ""
	case aggregation == "":
		return k, t, "the period they cover is not given"
	}
	d, err := ingest.ParsePeriod(aggregation)
	if err != nil {
		return k, t, "their span " + err.Error()
	}
	k.Period = ingest.PeriodOf(d)
	begin, end := t.Add(-d), t
	if kd.after {
		begin, end = t, t.Add(d)
	}
	if k.Period == ingest.Daily {
		// The date on the wall where the day begins.
		y, m, dd := begin.Date()
		return k, time.Date(y, m, dd, 0, 0, 0, 0, time.UTC), ""
	}
	return k, end.UTC(), ""
}

// instant reads a time with its offset, a time in the station's zone, or a
// bare date.
func instant(s string, zone *time.Location) (t time.Time, day bool, err error) {
	if t, err = time.Parse(time.DateOnly, s); err == nil {
		return t, true, ingest.YearInRange(t)
	}
	if t, err = time.Parse(time.RFC3339, s); err == nil {
		return t, false, ingest.YearInRange(t)
	}
	t, err = time.Parse("2006-01-02T15:04:05", s)
	switch {
	case err != nil:
		return t, false, fmt.Errorf("%q is not a time", ingest.Clip(s))
	case zone == nil:
		return t, false, fmt.Errorf("%q does not say its offset from UTC, nor does the monitoring point", ingest.Clip(s))
	}
	y, m, d := t.Date()
	t = time.Date(y, m, d, t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), zone)
	return t, false, ingest.YearInRange(t)
}

// offset reads a monitoring point's zoneOffset such as "-05:00".
func offset(s string) *time.Location {
	for _, layout := range []string{"-07:00", "Z07:00", "-0700"} {
		if t, err := time.Parse(layout, strings.TrimSpace(s)); err == nil {
			_, off := t.Zone()
			return time.FixedZone("", off)
		}
	}
	return nil
}

// value reads a number; a nil or empty element is a missing value, and so is a
// short word, which is kept.
func value(s, isNil string) (v float64, word string, err error) {
	s = strings.TrimSpace(s)
	if isNil == "true" || isNil == "1" || s == "" {
		return math.NaN(), "", nil
	}
	return response.OrWord(s)
}

// remarks joins the words beside a value. "Provisional" and "approved" are the
// agency's stand and not a remark. The quality "good" of the standard's code
// list is kept like the others.
func remarks(m metadata, word, reason string) (string, ingest.Approval) {
	var words []string
	a := ingest.ApprovalUnknown
	add := func(w string) {
		w = strings.ReplaceAll(strings.TrimSpace(w), ",", ";")
		if w != "" && !slices.Contains(words, w) {
			words = append(words, w)
		}
	}
	add(word)
	add(tail(m.Quality))
	for _, q := range m.Qualifier {
		said := strings.ToLower(q.Category.Description + " " + q.Title)
		switch {
		case strings.Contains(said, "provisional"):
			a = ingest.Provisional
		case strings.Contains(said, "approved"):
			a = ingest.Approved
		case q.Category.Value != "":
			add(q.Category.Value)
		default:
			add(q.Title)
		}
	}
	add(reason)
	return strings.Join(words, ","), a
}

// place takes the position of a monitoring point. EPSG:4326 puts latitude
// first; other reference systems are not turned.
func place(o *observation) ingest.SiteInfo {
	pl := ingest.SiteInfo{Name: o.Feature.Title, Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN()}
	if pl.Name == "" {
		pl.Name = strings.TrimSpace(o.Feature.Point.Name)
	}
	pos := o.Feature.Point.Pos
	f := strings.Fields(pos.Text)
	if len(f) < 2 || !strings.HasSuffix(pos.SRS, "4326") {
		return pl
	}
	lat, err1 := strconv.ParseFloat(f[0], 64)
	lon, err2 := strconv.ParseFloat(f[1], 64)
	if err1 == nil && err2 == nil && math.Abs(lat) <= 90 && math.Abs(lon) <= 180 {
		pl.Lat, pl.Lon = lat, lon
	}
	return pl
}
