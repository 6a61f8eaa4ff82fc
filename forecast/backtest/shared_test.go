package backtest

import (
	"encoding/csv"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast/verify"
)

// shared opens a file of the check data beside the repository. Without it the
// test is skipped, and says so; in CI that is a failure.
func shared(t *testing.T, name string) []map[string]string {
	t.Helper()
	base := os.Getenv("ECLOSE_SHARED")
	if base == "" {
		dir, err := os.Getwd()
		if err != nil {
			t.Fatal(err)
		}
		for {
			if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
				break
			}
			if filepath.Dir(dir) == dir {
				t.Fatal("no go.mod above the test")
			}
			dir = filepath.Dir(dir)
		}
		base = filepath.Join(dir, "..", "shared")
	}
	f, err := os.Open(filepath.Join(base, "emergence", name))
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf("check data missing: %v", err)
		}
		t.Skipf("check data absent (set ECLOSE_SHARED): %v", err)
	}
	defer func() { _ = f.Close() }()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	var out []map[string]string
	for _, r := range rows[1:] {
		m := map[string]string{}
		for i, h := range rows[0] {
			m[h] = r[i]
		}
		out = append(out, m)
	}
	return out
}

func number0(s string) float64 {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		return 0
	}
	return v
}

func breitenbach(t *testing.T) Records {
	var b strings.Builder
	b.WriteString("date,taxon,count\n")
	for _, r := range shared(t, "breitenbach/trapB-ept-daily.csv") {
		fmt.Fprintf(&b, "%s,%s,%g\n", r["date"], r["code"], number0(r["males"])+number0(r["females"])+number0(r["unsexed"]))
	}
	rec, err := ReadRecords("breitenbach", strings.NewReader(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

func hubbard(t *testing.T) (Records, *Water) {
	var b, w strings.Builder
	b.WriteString("date,taxon,count,site\n")
	for _, r := range shared(t, "hubbard-brook/sticky-trap-counts.csv") {
		if s := r["watershed"]; s == "5" || s == "6" {
			for _, k := range []string{"dipteran_large", "dipteran_small", "caddisfly_large", "caddisfly_small", "stonefly_large", "mayfly_large"} {
				order, _, _ := strings.Cut(k, "_")
				fmt.Fprintf(&b, "%s,%s,%g,%s\n", r["date"], order, number0(r[k]), s)
			}
		}
	}
	w.WriteString("date,temp_c,site\n")
	for _, r := range shared(t, "hubbard-brook/stream-temp-daily-w5-w6.csv") {
		for _, s := range []string{"5", "6"} {
			fmt.Fprintf(&w, "%s,%s,%s\n", r["date"], r["w"+s+"_temp_c_interp"], s)
		}
	}
	rec, err := ReadRecords("hubbard", strings.NewReader(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	water, err := ReadWater("hubbard", strings.NewReader(w.String()))
	if err != nil {
		t.Fatal(err)
	}
	return rec, water
}

// The Breitenbach record as it is delivered here. The bounds are the ones that
// were set for the method before it was built; RESULTS.md tells how often the
// record was looked at on the way.
func TestBreitenbachIsForecastBetterThanByTheCalendar(t *testing.T) {
	f, err := Run(breitenbach(t).Build(40), nil, Options{LeadDays: 14, Catches: true, Others: true})
	if err != nil {
		t.Fatal(err)
	}
	var rmse, crps []float64
	worse, in, n, unlucky := 0, 0.0, 0.0, 0.0
	for _, s := range Score(f) {
		if s.Seasons < verify.FewSeasons {
			continue
		}
		r := s.RMSEModel / s.RMSECalendar
		rmse, crps = append(rmse, r), append(crps, s.CRPSModel/s.CRPSCalendar)
		if r > 1.03 {
			worse++
			t.Logf("%s: %.1f days against the calendar's %.1f in %d seasons", s.Taxon, s.RMSEModel, s.RMSECalendar, s.Seasons)
			years, m, c := SquaredErrors(f, s.Taxon)
			skill := verify.BootstrapBySeason(years, RMSEReduction(m, c), 0.9, 4000, 1)
			t.Logf("that is %.0f %% less, %.0f to %.0f with other seasons of the same kind (90 %%)", 100*skill.Value, 100*skill.Low, 100*skill.High)
		}
		_, m, c := SquaredErrors(f, s.Taxon)
		unlucky += chanceOfWorse(m, c)
		in += s.Coverage80 * float64(s.Seasons)
		n += float64(s.Seasons)
	}
	if m := median(rmse); m > 0.85 {
		t.Errorf("error %.3f of the calendar's in the middle taxon", m)
	}
	if m := median(crps); m > 0.85 {
		t.Errorf("crps %.3f of the calendar's in the middle taxon", m)
	}
	t.Logf("of %d taxa %.1f would be worse by over 3 %% with other seasons of the same kind", len(rmse), unlucky)
	// One small taxon is known to be worse; none is the aim.
	if worse > 1 {
		t.Errorf("%d of %d taxa are worse than the calendar by over 3 %%", worse, len(rmse))
	}
	if c := in / n; c < 0.75 || c > 0.85 {
		t.Errorf("80 %% ranges hold %.1f %% of dates", 100*c)
	}
}

// chanceOfWorse is how often as many seasons, drawn from these with replacement, have a
// root mean square error by over 3 % above the calendar's.
func chanceOfWorse(model, calendar []float64) float64 {
	rng := rand.New(rand.NewPCG(5, 1))
	const draws = 4000
	n := 0.0
	for range draws {
		m, c := 0.0, 0.0
		for range model {
			i := rng.IntN(len(model))
			m, c = m+model[i], c+calendar[i]
		}
		if m > 1.03*1.03*c {
			n++
		}
	}
	return n / draws
}

// Hubbard Brook by lead. Five seasons decide nothing, so no skill is asserted,
// only that no forecast is much worse than the calendar's; the table goes to the
// log.
func TestHubbardBrookByLead(t *testing.T) {
	rec, water := hubbard(t)
	series := rec.Build(40)
	for _, catches := range []bool{false, true} {
		for _, lead := range []int{0, 7, 14, 21, 30, 45, 60} {
			f, err := Run(series, water, Options{LeadDays: lead, Catches: catches, Others: true})
			if err != nil {
				t.Fatal(err)
			}
			for _, s := range Score(f) {
				years, m, c := SquaredErrors(f, s.Taxon)
				skill := verify.BootstrapBySeason(years, RMSEReduction(m, c), 0.9, 1000, 1)
				t.Logf("| %s | %d | %v | %.1f | %.1f | %.0f (%.0f to %.0f) %% |", s.Taxon, lead, catches, s.RMSEModel, s.RMSECalendar, 100*skill.Value, 100*skill.Low, 100*skill.High)
				if s.RMSEModel > 1.15*s.RMSECalendar {
					t.Errorf("%s at %d days: %.1f against %.1f days", s.Taxon, lead, s.RMSEModel, s.RMSECalendar)
				}
			}
		}
	}
}

// The water sums that others found at the authors' spring peaks and at the
// caddisflies' medians, 2018-22 (see the PROVENANCE of the check data).
func TestHubbardBrookDegreeDaysAtKnownDates(t *testing.T) {
	_, water := hubbard(t)
	want := map[string][]float64{
		"5": {232.63, 122.55, 114.75, 126.12, 111.85},
		"6": {85.22, 71.94, 133.37, 129.79, 113.65},
	}
	n := 0
	for _, r := range shared(t, "hubbard-brook/authors-diptera-spring-peak.csv") {
		w, ok := want[r["watershed"]]
		d, err := time.Parse(time.DateOnly, r["Date"])
		if !ok || err != nil || d.Year() < 2018 || d.Year() > 2022 {
			continue
		}
		got := degreeDays(water.Of(r["watershed"], d.Year()), 4)[d.YearDay()-1]
		if diff := got - w[d.Year()-2018]; diff > 0.02 || diff < -0.02 {
			t.Errorf("watershed %s, %s: %.2f °C·d, not %.2f", r["watershed"], r["Date"], got, w[d.Year()-2018])
		}
		n++
	}
	if n != 10 {
		t.Errorf("%d dates compared", n)
	}
}
