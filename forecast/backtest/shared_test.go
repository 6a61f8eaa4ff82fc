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

func TestDump(t *testing.T) {
	series := breitenbach(t).Build(40)
	air := fuldaAir(t)
	for _, past := range []bool{true, false} {
		opt := Options{LeadDays: 14, PastOnly: past, First: 1979}
		if past {
			opt.First = 1988
		}
		f, err := Run(series, air, opt)
		if err != nil {
			t.Fatal(err)
		}
		for _, k := range append(Rungs, Knowledge{Catches: true}) {
			t.Logf("past %v %+v: %+v", past, k, Summarize(f, k))
		}
		for _, x := range f {
			fmt.Printf("D,%v,%s,%d,%.0f,%.3f,%.3f", past, x.Taxon, x.Year, x.Observed, x.Calendar.Mean, x.Recent.Mean)
			for _, k := range append(Rungs, Knowledge{Catches: true}) {
				fmt.Printf(",%.3f,%.3f", x.By[k].Mean, x.By[k].SD)
			}
			fmt.Println()
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
