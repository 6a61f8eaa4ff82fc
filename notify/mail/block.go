package mail

import (
	"fmt"
	"math"
	"strings"
	"time"
	"unicode"

	"example.org/eclose/forecast"
	"example.org/eclose/model/chance"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/alert"
)

// block is one item of a mail, put in words; the plain text and the HTML part
// are made of the same blocks.
type block struct {
	Heading string
	Lead    []string // what happened
	Warm    string   // water too warm for the fish: said before anything that invites
	Caution []string // of today and the next days: stands above the fold
	Flow    []string // of days further off: a line after the facts
	Facts   []fact
	Bars    []dayBar
	Tie     []string
	TieBy   string
	Small   []string // what the numbers rest on
	URL     string
	Saw     string // address that asks whether it was seen; empty: it is not asked
	Short   string // the same in a few words, for a list of several
}

type fact struct{ Name, Value string }

// Sentences that stand in every mail about water.
const (
	notWading   = "This does not mean you can wade. It describes the gauge's cross-section, not the water you will stand in."
	provisional = "Readings are provisional: they may be wrong, late or revised."
	overrule    = "Local notices, dam operators, licensed guides and your own eyes overrule this email."
	noLevel     = "Caution level unknown: no flow caution for this river. Treat it as too high until you have seen it."
)

// words is how one reader is written to.
type words struct {
	units wading.Units
	zone  *time.Location
	date  time.Time
}

func wordsFor(l alert.Email, date time.Time) words {
	w := words{zone: forecast.ZoneOf(l.Zone), date: date}
	if l.Units == "us" {
		w.units = wading.US
	}
	return w
}

func (w words) block(it alert.EmailItem) block {
	b := w.about(it)
	r := it.Reading
	if r == nil {
		r = it.Caution
	}
	if r != nil {
		b.Facts = append(w.warnings(r), b.Facts...)
	}
	return b
}

// blocks words several items. The caution of a river stands once, with its first item.
func (w words) blocks(items []alert.EmailItem) []block {
	var out []block
	mentioned := map[string]bool{}
	for _, it := range items {
		b := w.block(it)
		switch {
		case len(b.Caution) > 0 && mentioned[it.River] && (alert.Good(it.Kind) || it.Kind == alert.KindClosed):
			b.Caution = []string{"The caution for " + river(it) + " is above. " + overrule}
		case len(b.Caution) > 0:
			mentioned[it.River] = true
		}
		out = append(out, b)
	}
	return out
}

func (w words) about(it alert.EmailItem) block {
	switch {
	case it.Kind == alert.KindGauge || it.Kind == alert.KindGaugeOver:
		return w.gauge(it)
	case alert.Good(it.Kind) || it.Kind == alert.KindClosed:
		return w.window(it)
	}
	return w.caution(it)
}

// clock is a moment in the river's own time.
func clock(t time.Time, zone string) string {
	return t.In(forecast.ZoneOf(zone)).Format("15:04 MST on Mon 2 Jan 2006")
}

// day turns 2006-01-02 into words; what is no date stays as it is.
func day(s string) string {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return clean(s)
	}
	return t.Format("Mon 2 Jan 2006")
}

// span is two dates as short as they can be said.
func span(from, to string) string {
	a, err1 := time.Parse(time.DateOnly, from)
	b, err2 := time.Parse(time.DateOnly, to)
	switch {
	case err1 != nil || err2 != nil:
		return "dates unknown"
	case a.Equal(b):
		return a.Format("2 Jan")
	case a.Year() != b.Year():
		return a.Format("2 Jan 2006") + " to " + b.Format("2 Jan 2006")
	case a.Month() == b.Month():
		return a.Format("2") + " to " + b.Format("2 Jan")
	}
	return a.Format("2 Jan") + " to " + b.Format("2 Jan")
}

func percent(p float64) string { return chance.PercentInText(p) }

// clean makes text that came from outside fit for a line: no line breaks, no
// control or direction characters, so that it can neither add a header nor turn
// the words around it.
func clean(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || r == '\u2028' || r == '\u2029' || r == unicode.ReplacementChar {
			return ' '
		}
		return r
	}, s)
	// An encoded word (RFC 2047) may hide any of these from whoever looks at it
	// undecoded.
	return strings.ReplaceAll(strings.Join(strings.Fields(s), " "), "=?", "= ?")
}

func cleanAll(in []string) []string {
	var out []string
	for _, s := range in {
		if s = clean(s); s != "" {
			out = append(out, capital(s))
		}
	}
	return out
}

// sentences is cleanAll with full stops.
func sentences(in []string) []string {
	out := cleanAll(in)
	for i, s := range out {
		out[i] = strings.TrimSuffix(s, ".") + "."
	}
	return out
}

// river is a river's name for the start of a sentence or a subject.
func river(it alert.EmailItem) string {
	switch {
	case it.Reading != nil && it.Reading.RiverName != "":
		return clean(it.Reading.RiverName)
	case it.Outlook != nil && it.Outlook.RiverName != "":
		return clean(it.Outlook.RiverName)
	case it.Caution != nil && it.Caution.RiverName != "":
		return clean(it.Caution.RiverName)
	}
	return clean(it.River)
}

func (w words) readings(facts []fact, zone string, flow, stage, water *alert.Value) []fact {
	for _, v := range []struct {
		name  string
		v     *alert.Value
		print func(float64) string
		named bool // even without a reading
	}{{"Flow", flow, w.units.Flow, true}, {"Gauge height", stage, w.units.Length, false}, {"Water", water, w.units.Temperature, true}} {
		if v.v == nil {
			if v.named {
				facts = append(facts, fact{v.name, "no reading"})
			}
			continue
		}
		s := v.print(v.v.V)
		if v.v.Modelled {
			s += ", modelled, not measured, for "
		} else {
			s += ", read at "
		}
		facts = append(facts, fact{v.name, s + clock(v.v.At, zone)})
	}
	return facts
}

// level is the caution in one line.
func level(r *alert.Reading) string {
	switch {
	case r == nil:
		return noLevel
	case r.Known:
		return fmt.Sprintf("Caution %d of 3: %s.", r.Level, wading.Level(min(max(r.Level, 0), 3)).Words())
	case r.Level > 0:
		return fmt.Sprintf("Caution level unknown, but at least %d of 3 (%s): treat the river as too high until you have seen it.", r.Level, wading.Level(min(r.Level, 3)).Words())
	}
	return tooHigh
}

const tooHigh = "Caution level unknown: treat the river as too high until you have seen it."

// later is the caution of a window that is days away.
func (w words) later(url string) []string {
	line := "No gauge has measured the flow of these days yet. Check the caution level before you go."
	if url != "" {
		line = "No gauge has measured the flow of these days yet. Check the caution level before you go: " + url
	}
	return []string{line, overrule}
}

// isFar reports whether today's readings say nothing of the days of a window yet.
func isFar(o *alert.Outlook, from string, now time.Time) bool {
	t, err := time.Parse(time.DateOnly, from)
	return err == nil && !forecast.ReadingReaches(forecast.DateOf(now.In(forecast.ZoneOf(o.Zone))), forecast.DateOf(t))
}

// valid is until when a caution may be read as current.
func valid(r *alert.Reading) time.Time {
	if r.Until.After(r.At) {
		return r.Until
	}
	return r.At
}

// fromGauge tells the reading's time and until when it counts, both absolute.
func (w words) fromGauge(r *alert.Reading) string {
	t := fmt.Sprintf("From gauge %s, read at %s.", clean(r.Gauge), clock(r.At, r.Zone))
	if r.Known {
		t += fmt.Sprintf(" Valid until %s; after that the caution level is unknown.", clock(valid(r), r.Zone))
	}
	return t
}

// above is the caution as it stands above the fold of a mail about insects.
func (w words) above(r *alert.Reading) []string {
	if r == nil {
		return []string{noLevel, overrule}
	}
	var out []string
	switch {
	case r.Known && w.date.After(valid(r)):
		out = append(out, fmt.Sprintf("Caution level unknown: it was %[2]d of 3 at the last reading (%[1]s). Treat the river as too high until you have seen it.",
			clock(r.At, r.Zone), r.Level))
	default:
		out = append(out, level(r))
		out = append(out, sentences(r.Reasons)...)
		out = append(out, w.fromGauge(r))
	}
	return append(out, notWading, overrule)
}

func (w words) caution(it alert.EmailItem) block {
	r := it.Reading
	name := river(it)
	since := time.UnixMicro(it.Since)
	b := block{}
	zone := "UTC"
	if r != nil {
		zone = r.Zone
	}
	now := it.Level
	word := wading.Level(min(max(now, 0), 3)).Words()
	switch it.Kind {
	case alert.KindRise:
		b.Heading = fmt.Sprintf("%s: %s (caution %d of 3)", name, word, now)
		b.Lead = append(b.Lead, fmt.Sprintf("The caution rose from %d to %d.", it.Was, now))
	case alert.KindFall, alert.KindClear:
		b.Heading = fmt.Sprintf("%s: caution down from %d to %d of 3", name, it.Was, now)
		b.Lead = append(b.Lead, fmt.Sprintf("Our last alert was caution %d. Now: %s.", it.Was, word))
	case alert.KindStillHigh:
		b.Heading = fmt.Sprintf("%s: still %s (caution %d of 3)", name, word, now)
	case alert.KindFlapping:
		b.Heading = fmt.Sprintf("%s: conditions are changing quickly (caution %d of 3)", name, now)
		b.Lead = append(b.Lead, fmt.Sprintf("The level has gone up and down several times in a day. It stays at %d (%s) until it has been steady for 12 hours.", now, word))
	case alert.KindWarning:
		b.Heading = fmt.Sprintf("%s: %s", name, w.warningSubject(it))
		b.Lead = append(b.Lead, "New official warning, or one that got worse.")
	case alert.KindNoData:
		b.Heading = fmt.Sprintf("%s: no usable reading since %s", name, clock(since, zone))
		if r != nil && r.Unwarned {
			b.Heading = fmt.Sprintf("%s: official warnings unknown since %s", name, clock(since, zone))
		}
		b.Lead = append(b.Lead, "Since then a reading or a warning service has been missing or doubtful, so the caution level is unknown. Treat the river as too high until you have seen it.")
		if now > 0 {
			b.Lead = append(b.Lead, fmt.Sprintf("The last level was %d of 3 (%s). Missing data does not lower it.", now, word))
		}
	}
	if it.Since != 0 && (it.Kind == alert.KindFall || it.Kind == alert.KindClear || it.Kind == alert.KindStillHigh) {
		b.Lead = append(b.Lead, "Last alert sent "+clock(since, zone)+".")
	}
	if r == nil {
		b.Caution = []string{noLevel, overrule}
		return b
	}
	if it.Kind != alert.KindNoData {
		b.Caution = append(b.Caution, sentences(r.Reasons)...)
	}
	b.Caution = append(b.Caution, w.fromGauge(r)+" "+notWading, provisional, overrule)
	if now >= 2 {
		b.Small = append(b.Small, "Stay out if the water is rising, colouring or carrying debris, if you hear a horn, siren or thunder, or if you cannot see the bottom at knee depth.")
	}
	b.Facts = w.readings(nil, r.Zone, r.FlowM3S, r.StageM, r.WaterC)
	if r.Notices != "" {
		b.Facts = append(b.Facts, fact{"Local notices", clean(r.Notices)})
	}
	return b
}

// best is the day of the highest chance from the issue date on.
func best(o *alert.Outlook, s *alert.Stage) (forecast.Day, bool) {
	var top forecast.Day
	found := false
	today := forecast.DateOf(o.Issued.In(forecast.ZoneOf(o.Zone)))
	for _, d := range s.Days.All() {
		if d.Date >= today && (!found || d.P > top.P) {
			top, found = d, true
		}
	}
	return top, found
}

func stageName(s string) string {
	if s == string(forecast.EggLaying) {
		return "egg-laying"
	}
	return "emergence"
}

// warm is what warm water asks, by reading and by model.
func warm(o *alert.Outlook) string {
	if o.Heat != "" && o.HeatAhead != "" {
		return o.Heat + "; " + o.HeatAhead
	}
	return o.Heat + o.HeatAhead
}

func (w words) window(it alert.EmailItem) block {
	o, s := it.Outlook, it.About
	if o == nil || s == nil {
		return block{Heading: fmt.Sprintf("%s: %s of %s", river(it), stageName(it.Stage), clean(it.Group)), Caution: w.above(it.Caution)}
	}
	what := clean(s.Name) + " " + event(s.Stage)
	b := block{
		Warm:    clean(warm(o)),
		Caution: w.above(it.Caution),
		URL:     o.URL,
	}
	b.Heading, b.Short = w.news(it)
	top, ok := best(o, s)
	chance := "The daily chance is unknown."
	if ok {
		chance = fmt.Sprintf("%s: %s on the best day, %s (calendar only: %s).", capital(forecast.Likelihood(top.P)), percent(top.P), w.day(top.Date.String()), percent(top.PCalendar))
	}
	switch it.Kind {
	case alert.KindOpen:
		b.Lead = append(b.Lead, chance)
	case alert.KindMoved:
		b.Lead = append(b.Lead, chance, fmt.Sprintf("Our last email said %s; now it is %s.", span(it.WasFrom, it.WasTo), span(s.From, s.To)))
	case alert.KindClosed:
		b.Lead = append(b.Lead, fmt.Sprintf("The window of the %s has closed (was %s).", what, span(it.WasFrom, it.WasTo)), chance)
	}
	b.Facts = append(b.Facts,
		fact{"Hours", or(clean(s.Hours.Words()), "unknown")},
		fact{"Window", fmt.Sprintf("%s, peak about %s", span(s.From, s.To), w.day(s.Peak))},
		fact{"Calendar", span(s.CalendarFrom, s.CalendarTo)})
	if s.Dark != "" {
		b.Facts = append(b.Facts, fact{"Light", clean(s.Dark)})
	}
	if o.Notices != "" {
		b.Facts = append(b.Facts, fact{"Local notices", clean(o.Notices)})
	}
	if alert.Good(it.Kind) && isFar(o, s.From, w.date) {
		b.Caution, b.Flow = nil, w.later(o.URL)
	} else {
		b.Facts = w.readings(b.Facts, o.Zone, o.FlowM3S, nil, o.WaterC)
	}
	b.Facts = append(b.Facts, w.fishable(o, s.From, s.To)...)
	if alert.Good(it.Kind) {
		b.Tie = cleanAll(s.Tie)
		b.TieBy = w.tieBy(s.From)
		b.Bars = dayBars(s, forecast.DateOf(w.date.In(forecast.ZoneOf(o.Zone))))
	}
	b.Small = append(b.Small,
		"Chance: that a competent observer, watching suitable water for two hours at the right time of day, sees more than a few stray insects.",
		fmt.Sprintf("Evidence: %s. Past seasons at this river: %d. Issued %s; data to %s.",
			or(clean(s.Grade.Words()), "unknown"), o.Seasons, clock(o.Issued, o.Zone), clock(o.CutOff, o.Zone)))
	return b
}

// tieBy is the day before the window, or now where that is past.
func (w words) tieBy(from string) string {
	t, err := time.Parse(time.DateOnly, from)
	if err != nil {
		return ""
	}
	last := t.AddDate(0, 0, -1)
	if last.Format(time.DateOnly) <= w.date.In(w.zone).Format(time.DateOnly) {
		return "now"
	}
	return "by " + w.day(last.Format(time.DateOnly))
}

// event is what a stage of an insect is to an angler.
func event(stage string) string {
	if stage == string(forecast.EggLaying) {
		return "egg-laying"
	}
	return "hatch"
}

// day is a date with its weekday, and with its year where that is not this year.
func (w words) day(s string) string {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		return clean(s)
	}
	if t.Year() == w.date.Year() {
		return t.Format("Mon 2 Jan")
	}
	return t.Format("Mon 2 Jan 2006")
}

// news says in one or two sentences what changed and what to do by when; short says the
// same in a few words, without the river.
func (w words) news(it alert.EmailItem) (long, short string) {
	s := it.About
	name := river(it)
	what := clean(s.Name) + " " + event(s.Stage)
	if it.Kind == alert.KindClosed {
		return fmt.Sprintf("%s: the %s is over.", name, what), what + " is over"
	}
	begun := w.begun(s.From)
	shift := shiftWords(it.WasFrom, s.From)
	switch {
	case begun && it.Kind == alert.KindMoved && shift != "":
		long, short = fmt.Sprintf("%s: the %s has begun, %s than our last email said.", name, what, shift), fmt.Sprintf("%s %s, begun", what, shift)
	case begun:
		long, short = fmt.Sprintf("%s: the %s has begun.", name, what), what+" has begun"
	case it.Kind == alert.KindMoved && shift != "":
		long, short = fmt.Sprintf("%s: the %s now begins about %s, %s than our last email said.", name, what, w.day(s.From), shift), fmt.Sprintf("%s %s, from %s", what, shift, span(s.From, s.From))
	case it.Kind == alert.KindMoved:
		long, short = fmt.Sprintf("%s: the %s now ends about %s.", name, what, w.day(s.To)), fmt.Sprintf("%s now until %s", what, span(s.To, s.To))
	default:
		long, short = fmt.Sprintf("%s: the %s begins about %s.", name, what, w.day(s.From)), fmt.Sprintf("%s from %s", what, span(s.From, s.From))
	}
	if by := w.tieBy(s.From); by != "" && len(s.Tie) > 0 {
		long += " Have the flies tied " + by + "."
	}
	return long, short
}

// begun reports whether a window's most likely start is past.
func (w words) begun(from string) bool {
	return from != "" && from <= w.date.In(w.zone).Format(time.DateOnly)
}

// shiftWords is how far a start moved since the last email; empty if it did not.
func shiftWords(was, is string) string {
	a, err1 := time.Parse(time.DateOnly, was)
	b, err2 := time.Parse(time.DateOnly, is)
	if err1 != nil || err2 != nil {
		return ""
	}
	n, way := int(math.Round(b.Sub(a).Hours()/24)), "later"
	if n < 0 {
		n, way = -n, "earlier"
	}
	switch n {
	case 0:
		return ""
	case 1:
		return "1 day " + way
	}
	return fmt.Sprintf("%d days %s", n, way)
}

func capital(s string) string {
	if s == "" {
		return s
	}
	return strings.ToUpper(s[:1]) + s[1:]
}
