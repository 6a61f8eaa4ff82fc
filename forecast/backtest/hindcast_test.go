package backtest

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func run(t *testing.T, rec Records, w *Temperatures, opt Options) []Forecast {
	t.Helper()
	f, err := Run(rec.Build(40), w, opt)
	if err != nil {
		t.Fatal(err)
	}
	if len(f) == 0 {
		t.Fatal("no forecast")
	}
	return f
}

func TestWaterHelpsWhereTemperatureSetsTheDate(t *testing.T) {
	rec, w := inventRecords(1, 14, 0.8, 2, 3).read(t)
	opt := Options{LeadDays: 7}
	with, without := ratio(run(t, rec, w, opt), Rungs[0]), ratio(run(t, rec, nil, opt), Rungs[0])
	if with > 0.8*without {
		t.Errorf("error %.2f of the calendar's with water, %.2f without", with, without)
	}
}

// A rule that is not there must not be found: dates that answer to nothing, and
// each taxon's own.
func TestChanceDatesAreForecastNoWorseThanByTheCalendar(t *testing.T) {
	var sum float64
	const runs = 6
	for seed := range uint64(runs) {
		rec, w := inventRecords(10+seed, 14, 0, 7, 3).read(t)
		r := ratio(run(t, rec, w, Options{LeadDays: 14}), Knowledge{Others: true})
		if r > 1.2 {
			t.Errorf("record %d: error %.2f of the calendar's", seed, r)
		}
		sum += r
	}
	if m := sum / runs; m > 1.08 || m < 0.9 {
		t.Errorf("error %.3f of the calendar's on average", m)
	}
}

func TestRangesHoldWhatTheySay(t *testing.T) {
	for _, k := range Rungs {
		in, n := 0, 0
		for seed := range uint64(6) {
			rec, w := inventRecords(30+seed, 16, 0.4, 6, 4).read(t)
			for _, f := range run(t, rec, w, Options{LeadDays: 14}) {
				if lo, hi := f.By[k].Interval(0.8); lo <= f.Observed && f.Observed <= hi {
					in++
				}
				n++
			}
		}
		if c := float64(in) / float64(n); c < 0.72 || c > 0.92 {
			t.Errorf("%+v: 80 %% ranges hold %.1f %% of %d dates", k, 100*c, n)
		}
	}
}

// Whatever comes on the day of issue or after it, of any taxon and of the water,
// must not move the forecast on any rung.
func TestNothingFromTheIssueOnMovesAForecast(t *testing.T) {
	for _, every := range []int{1, 4} { // traps of daily visits are read otherwise
		rec, w := inventVisits(2, 12, 0.5, 5, 5, every).read(t)
		nothingFromTheIssueOnMoves(t, rec, w)
		rec.Words = true // the same numbers as none, few and many
		nothingFromTheIssueOnMoves(t, rec, w)
		rec.Words, rec.Hours = false, true // a trap that is open for some hours
		for i := range rec.Rows {
			rec.Rows[i].Hours = 3
		}
		nothingFromTheIssueOnMoves(t, rec, w)
	}
}

func nothingFromTheIssueOnMoves(t *testing.T, rec Records, w *Temperatures) {
	t.Helper()
	opt := Options{LeadDays: 10}
	const year = 1996
	rng := rand.New(rand.NewPCG(9, 9))
	checked, earlier := 0, 0
	for _, f := range run(t, rec, w, opt) {
		if f.Year != year {
			continue
		}
		// altered from a day on: from the issue nothing may move, from a week before
		// it the catches and the water must.
		altered := func(from int) Forecast {
			other := rec
			other.Rows = slices.Clone(rec.Rows)
			for i := range other.Rows {
				if r := &other.Rows[i]; r.Date.Year() == year && r.Date.YearDay() >= from {
					r.Count = math.Round(r.Count*9*rng.Float64()) + 1
				}
			}
			for _, g := range run(t, other, altered(w, year, from), opt) {
				if g.Taxon == f.Taxon && g.Year == year {
					return g
				}
			}
			t.Fatalf("no forecast of %s", f.Taxon)
			return Forecast{}
		}
		same, before := altered(f.Issue), altered(f.Issue-7)
		for k, n := range f.By {
			if same.By[k] != n || same.Calendar != f.Calendar || same.Recent != f.Recent {
				t.Errorf("%s %+v: forecast moved from %v to %v", f.Taxon, k, n, same.By[k])
			}
			if before.By[k] != n {
				earlier++
			}
		}
		checked++
	}
	if checked != 5 || earlier < 10 {
		t.Errorf("%d forecasts compared, %d moved by the week before the issue", checked, earlier)
	}
}

// altered is the water with five degrees more in a year from a day on.
func altered(w *Temperatures, year, from int) *Temperatures {
	out := &Temperatures{Years: map[string]map[int][]float64{"": {}}}
	for y, v := range w.Years[""] {
		v = slices.Clone(v)
		if y == year {
			for d := from - 1; d < len(v); d++ {
				v[d] += 5
			}
		}
		out.Years[""][y] = v
	}
	return out
}

func TestEachRungKnowsWhatItSays(t *testing.T) {
	rec, w := inventRecords(3, 12, 0.5, 5, 3).read(t)
	const year = 2000
	disturb := func(taxa ...string) []Forecast {
		other := rec
		other.Rows = slices.Clone(rec.Rows)
		for i := range other.Rows {
			if r := &other.Rows[i]; r.Date.Year() == year && slices.Contains(taxa, r.Taxon) {
				r.Count = math.Round(r.Count * math.Exp(2*math.Sin(float64(r.Date.YearDay())/9)))
			}
		}
		return run(t, other, w, Options{LeadDays: 5})
	}
	plain, others, own := disturb(), disturb("taxon 0"), disturb("taxon 1")
	for i, f := range plain {
		if f.Year != year || f.Taxon != "taxon 1" {
			continue
		}
		a, b, c := Rungs[0], Rungs[1], Rungs[2]
		if others[i].By[a] != f.By[a] || own[i].By[a] != f.By[a] {
			t.Error("(a) knows catches of the season")
		}
		if others[i].By[b] == f.By[b] || own[i].By[b] != f.By[b] {
			t.Error("(b) must know the catches of others and not its own")
		}
		if own[i].By[c] == f.By[c] || others[i].By[c] == f.By[c] {
			t.Error("(c) must know both")
		}
	}
}

func TestPastOnlyFitsOnEarlierSeasonsOnly(t *testing.T) {
	rec, w := inventRecords(4, 14, 0.5, 5, 3).read(t)
	other := rec
	other.Rows = slices.DeleteFunc(slices.Clone(rec.Rows), func(r Record) bool { return r.Date.Year() > 2000 })
	opt := Options{LeadDays: 14, PastOnly: true, First: 2000, Last: 2000}
	a, b := run(t, rec, w, opt), run(t, other, w, opt)
	for i := range a {
		for _, k := range Rungs {
			if a[i].By[k] != b[i].By[k] {
				t.Errorf("%s: seasons after 2000 moved its forecast from %v to %v", a[i].Taxon, b[i].By[k], a[i].By[k])
			}
		}
	}
	opt.PastOnly = false
	if c := run(t, rec, w, opt); c[0].By[Rungs[0]] == a[0].By[Rungs[0]] {
		t.Error("all other seasons give the same as earlier ones alone")
	}
}

func TestDailyChancesBeatTheBaseRateAndAreHonest(t *testing.T) {
	rec, w := inventRecords(5, 16, 0.4, 5, 4).read(t)
	f := run(t, rec, w, Options{LeadDays: 14})
	scores, err := Daily(f, Rungs[0])
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range scores {
		if s.Skill.Value < 0.2 || s.Visits < 500 {
			t.Errorf("at least %d: skill %.2f over %d visits", s.Threshold, s.Skill.Value, s.Visits)
		}
		for _, r := range s.Reliability {
			// The invented catches scatter less than real ones, which tells at ten.
			if s.Threshold < 10 && r.N > 100 && math.Abs(r.Frequency()-r.P) > 0.2 {
				t.Errorf("at least %d: forecast %.2f, observed %.2f of %d", s.Threshold, r.P, r.Frequency(), r.N)
			}
		}
	}
}
