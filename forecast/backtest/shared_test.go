package backtest

import (
	"encoding/csv"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
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

func hubbard(t *testing.T) (Records, *Temperatures) {
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

func fuldaAir(t *testing.T) *Temperatures {
	var b strings.Builder
	b.WriteString("date,temp_c\n")
	for _, r := range shared(t, "breitenbach/air-fulda-daily.csv") {
		fmt.Fprintf(&b, "%s,%s\n", r["date"], r["air_mean_c"])
	}
	air, err := ReadAir("fulda", strings.NewReader(b.String()))
	if err != nil {
		t.Fatal(err)
	}
	return air
}

// The reference is the report on the model that this one follows, worked out with
// NumPy and SciPy on the same record: error below the plain calendar's in the median
// taxon, 14 days ahead, seasons 1988 to 1995 forward (22 taxa). The bounds are 1.5
// points below its figures of 9.2, 20.9 and 26.9 per cent, which are those with the
// spread of a taxon taken from the seasons of the fit alone; with that of all seasons,
// later ones among them, (b) is 23.3.
func TestBreitenbachForwardIsThatOfTheReference(t *testing.T) {
	f, err := Run(breitenbach(t).Build(40), fuldaAir(t), Options{LeadDays: 14, PastOnly: true, First: 1988})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.08, 0.20, 0.254} {
		s := Summarize(f, Rungs[i])
		t.Logf("rung %d: %+v", i, s)
		if s.Taxa != 22 || s.RMSE.Value < want {
			t.Errorf("rung %d: %.3f below the calendar's in %d taxa, %.3f wanted", i, s.RMSE.Value, s.Taxa, want)
		}
		if s.Coverage80 < 0.76 || s.Coverage80 > 0.88 {
			t.Errorf("rung %d: 80 %% ranges hold %.0f %%", i, 100*s.Coverage80)
		}
	}
	meansOfTheReference(t, f)
	scores, err := Daily(f, Rungs[0])
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range scores {
		t.Logf("at least %d: Brier %.4f, base rate %.4f", s.Threshold, s.Brier, s.BrierBase)
		if s.Threshold == 3 && s.Skill.Value < 0.15 {
			t.Errorf("Brier score %.4f, base rate's %.4f", s.Brier, s.BrierBase)
		}
	}
}

// meansOfTheReference compares the forecasts one by one: they lie within a tenth of
// a day of the reference's on the average of each rung, and none by over two days.
func meansOfTheReference(t *testing.T, f []Forecast) {
	t.Helper()
	file, err := os.Open("testdata/reference.csv")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = file.Close() }()
	r := csv.NewReader(file)
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	reference := map[string][]string{}
	for _, row := range rows[1:] {
		reference[row[0]+row[1]] = row[2:]
	}
	for i, k := range Rungs {
		var sum, n float64
		for _, g := range f {
			if want, ok := reference[g.Taxon+strconv.Itoa(g.Year)]; ok {
				d := math.Abs(g.By[k].Mean - number0(want[i]))
				sum, n = sum+d, n+1
				if d > 2 {
					t.Errorf("rung %d, %s %d: day %.1f, by the reference %s", i, g.Taxon, g.Year, g.By[k].Mean, want[i])
				}
			}
		}
		t.Logf("rung %d: %.3f days from the reference on the average of %.0f forecasts", i, sum/n, n)
		if n != 170 || sum/n > 0.1 {
			t.Errorf("rung %d: %.2f days from the reference on the average of %.0f forecasts", i, sum/n, n)
		}
	}
}

// The same, each season left out in turn: 4, 8 and 25 per cent by the reference.
func TestBreitenbachLeftOutIsThatOfTheReference(t *testing.T) {
	if os.Getenv("ECLOSE_LONG") == "" {
		t.Skip("takes some minutes: set ECLOSE_LONG=1")
	}
	f, err := Run(breitenbach(t).Build(40), fuldaAir(t), Options{LeadDays: 14, First: 1979})
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []float64{0.03, 0.065, 0.225} {
		s := Summarize(f, Rungs[i])
		t.Logf("rung %d: %+v", i, s)
		if s.RMSE.Value < want {
			t.Errorf("rung %d: %.3f below the calendar's, %.3f wanted", i, s.RMSE.Value, want)
		}
	}
}

// Hubbard Brook by lead. Five seasons decide nothing, so no skill is asserted,
// only that no forecast is much worse than the calendar's; the table goes to the
// log.
func TestHubbardBrookByLead(t *testing.T) {
	rec, water := hubbard(t)
	series := rec.Build(40)
	for _, lead := range []int{0, 14, 30, 60} {
		f, err := Run(series, water, Options{LeadDays: lead})
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range Rungs {
			for _, of := range ByTaxon(f) {
				s, g := Score(of, k)[0], GainBySeason(of, k)
				t.Logf("| %s | %d | %+v | %.1f | %.1f | %.0f (%.0f to %.0f) %% |", s.Taxon, lead, k, s.RMSEModel, s.RMSECalendar, 100*g.Value, 100*g.Low, 100*g.High)
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
		var got float64
		for _, v := range water.Of(r["watershed"], d.Year())[:d.YearDay()] {
			got += math.Max(0, v-4)
		}
		if diff := got - w[d.Year()-2018]; diff > 0.02 || diff < -0.02 {
			t.Errorf("watershed %s, %s: %.2f °C·d, not %.2f", r["watershed"], r["Date"], got, w[d.Year()-2018])
		}
		n++
	}
	if n != 10 {
		t.Errorf("%d dates compared", n)
	}
}
