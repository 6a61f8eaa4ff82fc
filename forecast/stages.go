package forecast

import (
	"fmt"
	"math"
	"slices"
	"time"

	"example.org/eclose/forecast/engine"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/sun"
)

// stages runs the engine over this season and, as far as the outlook reaches,
// the next, and keeps for each group the one that is not over.
func (is *Issuer) stages(w *water, o *Outlook, rec Record, r River, region insects.Region, groups []*insects.Group, t *timing, opt Options) error {
	results := map[string][2]StageOutlook{}
	for _, start := range []int{insects.FromJanuary, insects.FromJuly} {
		var mine []*insects.Group
		for _, g := range groups {
			if x, ok := g.Window(region, insects.Emergence); ok && x.SeasonStart() == start {
				mine = append(mine, g)
			}
		}
		if len(mine) == 0 {
			continue
		}
		first := seasonFirst(rec.Issue, start)
		for _, day0 := range []Date{first, DateOf(first.Time().AddDate(1, 0, 0))} {
			if err := is.season(w, rec, r, region, mine, day0, start, opt, results, t); err != nil {
				return err
			}
		}
	}
	kind := rec.waterKind(r.Regulated)
	for _, g := range groups {
		pair, ok := results[g.Key]
		if !ok {
			continue
		}
		early, known := 0.0, false
		if x, _ := g.Window(region, insects.Emergence); !opt.ChancesOnly && x.SeasonStart() == insects.FromJanuary {
			early, known = t.early(g.Key, seasonFirst(rec.Issue, insects.FromJanuary))
		}
		for _, s := range pair {
			if s.Group == "" {
				continue
			}
			s.Elsewhere = len(r.Groups) == 0 && (kind.elsewhere(g.Habitat) || t.open.missing(g.Key)) && !rec.seenHere(r, g, opt.Sightings)
			if !opt.ChancesOnly {
				s.Hours = hoursOn(g, s, r, w.middle(s.Window.Peak.P50))
				s.Reasons = s.moved(rec.Issue)
				if !s.AllYear && t.groups[t.own[g.Key]].taxon.SpreadDays > longSeason {
					s.Reasons = append(s.Reasons, Remark{Code: LongSeason})
				}
				if known && !s.ruledByCalendar() && s.Window.Peak.P50 != 0 && s.Window.Peak.P50 < w.day0+365 {
					s.Early = &early
					s.Reasons = append(s.Reasons, w.running(early, rec, &s, o.Seasons))
				}
			}
			if !opt.ChancesOnly {
				s.Reasons = append(s.Reasons, t.open.reasons(&s)...)
			}
			for _, x := range s.MovedBy {
				if !opt.ChancesOnly && math.Abs(x.Days) >= leastMove {
					s.Reasons = append(s.Reasons, Remark{Code: MovedBy, By: &x})
				}
			}
			o.Stages = append(o.Stages, s)
		}
	}
	return nil
}

// longSeason is the length, as a standard deviation in days, from which a season has
// no date worth the name: on real records the median of such a season jumps between
// peaks (model/phenology/RESULTS.md). Our own default.
const longSeason = 30.0

// leastMove is how far sightings must move a date to be named, days. Our own
// default.
const leastMove = 0.5

// seasonFirst is the first day of the season-year that holds a date, for seasons
// that begin on a day of the year.
func seasonFirst(d Date, start int) Date {
	year := d.Time().Year()
	month := time.January
	if start == insects.FromJuly {
		month = time.July
	}
	first := DateOf(time.Date(year, month, 1, 0, 0, 0, 0, time.UTC))
	if first > d {
		first = DateOf(time.Date(year-1, month, 1, 0, 0, 0, 0, time.UTC))
	}
	return first
}

// season runs the engine over the season that begins on a day, and puts what it
// says of groups whose season is not over into the results.
func (is *Issuer) season(w *water, rec Record, r River, region insects.Region, groups []*insects.Group, day0 Date, start int,
	opt Options, results map[string][2]StageOutlook, t *timing) error {
	last := w.first + Date(len(w.rows[0]))
	end := min(last, DateOf(day0.Time().AddDate(1, 2, 0))) // the last adults outlive the season-year
	now := seasonFirst(rec.Issue, start)
	if day0 > rec.Issue && end-day0 < 60 {
		return nil
	}
	in := engine.River{Members: len(w.rows), Days: int(end - day0), Activity: !opt.ChancesOnly, On: daysAsked(opt.ChancesOn, day0, end)}
	in.TempC = is.temp[:0]
	for _, m := range w.rows {
		for _, t := range m[day0-w.first : end-w.first] {
			in.TempC = append(in.TempC, float32(t))
		}
	}
	is.temp = in.TempC
	var used []*insects.Group
	var moved [][]Influence
	var slopes []float64
	var plain []int
	for _, g := range groups {
		if _, ok := t.own[g.Key]; !ok || day0 > now && !over(results[g.Key], rec.Issue) {
			continue
		}
		b, by, err := t.blend(g.Key, day0)
		if err != nil {
			return err
		}
		used, moved = append(used, g), append(moved, by)
		slope := b.Median.Slope
		if b.Requirement == 0 {
			slope = 0
		}
		slopes = append(slopes, slope)
		plain = append(plain, t.plainLater(g.Key, day0))
		in.Groups = append(in.Groups, is.draw(t, g.Key, b, in.Members, day0))
	}
	if len(used) == 0 {
		return nil
	}
	ran, err := is.run(in)
	if err != nil {
		return fmt.Errorf("season from %s: %w", day0, err)
	}
	for k, g := range used {
		pair := results[g.Key]
		for s, stage := range Stages {
			got := stageOf(g, stage, &t.groups[t.own[g.Key]], slopes[k], &ran[k][s], day0)
			got.MovedBy, got.PlainLater = moved[k], plain[k]
			if x, ok := g.Window(region, insects.Emergence); ok {
				got.Basis = BasisCode(x.BasisCode())
			}
			got.Records = t.open.window(g.Key, stage, day0)
			if x, ok := g.Window(region, insects.Stage(stage)); ok && x.AllYear {
				got.allYear(day0)
			}
			// The season that is not over wins; of two such, the first.
			if have := &pair[s]; have.Group == "" || have.over(rec.Issue) && got.Window.Peak.P50 != 0 {
				pair[s] = got
			}
		}
		results[g.Key] = pair
	}
	return nil
}

// daysAsked are the days of a season, counted from its first, of which chances are asked;
// nil for all.
func daysAsked(on []Date, day0, end Date) []int {
	if on == nil {
		return nil
	}
	days := make([]int, 0, len(on))
	for _, d := range on {
		if d >= day0 && d < end {
			days = append(days, int(d-day0))
		}
	}
	return days
}

// allYear gives a stage that knows no season the whole year that begins on a day.
func (s *StageOutlook) allYear(day0 Date) {
	last := DateOf(day0.Time().AddDate(1, 0, -1))
	at := func(d Date) Range { return Range{d, d, d} }
	s.AllYear = true
	s.Window = Window{Start: at(day0), Peak: at(day0 + (last-day0)/2), End: at(last)}
	s.Calendar = s.Window
}

// over reports that the season of a stage has passed.
func (s *StageOutlook) over(issue Date) bool {
	return s.Window.End.P90 != 0 && s.Window.End.P90 < issue
}

// over reports that the season of some stage of a group has passed, so that the
// next one matters.
func over(pair [2]StageOutlook, issue Date) bool {
	return pair[0].over(issue) || pair[1].over(issue)
}

func stageOf(g *insects.Group, stage Stage, m *timed, slope float64, res *engine.StageResult, day0 Date) StageOutlook {
	s := StageOutlook{
		Group: g.Key, Name: insects.Label(g.Key), Stage: stage, Grade: m.evidence, Weight: round(slope, 100),
		Fishable: g.Fishable(insects.Stage(stage)) != insects.FishableNo,
		Window:   windowOf(res.Window, day0), Calendar: windowOf(res.WindowCalendar, day0),
	}
	if n := len(m.watches); n > 0 {
		s.Grade = evidenceOf(Sighted, n)
	}
	s.Days = daysOfColumns(day0, len(res.P), [dayColumns][]float64{
		res.P, res.PCalendar, res.Activity[0], res.Activity[1], res.Activity[2], res.ActivityCalendar})
	return s
}

func windowOf(w engine.Window, day0 Date) Window {
	r := func(x engine.Range) Range {
		if x.P10 == engine.NoDay || x.P50 == engine.NoDay || x.P90 == engine.NoDay {
			return Range{}
		}
		return Range{day0 + Date(x.P10), day0 + Date(x.P50), day0 + Date(x.P90)}
	}
	return Window{Start: r(w.Start), Peak: r(w.Peak), End: r(w.End)}
}

// hoursOn puts a stage's hours on the river's clock, at the peak of its window and
// in the water of that day, °C.
func hoursOn(g *insects.Group, s StageOutlook, r River, waterC float64) Hours {
	h := g.Hours(insects.Stage(s.Stage)).In(waterC)
	if s.AllYear {
		h = g.Hours(insects.Stage(s.Stage)) // a year has all waters
	}
	if len(h) == 0 || s.Window.Peak.P50 == 0 {
		return Hours{}
	}
	day := s.Window.Peak.P50.Time()
	t := sun.Day(day, r.Lat, r.Lon)
	if t.State != sun.Crosses {
		return Hours{BySun: h.String()}
	}
	zone, err := time.LoadLocation(r.Zone)
	if err != nil {
		zone = time.UTC
	}
	// Sun time has its noon at the transit.
	minute := func(at time.Time) int { return int(math.Round(at.Sub(t.Transit).Minutes())) + 12*60 }
	var spans []Span
	for _, span := range h.On(minute(t.Rise), minute(t.Set)) {
		at := func(m int) int {
			x := t.Transit.Add(time.Duration(m-12*60) * time.Minute).In(zone).Round(15 * time.Minute)
			return x.Hour()*60 + x.Minute()
		}
		s := Span{at(span[0]), at(span[1])}
		if s.To <= s.From {
			s.To += 1440
		}
		spans = append(spans, s)
	}
	return Hours{Spans: merged(spans)}
}

// moved says where the peak lies beside the calendar's, which knows the region
// and not the river.
func (s *StageOutlook) moved(issue Date) []Remark {
	one := Remark{Code: ExpectedPeak, Days: int(s.Window.Peak.P50 - s.Calendar.Peak.P50), Date: s.Calendar.Peak.P50}
	switch {
	case s.AllYear:
		one = Remark{Code: AllYear}
	case s.Window.Peak.P50 == 0 || s.Calendar.Peak.P50 == 0:
		one = Remark{Code: OutOfPeriod}
	case s.ruledByCalendar():
		one = Remark{Code: CalendarRules}
	case s.Window.Peak.P90 < issue:
		one.Code = Peaked
	}
	return []Remark{one}
}

// ruledByCalendar reports that the water moves a stage too little to be named.
// The limit is our own default.
func (s *StageOutlook) ruledByCalendar() bool { return s.Weight < 0.15 }

// Why says in a few words how the season of a stage lies: beside the calendar,
// and beside the river's own usual season.
func (s *StageOutlook) Why() string {
	switch {
	case s.AllYear:
		return "there all year"
	case s.ruledByCalendar():
		return "calendar only: water temperature barely shifts it"
	case s.Early != nil:
		return s.calendarShift() + "; " + earlyWords(*s.Early) + " here"
	}
	return s.calendarShift()
}

// calendarShift is how far the peak lies from the calendar's.
func (s *StageOutlook) calendarShift() string {
	return shiftWords(int(s.Window.Peak.P50-s.Calendar.Peak.P50), s.Calendar.Peak.P50)
}

func shiftWords(days int, calendar Date) string {
	switch {
	case days <= -2:
		return fmt.Sprintf("%d days before the calendar (%s)", -days, short(calendar))
	case days >= 2:
		return fmt.Sprintf("%d days after the calendar (%s)", days, short(calendar))
	default:
		return "about the calendar date, " + short(calendar)
	}
}

// running says how far the season runs ahead of the river's own usual one, and
// why where the water of the last weeks explains it.
func (w *water) running(early float64, rec Record, s *StageOutlook, seasons int) Remark {
	r := Remark{Code: Running, Days: -int(math.Round(early))}
	if d, days := w.departed(rec, min(rec.Issue, s.Window.Peak.P50)); days > 0 && (early > 0) == (d > 0) && math.Abs(d) >= 0.05 && math.Abs(float64(r.Days)) >= 2 {
		r.Water, r.Seasons = &Departure{MeanC: round(d, 100), Days: days}, seasons
	}
	return r
}

func earlyWords(early float64) string {
	switch n := int(math.Round(math.Abs(early))); {
	case n < 2:
		return "about average"
	case early > 0:
		return fmt.Sprintf("%d days early", n)
	default:
		return fmt.Sprintf("%d days late", n)
	}
}

// Words says how warm the water was, in both units, those of the reader first.
func (d Departure) Words(seasons int, fahrenheit bool) string {
	warm := "warmer"
	if d.MeanC < 0 {
		warm = "colder"
	}
	c := math.Abs(d.MeanC)
	by := fmt.Sprintf("%.1f °C (%.1f °F)", c, c*1.8)
	if fahrenheit {
		by = fmt.Sprintf("%.1f °F (%.1f °C)", c*1.8, c)
	}
	return fmt.Sprintf("over the last %d days the water averaged %s %s than usual (%d seasons)", d.Days, by, warm, seasons)
}

// recentDays is over how many days the water is compared with that of past seasons
// in words. Our own default.
const recentDays = 60

// departed is how far the last days before a date, of this year, lie from the
// normal, °C, over the days on which both are known.
func (w *water) departed(rec Record, before Date) (mean float64, days int) {
	season := rec.season(w.day0)
	end := min(len(season), max(0, int(before-w.day0)))
	for i := max(0, end-recentDays); i < end; i++ {
		if v, n := season[i], w.climatologyBefore(rec, i); !math.IsNaN(v) && !math.IsNaN(n) {
			mean += v - n
			days++
		}
	}
	if days == 0 {
		return 0, 0
	}
	return mean / float64(days), days
}

// climatologyBefore is the normal of past seasons only: the running one must not be
// compared with itself.
func (w *water) climatologyBefore(rec Record, day int) float64 {
	if w.before == nil {
		k := int(w.day0 - rec.Day0)
		past := slices.Clone(rec.Water[:max(0, min(k, len(rec.Water)))])
		b := climatology(rec.Day0, past)
		w.before = &b
	}
	return w.before[dayOfYear(w.day0+Date(day))]
}

// round keeps the digits that the members can tell.
func round(v, scale float64) float64 { return math.Round(v*scale) / scale }
