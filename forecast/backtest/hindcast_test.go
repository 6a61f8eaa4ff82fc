package backtest

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

func run(t *testing.T, rec Records, w *Water, opt Options) []Forecast {
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
	if r := ratio(run(t, rec, w, opt)); r > 0.7 {
		t.Errorf("with water the error is %.2f of the calendar's", r)
	}
	without := ratio(run(t, rec, nil, opt))
	if without < 0.9 {
		t.Errorf("without water the error is %.2f of the calendar's: from where?", without)
	}
}

// A rule that is not there must not be found: dates that answer to nothing, and
// each taxon's own.
func TestChanceDatesAreForecastNoWorseThanByTheCalendar(t *testing.T) {
	var sum float64
	const runs = 6
	for seed := range uint64(runs) {
		rec, w := inventRecords(10+seed, 14, 0, 7, 3).read(t)
		r := ratio(run(t, rec, w, Options{LeadDays: 14, Others: true}))
		if r > 1.12 {
			t.Errorf("record %d: error %.2f of the calendar's", seed, r)
		}
		sum += r
	}
	if m := sum / runs; m > 1.03 || m < 0.93 {
		t.Errorf("error %.3f of the calendar's on average", m)
	}
}

func TestCoverageIsWhatItSays(t *testing.T) {
	in, n := 0, 0
	for seed := range uint64(8) {
		rec, w := inventRecords(30+seed, 16, 0.5, 5, 4).read(t)
		for _, f := range run(t, rec, w, Options{LeadDays: 14, Others: true, Catches: true}) {
			if lo, hi := f.Interval(0.8); lo <= f.Observed && f.Observed <= hi {
				in++
			}
			n++
		}
	}
	if c := float64(in) / float64(n); c < 0.75 || c > 0.87 {
		t.Errorf("80 %% ranges hold %.1f %% of %d dates", 100*c, n)
	}
}

// Whatever comes after the day of issue, of any taxon and of the water, must
// not move the forecast; and nothing of the season at all may enter the fit.
func TestNothingAfterTheIssueMovesAForecast(t *testing.T) {
	rec, w := inventRecords(2, 12, 0.5, 5, 5).read(t)
	opt := Options{LeadDays: 10, Catches: true, Others: true}
	const year = 1996
	before := run(t, rec, w, opt)
	rng := rand.New(rand.NewPCG(9, 9))
	checked := 0
	for _, f := range before {
		if f.Year != year {
			continue
		}
		other := rec
		other.Rows = slices.Clone(rec.Rows)
		for i := range other.Rows {
			if r := &other.Rows[i]; r.Date.Year() == year && r.Date.YearDay() > f.Issue {
				r.Count *= 1 + 9*rng.Float64()
			}
		}
		water := &Water{Years: map[string]map[int][]float64{"": {}}}
		for y, v := range w.Years[""] {
			v = slices.Clone(v)
			if y == year {
				for d := f.Issue; d < len(v); d++ {
					v[d] += 5
				}
			}
			water.Years[""][y] = v
		}
		for _, g := range run(t, other, water, opt) {
			if g.Taxon != f.Taxon || g.Year != year {
				continue
			}
			if g.Model != f.Model || !slices.Equal(g.Members, f.Members) || g.Calendar != f.Calendar {
				t.Errorf("%s: forecast moved from %.2f to %.2f", f.Taxon, f.Model, g.Model)
			}
			checked++
		}
	}
	if checked != 5 {
		t.Errorf("%d forecasts compared", checked)
	}
}

func TestWithoutCatchesAndOthersNothingOfTheSeasonsRecordEnters(t *testing.T) {
	rec, w := inventRecords(3, 10, 0.5, 5, 3).read(t)
	const year = 1995
	other := rec
	other.Rows = slices.Clone(rec.Rows)
	for i := range other.Rows {
		if r := &other.Rows[i]; r.Date.Year() == year {
			r.Count *= math.Exp(3 * math.Sin(float64(r.Date.YearDay())/20))
		}
	}
	opt := Options{LeadDays: 10}
	a, b := run(t, rec, w, opt), run(t, other, w, opt)
	if len(a) != len(b) {
		t.Fatalf("%d and %d forecasts", len(a), len(b))
	}
	for i := range a {
		if a[i].Year == year && (a[i].Model != b[i].Model || a[i].Calendar != b[i].Calendar) {
			t.Errorf("%s: forecast moved from %.3f to %.3f", a[i].Taxon, a[i].Model, b[i].Model)
		}
	}
}

func TestPastOnlyUsesEarlierSeasonsAlone(t *testing.T) {
	rec, w := inventRecords(4, 12, 0.5, 5, 2).read(t)
	cut := rec
	cut.Rows = nil
	for _, r := range rec.Rows {
		if r.Date.Year() <= 1996 {
			cut.Rows = append(cut.Rows, r)
		}
	}
	opt := Options{LeadDays: 10, PastOnly: true, Catches: true, Others: true}
	short := map[[2]any]float64{}
	for _, f := range run(t, cut, w, opt) {
		short[[2]any{f.Taxon, f.Year}] = f.Model
	}
	n := 0
	for _, f := range run(t, rec, w, opt) {
		if v, ok := short[[2]any{f.Taxon, f.Year}]; ok {
			n++
			if v != f.Model {
				t.Errorf("%s %d: %.3f with later seasons in the file, %.3f without", f.Taxon, f.Year, f.Model, v)
			}
		}
	}
	if n == 0 {
		t.Error("nothing compared")
	}
}

func TestTheSameRecordGivesTheSameForecasts(t *testing.T) {
	rec, w := inventRecords(5, 8, 0.5, 5, 2).read(t)
	opt := Options{LeadDays: 14, Catches: true, Others: true}
	a, b := run(t, rec, w, opt), run(t, rec, w, opt)
	for i := range a {
		if a[i].Model != b[i].Model || a[i].Taxon != b[i].Taxon || a[i].Year != b[i].Year {
			t.Fatalf("%v and %v", a[i], b[i])
		}
	}
}
