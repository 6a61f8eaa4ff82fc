package sun

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// shared reads a file of the check data beside the repository, or skips.
func shared(t testing.TB, name string) []byte {
	t.Helper()
	dir := os.Getenv("ECLOSE_SHARED")
	if dir == "" {
		root, err := filepath.Abs(".")
		if err != nil {
			t.Fatal(err)
		}
		for {
			if _, err := os.Stat(filepath.Join(root, "go.mod")); err == nil {
				break
			}
			up := filepath.Dir(root)
			if up == root {
				t.Fatal("no go.mod above the test")
			}
			root = up
		}
		dir = filepath.Join(root, "..", "shared")
	}
	b, err := os.ReadFile(filepath.Join(dir, name))
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf("check data missing: %v", err)
		}
		t.Skipf("check data missing: %v", err)
	}
	return b
}

func table(t testing.TB, name string) []map[string]string {
	t.Helper()
	rows, err := csv.NewReader(bytes.NewReader(shared(t, name))).ReadAll()
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

func num(t testing.TB, s string) float64 {
	t.Helper()
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return v
}

// Reference: a full ephemeris (astropy 5.2.1, confirmed by ephem 4.1.4 within
// 0.2 s), 8 places and 12 dates; see ../shared/checks/PROVENANCE.md.
func TestAgainstAFullEphemeris(t *testing.T) {
	worst := map[string]float64{}
	n := 0
	for _, r := range table(t, "checks/solar/sun-8-places-12-dates.csv") {
		lat, lon := num(t, r["lat_deg"]), num(t, r["lon_deg"])
		date, err := time.Parse(time.DateOnly, r["date"])
		if err != nil {
			t.Fatal(err)
		}
		got := Day(date, lat, lon)
		where := r["place"] + " " + r["date"]
		limit := 10.0
		band := "below 70 degrees"
		if math.Abs(lat) >= 70 {
			limit, band = 30, "above"
		}
		want := map[string]State{"normal": Crosses, "polar_day": AlwaysAbove, "polar_night": AlwaysBelow}[r["state"]]
		if got.State != want {
			t.Errorf("%s: sun %v, want %v", where, got.State, want)
			continue
		}
		wantCivil := map[string]State{"normal": Crosses, "never_dark": AlwaysAbove, "no_twilight": AlwaysBelow}[r["civil_state"]]
		if got.CivilState != wantCivil {
			t.Errorf("%s: civil twilight %v, want %v", where, got.CivilState, wantCivil)
			continue
		}
		check := func(what, text string, is time.Time) {
			if text == "" {
				if !is.IsZero() {
					t.Errorf("%s: %s at %v, want none", where, what, is)
				}
				return
			}
			ref, err := time.Parse(time.RFC3339, text)
			if err != nil {
				t.Fatal(err)
			}
			n++
			off := math.Abs(is.Sub(ref).Seconds())
			worst[band] = math.Max(worst[band], off)
			if off > limit {
				t.Errorf("%s: %s %v is %.1f s from %v", where, what, is, off, ref)
			}
		}
		check("sunrise", r["sunrise_utc"], got.Rise)
		check("transit", r["transit_utc"], got.Transit)
		check("sunset", r["sunset_utc"], got.Set)
		check("civil dawn", r["civil_dawn_utc"], got.CivilDawn)
		check("civil dusk", r["civil_dusk_utc"], got.CivilDusk)
		if math.Abs(got.DaylengthHours-num(t, r["day_length_h"])) > 2*limit/3600 {
			t.Errorf("%s: day of %.5f h, want %s", where, got.DaylengthHours, r["day_length_h"])
		}
	}
	t.Logf("%d instants, worst error in seconds: %v", n, worst)
}

// Rise and set as printed in the NREL SPA report, its tester, the NREL web
// calculator and by USNO. Sunsets of SPA's UTC day that belong to the previous
// local day are left out: see the notes of the table.
func TestAgainstPublishedRiseAndSet(t *testing.T) {
	n := 0
	for _, r := range table(t, "checks/solar/published-rise-set.csv") {
		if r["lat_deg"] == "" {
			continue // a polar row without a place
		}
		lat, lon, zone := num(t, r["lat_deg"]), num(t, r["lon_deg"]), num(t, r["utc_offset_h"])
		date, err := time.Parse(time.DateOnly, r["date"])
		if err != nil {
			t.Fatal(err)
		}
		got := Day(date, lat, lon)
		res := num(t, r["resolution_s"])
		check := func(what, text string, is time.Time) {
			if text == "" {
				return
			}
			if text == "none" {
				if !is.IsZero() {
					t.Errorf("%s %s: %s at %v, want none", r["place"], r["date"], what, is)
				}
				return
			}
			layout := "2006-01-02 15:04:05"
			if len(text) == 5 {
				layout = "2006-01-02 15:04"
			}
			ref, err := time.Parse(layout, r["date"]+" "+text)
			if err != nil {
				t.Fatal(err)
			}
			ref = ref.Add(-time.Duration(zone * float64(time.Hour)))
			n++
			if off := math.Abs(is.Sub(ref).Seconds()); off > 10+res {
				t.Errorf("%s %s %s (%s): %s %v is %.0f s from %v", r["source"], r["place"], r["date"], r["note"], what, is, off, ref)
			}
		}
		if zoned := r["note"]; !strings.Contains(zoned, "previous local day") {
			check("sunset", r["sunset_local"], got.Set)
		}
		check("sunrise", r["sunrise_local"], got.Rise)
		check("transit", r["transit_local"], got.Transit)
	}
	t.Logf("%d instants", n)
}

// Intermediate quantities of the same equations for two epochs. T is printed to
// 1e-9 century, which moves the sun by 4e-5 degrees: no closer check is possible.
func TestAgainstPrintedSteps(t *testing.T) {
	var f struct {
		Rows []struct {
			T    float64 `json:"julian_century"`
			Decl float64 `json:"declination_deg"`
			EoT  float64 `json:"equation_of_time_min"`
		}
	}
	if err := json.Unmarshal(shared(t, "checks/solar/noaa-equation-steps.json"), &f); err != nil {
		t.Fatal(err)
	}
	for _, r := range f.Rows[:2] {
		decl, eot := solar(r.T)
		if math.Abs(decl-r.Decl) > 1e-5 || math.Abs(eot-r.EoT) > 1e-5 {
			t.Errorf("T %g: declination %.8f (%.8f), equation of time %.8f (%.8f)", r.T, decl, r.Decl, eot, r.EoT)
		}
	}
}

// Meeus, Astronomical Algorithms, 2nd ed., examples 25.a and 28.a: 1992-10-13
// 0h TD, declination -7 deg 47' 06", equation of time +13 m 42.6 s (the latter
// from his high-accuracy sun).
func TestMeeusExample(t *testing.T) {
	decl, eot := solar(-0.072183436)
	if math.Abs(decl+(7+47.0/60+6.0/3600)) > 0.5/3600 {
		t.Errorf("declination %.6f", decl)
	}
	if math.Abs(eot-(13+42.6/60)) > 0.1 {
		t.Errorf("equation of time %.4f min", eot)
	}
}

func TestPropertiesOfTheDay(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 20000 {
		lat, lon := rng.Float64()*180-90, rng.Float64()*360-180
		day := time.Date(2024, 1, 1+rng.IntN(1500), 0, 0, 0, 0, time.UTC)
		d := Day(day, lat, lon)
		if !(d.DaylengthHours >= 0 && d.DaylengthHours <= 24.3) {
			t.Fatalf("%v %g %g: day of %g h", day, lat, lon, d.DaylengthHours)
		}
		if d.State == Crosses && (!d.Rise.Before(d.Transit) || !d.Transit.Before(d.Set)) {
			t.Fatalf("%v %g %g: order of %+v", day, lat, lon, d)
		}
		if d.State == Crosses && d.CivilState == Crosses && (d.CivilDawn.After(d.Rise) || d.CivilDusk.Before(d.Set)) {
			t.Fatalf("%v %g %g: twilight inside the day: %+v", day, lat, lon, d)
		}
		if d.State == AlwaysAbove && d.CivilState != AlwaysAbove || d.CivilState == AlwaysBelow && d.State != AlwaysBelow {
			t.Fatalf("%v %g %g: twilight against the day: %+v", day, lat, lon, d)
		}
	}
}

func TestPolesAndEquator(t *testing.T) {
	june, december := time.Date(2025, 6, 21, 0, 0, 0, 0, time.UTC), time.Date(2025, 12, 21, 0, 0, 0, 0, time.UTC)
	for _, tc := range []struct {
		what string
		day  time.Time
		lat  float64
		want State
	}{
		{"the north pole in June", june, 90, AlwaysAbove},
		{"the north pole in December", december, 90, AlwaysBelow},
		{"the south pole in June", june, -90, AlwaysBelow},
		{"the equator", june, 0, Crosses},
	} {
		if got := Day(tc.day, tc.lat, 0); got.State != tc.want {
			t.Errorf("%s: %v, want %v", tc.what, got.State, tc.want)
		}
	}
}

func BenchmarkDay(b *testing.B) {
	day := time.Date(2025, 5, 1, 0, 0, 0, 0, time.UTC)
	for b.Loop() {
		Day(day, 45, -111)
	}
}
