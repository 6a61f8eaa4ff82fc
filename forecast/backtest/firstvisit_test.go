package backtest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// inventRivers are the same insects at several rivers, whose seasons are early or
// late together, each river some days apart from the others. change may alter a
// catch.
func inventRivers(t *testing.T, change func(site string, year, day int, n float64) float64) []Series {
	t.Helper()
	rng := rand.New(rand.NewPCG(2, 7))
	var b strings.Builder
	b.WriteString("date,taxon,count,site\n")
	shared := make([]float64, 12)
	for y := range shared {
		shared[y] = 7 * rng.NormFloat64()
	}
	for r := range 4 {
		site, river := fmt.Sprintf("river %d", r), 5*rng.NormFloat64()
		for y, s := range shared {
			for k := range 4 {
				t50 := 130 + 15*float64(k) + river + s + 2*rng.NormFloat64()
				for d := 4; d < 300; d += 4 {
					f := 0.5 * (math.Erf((float64(d)-t50)/12) - math.Erf((float64(d)-4-t50)/12))
					n := math.Floor(200*f + rng.Float64())
					if change != nil {
						n = change(site, 1990+y, d, n)
					}
					fmt.Fprintf(&b, "%s,taxon %d,%g,%s\n", day(1990+y, d), k, n, site)
				}
			}
		}
	}
	rec, err := ReadRecords("records", strings.NewReader(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	return rec.Build(40)
}

func visits(t *testing.T, series []Series) []Forecast {
	t.Helper()
	f, err := FirstVisits(series, nil, Options{LeadDays: 7})
	if err != nil {
		t.Fatal(err)
	}
	return f
}

func TestAFirstVisitGainsByWhatOtherRiversSee(t *testing.T) {
	f := visits(t, inventRivers(t, nil))
	if len(f) != 4*4*12 {
		t.Fatalf("%d first visits", len(f))
	}
	alone, others := Summarize(f, Knowledge{}), Summarize(f, Knowledge{Others: true})
	t.Logf("error below the book's %.0f%%, with other rivers seen %.0f%%; ranges hold %.0f%% and %.0f%%", 100*alone.RMSE.Value, 100*others.RMSE.Value, 100*alone.Coverage80, 100*others.Coverage80)
	// Without temperature next to nothing but the book is known; a shared season is
	// worth more.
	if math.Abs(alone.RMSE.Value) > 0.1 || others.RMSE.Value < 0.15 {
		t.Errorf("alone %.2f, with others %.2f of the book's error", alone.RMSE.Value, others.RMSE.Value)
	}
	if others.Coverage80 < 0.7 || others.Coverage80 > 0.95 {
		t.Errorf("80%% ranges hold %.0f%%", 100*others.Coverage80)
	}
}

// Nothing of the river itself, and nothing that others caught on the day of issue or
// later in the season, moves a forecast for somebody who was never there.
func TestNothingOfARiverEntersItsFirstVisit(t *testing.T) {
	before := visits(t, inventRivers(t, nil))
	own := visits(t, inventRivers(t, func(site string, year, day int, n float64) float64 {
		if site == "river 1" && year != 1995 && day > 60 && day < 220 {
			return n + float64((day*7+year)%50) // other dates, as many seasons
		}
		return n
	}))
	const issue = 120
	late := visits(t, inventRivers(t, func(site string, year, day int, n float64) float64 {
		if year == 1995 && site != "river 1" && day >= issue {
			return n + 90
		}
		return n
	}))
	compared, moved := 0, 0
	for i, f := range before {
		if f.Site != "river 1" || f.Year != 1995 {
			continue
		}
		compared++
		if fmt.Sprint(own[i].By, own[i].Calendar) != fmt.Sprint(f.By, f.Calendar) {
			t.Errorf("%s: the river's own record moved its first visit", f.Taxon)
		}
		switch same := fmt.Sprint(late[i].By, late[i].Calendar) == fmt.Sprint(f.By, f.Calendar); {
		case f.Issue <= issue && !same:
			t.Errorf("%s: what others caught from day %d on moved the forecast of day %d", f.Taxon, issue, f.Issue)
		case f.Issue > issue && !same:
			moved++
		}
	}
	if compared != 4 || moved == 0 {
		t.Errorf("%d compared, %d moved by what was known", compared, moved)
	}
}
