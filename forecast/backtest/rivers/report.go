package rivers

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/verify"
)

// AllLeads stands for every lead in Score.Lead.
const AllLeads = -1

// Score is the judgement of a part of a backtest: all of it, or one group's
// stage, river or lead, or what they have in common. What is not known is NaN.
type Score struct {
	Scope string // which of Group, River and Lead are set: "all", "lead", "group, lead" ...
	Group string
	Stage forecast.Stage
	River string
	Lead  int

	Seasons  int
	N        int     // days, or sightings
	Model    float64 // mean squared distance of the chance from what came: the Brier score where that is yes or no
	Calendar float64
	Plain    float64         // the same by the calendar that takes all past seasons alike
	Skill    verify.Interval // 1 - Model/Calendar

	LastN     int // of N, with a date of last year
	Last      float64
	SkillLast verify.Interval // against the calendar's curve moved to last year's date

	DateN         int // seasons and rivers with a date
	Error         float64
	ErrorCalendar float64
	ErrorPlain    float64
	ErrorLast     float64 // mean absolute errors, days
	Bias          float64 // days; above 0: the forecast was late
	Gain          verify.Interval
	GainLast      verify.Interval // days by which the error is smaller than the calendar's and last year's
	Covered       float64         // share of dates within the 10 to 90 % range
	Width         float64         // its mean width, days
	Verdict       string          // against the calendar, in words
	VerdictDates  string
}

// Report is a judged outcome.
type Report struct {
	*Outcome
	Scores    []Score
	Sentences []string // what a reader must know first
}

// Of the resampling of seasons.
const (
	level = 0.9 // of intervals
	draws = 500
	seed  = 6
)

type scoreKey struct {
	scope, group, river string
	stage               forecast.Stage
	lead                int
}

// sums are what one season adds to a score.
type sums struct {
	n, lastN                                int
	model, calendar, plain, lastModel, last float64
	dateN, dateLastN, covered               int
	err, errCalendar, errPlain, errLast     float64
	errWithLast, bias, wid                  float64
}

// Judge sums an outcome up.
func Judge(o *Outcome) *Report {
	by := map[scoreKey]map[int]*sums{}
	at := func(season int, group string, stage forecast.Stage, river string, lead int, add func(*sums)) {
		for _, k := range keysOf(group, stage, river, lead) {
			m := by[k]
			if m == nil {
				m = map[int]*sums{}
				by[k] = m
			}
			if m[season] == nil {
				m[season] = new(sums)
			}
			add(m[season])
		}
	}
	for i := range o.Shards {
		s := &o.Shards[i]
		for _, c := range s.Cells {
			at(s.Season, c.Group, c.Stage, s.River, c.Lead, func(t *sums) {
				t.n += c.N
				t.lastN += c.LastN
				t.model += c.Model
				t.calendar += c.Calendar
				t.plain += c.Plain
				t.lastModel += c.LastModel
				t.last += c.Last
			})
		}
		for _, d := range s.Dates {
			at(s.Season, d.Group, d.Stage, s.River, d.Lead, func(t *sums) { t.date(d) })
		}
	}
	r, shared := &Report{Outcome: o}, resamplings{}
	for k, seasons := range by {
		s := k.score(seasons, shared)
		if !o.BySightings {
			// The analysis shares the forecast's parameters, so that its dates
			// cannot fall outside the range as real ones can.
			s.Covered = math.NaN()
		}
		r.Scores = append(r.Scores, s)
	}
	slices.SortFunc(r.Scores, func(a, b Score) int {
		return cmp.Or(cmp.Compare(order(a.Scope), order(b.Scope)), cmp.Compare(a.Group, b.Group), cmp.Compare(a.Stage, b.Stage),
			cmp.Compare(a.River, b.River), cmp.Compare(a.Lead, b.Lead))
	})
	r.describe()
	return r
}

// scopes in the order of a report.
var scopes = []string{"all", "lead", "river", "group", "river, lead", "group, lead", "group, river, lead"}

func order(scope string) int { return slices.Index(scopes, scope) }

func keysOf(group string, stage forecast.Stage, river string, lead int) []scoreKey {
	return []scoreKey{
		{scope: "all", lead: AllLeads},
		{scope: "lead", lead: lead},
		{scope: "river", river: river, lead: AllLeads},
		{scope: "group", group: group, stage: stage, lead: AllLeads},
		{scope: "river, lead", river: river, lead: lead},
		{scope: "group, lead", group: group, stage: stage, lead: lead},
		{scope: "group, river, lead", group: group, stage: stage, river: river, lead: lead},
	}
}

func (t *sums) date(d DateCase) {
	e := float64(d.Median - d.Observed)
	t.dateN++
	t.err += math.Abs(e)
	t.bias += e
	t.errCalendar += math.Abs(float64(d.Calendar - d.Observed))
	t.errPlain += math.Abs(float64(d.Plain - d.Observed))
	t.wid += float64(d.Late - d.Early)
	if d.Observed >= d.Early && d.Observed <= d.Late {
		t.covered++
	}
	if d.Last != 0 {
		t.dateLastN++
		t.errLast += math.Abs(float64(d.Last - d.Observed))
		t.errWithLast += math.Abs(e)
	}
}

func (k scoreKey) score(by map[int]*sums, seasons resamplings) Score {
	s := Score{Scope: k.scope, Group: k.group, Stage: k.stage, River: k.river, Lead: k.lead, Seasons: len(by)}
	labels := make([]int, 0, len(by))
	for y := range by {
		labels = append(labels, y)
	}
	slices.Sort(labels)
	each := make([]sums, len(labels))
	for i, y := range labels {
		each[i] = *by[y]
	}
	all := total(each)
	s.N, s.LastN, s.DateN = all.n, all.lastN, all.dateN
	s.Model, s.Calendar, s.Plain, s.Last = per(all.model, all.n), per(all.calendar, all.n), per(all.plain, all.n), per(all.last, all.lastN)
	s.Error, s.ErrorCalendar = per(all.err, all.dateN), per(all.errCalendar, all.dateN)
	s.ErrorPlain, s.ErrorLast = per(all.errPlain, all.dateN), per(all.errLast, all.dateLastN)
	s.Bias, s.Width, s.Covered = per(all.bias, all.dateN), per(all.wid, all.dateN), per(float64(all.covered), all.dateN)

	// Each has the seasons that tell of it, so that a season without dates does
	// not pass for one with them.
	figure := func(of func(*sums) part, f func(part) float64) verify.Interval {
		var mine []part
		for i := range each {
			if x := of(&each[i]); x.n > 0 {
				mine = append(mine, x)
			}
		}
		return seasons.interval(mine, f)
	}
	skill := func(x part) float64 { return verify.Skill(x.a, x.b) }
	gain := func(x part) float64 { return per(x.b-x.a, x.n) }
	s.Skill = figure(func(t *sums) part { return part{t.n, t.model, t.calendar} }, skill)
	s.SkillLast = figure(func(t *sums) part { return part{t.lastN, t.lastModel, t.last} }, skill)
	s.Gain = figure(func(t *sums) part { return part{t.dateN, t.err, t.errCalendar} }, gain)
	s.GainLast = figure(func(t *sums) part { return part{t.dateLastN, t.errWithLast, t.errLast} }, gain)
	s.Verdict, s.VerdictDates = verify.Verdict(s.Skill), verify.Verdict(s.Gain)
	return s
}

func per(sum float64, n int) float64 {
	if n == 0 {
		return math.NaN()
	}
	return sum / float64(n)
}

// total adds seasons up.
func total(each []sums) sums {
	var t sums
	for i := range each {
		x := &each[i]
		t.n += x.n
		t.lastN += x.lastN
		t.model += x.model
		t.calendar += x.calendar
		t.plain += x.plain
		t.lastModel += x.lastModel
		t.last += x.last
		t.dateN += x.dateN
		t.dateLastN += x.dateLastN
		t.covered += x.covered
		t.err += x.err
		t.errCalendar += x.errCalendar
		t.errPlain += x.errPlain
		t.errLast += x.errLast
		t.errWithLast += x.errWithLast
		t.bias += x.bias
		t.wid += x.wid
	}
	return t
}

// part is what a season adds to one figure: so many cases, and two sums over them.
type part struct {
	n    int
	a, b float64
}

// resamplings are the draws of seasons, by how many there are: all figures share them.
type resamplings map[int]*verify.Resampling

// interval is the interval of a figure of the sum over seasons.
func (r resamplings) interval(seasons []part, f func(part) float64) verify.Interval {
	var all part
	for _, x := range seasons {
		all.n, all.a, all.b = all.n+x.n, all.a+x.a, all.b+x.b
	}
	if len(seasons) < 2 {
		return verify.Interval{Value: f(all), Low: math.NaN(), High: math.NaN(), Seasons: len(seasons)}
	}
	if r[len(seasons)] == nil {
		r[len(seasons)] = verify.NewResampling(len(seasons), draws, seed)
	}
	return r[len(seasons)].Interval(f(all), func(picked []int) float64 {
		var t part
		for _, k := range picked {
			x := &seasons[k]
			t.n, t.a, t.b = t.n+x.n, t.a+x.a, t.b+x.b
		}
		return f(t)
	}, level)
}

// Of lists the scores of a scope.
func (r *Report) Of(scope string) []Score {
	var out []Score
	for _, s := range r.Scores {
		if s.Scope == scope {
			out = append(out, s)
		}
	}
	return out
}

// describe puts the result in words: whether the forecast beats the calendar, and
// where it does not.
func (r *Report) describe() {
	leads := r.Of("lead")
	if len(leads) == 0 {
		r.Sentences = []string{"Nothing could be scored: " + r.whyNothing() + "."}
		return
	}
	what, unit := "the forecast beats the calendar", fmt.Sprintf("%d sightings", r.Of("all")[0].N/max(1, len(leads)))
	if !r.BySightings {
		what = "the forecast is closer than the calendar to the model's end-of-season analysis"
		r.Sentences = append(r.Sentences, "This shows consistency, not skill: with no sightings to compare with, "+
			"forecasts are compared with the model's own end-of-season analysis, which is only as good as the model.")
		unit = "the analyses"
	}
	var better, worse, open []string
	for _, s := range leads {
		w := fmt.Sprintf("%d days (by %s)", s.Lead, percent(s.Skill))
		switch s.Verdict {
		case verify.Better:
			better = append(better, w)
		case verify.Worse:
			worse = append(worse, w)
		default:
			w := fmt.Sprintf("%.0f%% at %d days", 100*s.Skill.Value, s.Lead)
			if !math.IsNaN(s.Skill.Low) {
				w += fmt.Sprintf(" (%.0f to %.0f)", 100*s.Skill.Low, 100*s.Skill.High)
			}
			open = append(open, w)
		}
	}
	seasons := r.Of("all")[0].Seasons
	sentence := fmt.Sprintf("Scored on %s from %s", unit, count(seasons, "season"))
	switch {
	case seasons < verify.FewSeasons:
		sentence += fmt.Sprintf(", it is not demonstrated that %s: fewer than %d seasons are too few; %s.", what, verify.FewSeasons, removed("skill so far", open, leads))
	case len(better) == 0 && len(worse) == 0:
		sentence += fmt.Sprintf(", it is not demonstrated at any lead that %s: %s; every interval includes zero.", what, removed("skill", open, leads))
	default:
		if len(better) > 0 {
			sentence += fmt.Sprintf(", %s at leads of %s", what, join(better))
		}
		if len(worse) > 0 {
			if len(better) > 0 {
				sentence += "; "
			} else {
				sentence += ", "
			}
			sentence += "it is worse than the calendar at leads of " + join(worse)
		}
		if len(open) > 0 {
			sentence += "; no difference is demonstrated elsewhere: " + removed("skill", open, leads)
		}
		sentence += "."
	}
	r.Sentences = append(r.Sentences, sentence)
	r.Sentences = append(r.Sentences, r.places())
}

// removed lists by how much of the calendar's error the forecast is nearer, and
// says what a figure below 0 means where there is one.
func removed(what string, of []string, leads []Score) string {
	s := what + " " + join(of)
	if slices.ContainsFunc(leads, func(x Score) bool { return x.Skill.Value < -0.005 }) {
		s += " (below 0 the calendar was better)"
	}
	return s
}

// places names the groups and rivers in which the calendar is not beaten.
func (r *Report) places() string {
	var worse, open []string
	better := 0
	for _, s := range r.Of("group") {
		name := fmt.Sprintf("%s (%s)", plain(s.Group), s.Stage)
		switch {
		case s.Skill.High < 0:
			worse = append(worse, name)
		case s.Skill.Low > 0:
			better++
		default:
			open = append(open, name)
		}
	}
	n := len(worse) + len(open) + better
	text := fmt.Sprintf("Of %d insect stages, over all leads, %d beat the calendar", n, better)
	if len(open) > 0 {
		text += fmt.Sprintf(", %d show no clear difference", len(open))
	}
	text += fmt.Sprintf(", and %d are worse", len(worse))
	if len(worse) > 0 {
		text += ": " + join(worse)
	}
	return text + fmt.Sprintf(" (%.0f%% bootstrap intervals over seasons).", level*100)
}

func (r *Report) whyNothing() string {
	why := map[string]int{}
	for _, s := range r.Shards {
		why[s.Skipped]++
	}
	if why[""] == len(r.Shards) {
		return "no sighting falls within the seasons and rivers asked for"
	}
	best := ""
	for w, n := range why {
		if w != "" && (best == "" || n > why[best] || n == why[best] && w < best) {
			best = w
		}
	}
	return best
}

func percent(i verify.Interval) string {
	if math.IsNaN(i.Low) {
		return fmt.Sprintf("%.0f%%", 100*i.Value)
	}
	return fmt.Sprintf("%.0f%%, %.0f to %.0f", 100*i.Value, 100*i.Low, 100*i.High)
}

func count(n int, of string) string {
	if n == 1 {
		return "1 " + of
	}
	return fmt.Sprintf("%d %ss", n, of)
}

func join(words []string) string {
	switch len(words) {
	case 0:
		return ""
	case 1:
		return words[0]
	}
	last := len(words) - 1
	return strings.Join(words[:last], ", ") + " and " + words[last]
}

func plain(key string) string { return strings.ReplaceAll(key, "-", " ") }

func sortBySkill(rows []Score) {
	slices.SortStableFunc(rows, func(a, b Score) int { return cmp.Compare(b.Skill.Value, a.Skill.Value) })
}
