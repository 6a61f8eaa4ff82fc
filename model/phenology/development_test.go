package phenology

import (
	"math"
	"testing"
)

// Reference fits of development times at constant temperature, 2 decimals or
// more as printed; ../shared/checks/emergence-fit/development-fits.csv. The
// points are those of Elliott & Humpesch 1980, Humpesch 1984, Humpesch & Elliott
// 1980 and Sweeney et al. 2018, as cited in ../shared/emergence.
func TestDevelopmentLawsFitAsTheReferenceDoes(t *testing.T) {
	temp, days := map[string][]float64{}, map[string][]float64{}
	for _, r := range shared(t, "emergence/development-checks/constant-temperature-development.csv") {
		s := r["series"]
		temp[s], days[s] = append(temp[s], num(t, r["temp_c"])), append(days[s], num(t, r["days"]))
	}
	within := map[string][2]float64{"all": {0, 99}, "5-21.5C": {5, 21.5}, "5-16C": {5, 16}, "<=27C": {0, 27}}
	for _, r := range shared(t, "checks/emergence-fit/development-fits.csv") {
		s, lim := r["series"], within[r["subset"]]
		var x, y []float64
		for i, v := range temp[s] {
			if v >= lim[0] && v <= lim[1] {
				x, y = append(x, v), append(y, days[s][i])
			}
		}
		name := s + " " + r["subset"]
		if float64(len(x)) != num(t, r["n"]) {
			t.Errorf("%s: %d points, not %s", name, len(x), r["n"])
			continue
		}
		p, err := FitPower(x, y)
		if err != nil {
			t.Fatal(err)
		}
		l, err := FitLinear(x, y)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range []struct {
			what      string
			got, want float64
			tol       float64
		}{
			{"power a", p.A, num(t, r["power_a"]), 6e-5}, {"power b", p.B, num(t, r["power_b"]), 6e-5}, {"power r2", p.R2, num(t, r["power_r2"]), 6e-5},
			{"threshold", l.T0, num(t, r["linear_T0"]), 6e-4}, {"requirement", l.K, num(t, r["linear_K"]), 6e-2}, {"linear r2", l.R2, num(t, r["linear_r2"]), 6e-5},
		} {
			if math.Abs(c.got-c.want) > c.tol {
				t.Errorf("%s: %s %.5f, reference %.5f", name, c.what, c.got, c.want)
			}
		}
	}
	laws := map[string]PowerLaw{}
	lines := map[string]LinearLaw{}
	for s := range temp {
		laws[s], _ = FitPower(temp[s], days[s])
		lines[s], _ = FitLinear(temp[s], days[s])
	}
	n := 0
	for _, r := range shared(t, "checks/emergence-fit/development-observed-vs-fitted.csv") {
		s, x := r["series"], num(t, r["temp_c"])
		if got, want := laws[s].Days(x), num(t, r["power_days"]); math.Abs(got-want) > 0.006+1e-4*want {
			t.Errorf("%s at %g °C: power law %.3f days, reference %.3f", s, x, got, want)
		}
		// The reference prints the line below its threshold as negative days.
		if want := num(t, r["linear_days"]); want < 0 {
			if !math.IsInf(lines[s].Days(x), 1) {
				t.Errorf("%s at %g °C: linear law %.3f days below its threshold", s, x, lines[s].Days(x))
			}
		} else {
			if got := lines[s].Days(x); math.Abs(got-want) > 0.006+1e-4*want {
				t.Errorf("%s at %g °C: linear law %.3f days, reference %.3f", s, x, got, want)
			}
		}
		n++
	}
	t.Logf("%d points compared", n)
}

func TestSummedRatesAtConstantTemperatureGiveTheLawBack(t *testing.T) {
	l := LinearLaw{T0: 3, K: 150}
	p := PowerLaw{A: 6.6425, B: -1.5024}
	water := make([]float64, 400)
	for i := range water {
		water[i] = 8
	}
	for name, days := range map[string]func(float64) float64{"linear": l.Days, "power": p.Days} {
		got, ok := Complete(water, 10, days)
		if want := 10 + days(8); !ok || math.Abs(got-want) > 1e-9 {
			t.Errorf("%s: complete on %.4f, not %.4f", name, got, want)
		}
	}
	if _, ok := Complete(water[:12], 10, l.Days); ok {
		t.Error("complete within two days")
	}
	if !math.IsInf(l.Days(2), 1) {
		t.Error("develops below its threshold")
	}
}
