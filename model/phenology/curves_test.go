package phenology

import (
	"math"
	"testing"
)

// Reference: maximum likelihood in R of caddisflies of Hubbard Brook's watershed
// 5 (CC0), ../shared/checks/emergence-fit.
func TestCurvesFitAsTheReferenceDoes(t *testing.T) {
	type axis struct{ x, n []float64 }
	data := map[string]axis{}
	for _, year := range []string{"2019", "2022"} {
		for _, r := range shared(t, "checks/emergence-fit/hubbard-brook-w5-caddisfly-"+year+".csv") {
			for _, a := range []string{"doy", "dd4"} {
				v := data[year+a]
				v.x, v.n = append(v.x, num(t, r[a])), append(v.n, num(t, r["count"]))
				data[year+a] = v
			}
		}
	}
	rows := shared(t, "checks/emergence-fit/expected-fits.csv")
	if len(rows) != 20 {
		t.Fatalf("%d reference fits", len(rows))
	}
	for _, r := range rows {
		d := data[r["year"]+r["axis"]]
		for _, f := range Families {
			if f.String() != r["family"] {
				continue
			}
			got, err := FitCurve(f, d.x, d.n)
			if err != nil {
				t.Fatal(err)
			}
			name := r["year"] + " " + r["axis"] + " " + r["family"]
			if !close1(got.A, num(t, r["value1"]), 1e-3) || !close1(got.B, num(t, r["value2"]), 1e-3) {
				t.Errorf("%s: %.6g, %.6g; reference %s, %s", name, got.A, got.B, r["value1"], r["value2"])
			}
			if math.Abs(got.NegLogLik-num(t, r["neg_loglik"])) > 1e-3 {
				t.Errorf("%s: -log likelihood %.5f; reference %s", name, got.NegLogLik, r["neg_loglik"])
			}
			if !close1(f.Median(got.A, got.B), num(t, r["median"]), 1e-3) {
				t.Errorf("%s: median %.3f; reference %s", name, f.Median(got.A, got.B), r["median"])
			}
		}
	}
}

func TestACurveRefusesWhatIsNoSeason(t *testing.T) {
	for name, c := range map[string]struct{ x, n []float64 }{
		"nothing caught":   {[]float64{1, 2, 3}, []float64{0, 0, 0}},
		"x that falls":     {[]float64{1, 3, 2}, []float64{1, 2, 3}},
		"negative catches": {[]float64{1, 2, 3}, []float64{1, -2, 3}},
		"two visits":       {[]float64{1, 2}, []float64{1, 2}},
	} {
		if _, err := FitCurve(Normal, c.x, c.n); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}
