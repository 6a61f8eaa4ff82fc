package verify

import (
	"encoding/json"
	"math"
	"testing"
)

// The check files print 12 significant digits; where fewer are printed the
// tolerance beside the check says so.
const tight = 1e-9

// brier is the mean squared difference of probability and outcome (Brier 1950,
// Mon. Wea. Rev. 78, 1-3, halved): what the terms of Decompose must add up to.
func brier(p []float64, y []bool) float64 {
	return mean(each(len(p), func(i int) float64 { return (p[i] - unit(y[i])) * (p[i] - unit(y[i])) }))
}

// expand turns counts per probability into one forecast per case.
func expand(rows [][3]float64) (p []float64, y []bool) {
	for _, r := range rows {
		for i := range int(r[1]) {
			p = append(p, r[0])
			y = append(y, i < int(r[2]))
		}
	}
	return p, y
}

func TestProbabilityOfRainTampere2003(t *testing.T) {
	type event struct {
		N     int     `json:"n"`
		Brier float64 `json:"brier"`
		Rel   float64 `json:"reliability"`
		Res   float64 `json:"resolution"`
		Unc   float64 `json:"uncertainty"`
		BSS   float64 `json:"bss_sample_climatology"`
		ROC   float64 `json:"roc_area"`
	}
	type rows struct {
		Rows [][]float64 `json:"rows"`
	}
	var want map[string]json.RawMessage
	sharedJSON(t, "fmi-tampere-2003-scores.json", &want)
	data := sharedCSV(t, "fmi-tampere-2003-pop.csv")
	for _, lead := range []string{"p24", "p48"} {
		t.Run(lead, func(t *testing.T) {
			var w struct {
				Rain  event `json:"rain"`
				Table rows  `json:"rain_table"`
				Bars  rows  `json:"consistency_bars_exact_binomial"`
			}
			if err := json.Unmarshal(want[lead], &w); err != nil {
				t.Fatal(err)
			}
			var p []float64
			var y []bool
			for i := range data.rows {
				obs := data.num(t, i, "obs_mm")
				dry, light, h := data.num(t, i, lead+"_dry"), data.num(t, i, lead+"_light"), data.num(t, i, lead+"_heavy")
				if math.IsNaN(obs + dry + light + h) {
					continue
				}
				// The forecasts are tenths: light + heavy is brought back to one.
				p, y = append(p, math.Round(10*(light+h))/10), append(y, obs > 0.2)
			}
			if len(p) != w.Rain.N {
				t.Fatalf("%d complete days, want %d", len(p), w.Rain.N)
			}
			bins := Distinct(p, y)
			d := Decompose(bins)
			near(t, "Brier", d.Brier, w.Rain.Brier, tight)
			near(t, "reliability", d.Reliability, w.Rain.Rel, tight)
			near(t, "resolution", d.Resolution, w.Rain.Res, tight)
			near(t, "uncertainty", d.Uncertainty, w.Rain.Unc, tight)
			near(t, "Brier skill in sample", Skill(d.Brier, d.Uncertainty), w.Rain.BSS, tight)
			near(t, "ROC area", ROCArea(p, y), w.Rain.ROC, tight)
			for i, r := range w.Table.Rows {
				if bins[i].N != int(r[1]) || bins[i].Events != int(r[2]) || math.Abs(bins[i].P-r[0]) > 1e-12 {
					t.Errorf("bin %d is %+v, want %v", i, bins[i], r)
				}
			}
			// Resampled bars must agree with the exact binomial ones of the file
			// but for the bin counts, which they let vary: by less than one event
			// in a bin. A certain event has no bar, whatever the file says.
			edges := each(12, func(i int) float64 { return float64(i)/10 - 0.05 })
			for i, pt := range Reliability(p, y, edges, 0.95, 2000, 1) {
				r := w.Bars.Rows[i]
				if r[0] == 1 {
					continue
				}
				if n := float64(pt.N); math.Abs(pt.Low*n-r[3]) > 1 || math.Abs(pt.High*n-r[6]) > 1 {
					t.Errorf("resampled bar at p=%g is %.2f-%.2f events, exact %g-%g", pt.P, pt.Low*n, pt.High*n, r[3], r[6])
				}
			}
		})
	}
}

func TestIcingForecasts1999(t *testing.T) {
	var w struct {
		Rows   [][3]float64 `json:"rows"`
		Scores struct {
			Brier float64 `json:"brier"`
			Rel   float64 `json:"reliability"`
			Res   float64 `json:"resolution"`
			Unc   float64 `json:"uncertainty"`
			BSS   float64 `json:"bss_sample_climatology"`
			ROC   float64 `json:"roc_area"`
		} `json:"scores"`
	}
	sharedJSON(t, "icing-1999-table.json", &w)
	p, y := expand(w.Rows)
	d := Decompose(Distinct(p, y))
	near(t, "Brier", brier(p, y), w.Scores.Brier, tight)
	near(t, "reliability", d.Reliability, w.Scores.Rel, tight)
	near(t, "resolution", d.Resolution, w.Scores.Res, tight)
	near(t, "uncertainty", d.Uncertainty, w.Scores.Unc, tight)
	near(t, "skill", Skill(d.Brier, d.Uncertainty), w.Scores.BSS, tight)
	near(t, "ROC area", ROCArea(p, y), w.Scores.ROC, tight)
	// Ten equal bins lump 0.02 with 0.05 and must still add up, by the
	// within-bin terms, and drop no forecast.
	b := Binned(p, y, EqualBins(10))
	lumped := Decompose(b)
	near(t, "Brier from lumped bins", lumped.Brier, w.Scores.Brier, tight)
	if lumped.WithinVariance == 0 {
		t.Error("lumped bins report no variance within")
	}
	var n int
	for _, k := range b {
		n += k.N
	}
	if n != len(p) {
		t.Errorf("ten bins hold %d of %d forecasts", n, len(p))
	}
}

func TestWilksTable73(t *testing.T) {
	var w struct {
		Rows    [][3]float64 `json:"rows"`
		Derived struct {
			Rel   float64 `json:"reliability"`
			Res   float64 `json:"resolution"`
			Unc   float64 `json:"uncertainty"`
			Brier float64 `json:"brier"`
			BSS   float64 `json:"bss"`
		} `json:"derived"`
	}
	sharedJSON(t, "wilks-table7.3-pop.json", &w)
	// Frequencies of use have four decimals and observed ones three, so ten
	// million cases hold them all in whole numbers.
	var bins []Bin
	for _, r := range w.Rows {
		n := math.Round(r[1] * 1e7)
		bins = append(bins, Bin{P: r[0], N: int(n), Events: int(math.Round(n * r[2]))})
	}
	d := Decompose(bins)
	near(t, "reliability", d.Reliability, w.Derived.Rel, tight)
	near(t, "resolution", d.Resolution, w.Derived.Res, tight)
	near(t, "uncertainty", d.Uncertainty, w.Derived.Unc, tight)
	near(t, "Brier", d.Brier, w.Derived.Brier, tight)
	near(t, "skill", Skill(d.Brier, d.Uncertainty), w.Derived.BSS, tight)
}

func TestMasonGraham2002(t *testing.T) {
	var w struct {
		Event  []int     `json:"event"`
		Ties   []float64 `json:"p_with_ties"`
		NoTies []float64 `json:"p_without_ties"`
		Area   float64   `json:"roc_area_with_ties"`
		AreaNo float64   `json:"roc_area_without_ties"`
	}
	sharedJSON(t, "mason-graham-2002-roc.json", &w)
	y := make([]bool, len(w.Event))
	for i, e := range w.Event {
		y[i] = e == 1
	}
	near(t, "area with ties", ROCArea(w.Ties, y), w.Area, tight)
	near(t, "area without ties", ROCArea(w.NoTies, y), w.AreaNo, tight)
}

func TestNiamey2016(t *testing.T) {
	var w struct {
		Forecasts map[string]struct {
			Brier float64 `json:"mean_brier"`
			UNC   float64 `json:"unc"`
			Log   any     `json:"log_score"`
			ROC   float64 `json:"roc_area"`
		} `json:"forecasts"`
	}
	sharedJSON(t, "niamey-2016-corp.json", &w)
	data := sharedCSV(t, "niamey-2016-pop.csv")
	for name, f := range w.Forecasts {
		t.Run(name, func(t *testing.T) {
			p := each(len(data.rows), func(i int) float64 { return data.num(t, i, name) })
			y := make([]bool, len(p))
			for i := range y {
				y[i] = data.num(t, i, "obs") == 1
			}
			d := Decompose(Distinct(p, y))
			near(t, "Brier", d.Brier, f.Brier, tight)
			near(t, "uncertainty", d.Uncertainty, f.UNC, tight)
			near(t, "ROC area", ROCArea(p, y), f.ROC, tight)
			if v, ok := f.Log.(float64); ok {
				near(t, "log score", LogBinary(p, y), v, tight)
			} else if !math.IsInf(LogBinary(p, y), 1) {
				t.Errorf("log score %v, want infinite: rain fell at p = 0 or not at p = 1", LogBinary(p, y))
			}
		})
	}
}

// row decodes one mixed row of the toy tables.
func row(t *testing.T, raw []json.RawMessage, into ...any) {
	t.Helper()
	for i, v := range into {
		if err := json.Unmarshal(raw[i], v); err != nil {
			t.Fatal(err)
		}
	}
}

func TestToyEnsembles(t *testing.T) {
	type rows struct {
		Rows [][]json.RawMessage `json:"rows"`
	}
	var w struct {
		EDF   rows `json:"ensemble_edf"`
		Sizes rows `json:"ensemble_size_adjusted"`
		Days  rows `json:"day_of_year_ensembles"`
		Ten   struct {
			Obs      float64   `json:"obs"`
			Ensemble []float64 `json:"ensemble"`
			EDF      float64   `json:"crps_edf"`
			Fair     float64   `json:"crps_fair"`
		} `json:"ten_member"`
	}
	sharedJSON(t, "crps-toy.json", &w)
	var obs, want float64
	for _, r := range w.EDF.Rows {
		var x []float64
		row(t, r, &obs, &x, &want)
		near(t, "plain CRPS", CRPS(obs, x), want, 1e-12)
	}
	for _, r := range w.Sizes.Rows {
		var x []float64
		var size any
		row(t, r, &obs, &x, &size, &want)
		n := 0
		if v, ok := size.(float64); ok {
			n = int(v)
		}
		near(t, "size-adjusted CRPS", CRPSForSize(obs, x, n), want, 1e-12)
	}
	for _, r := range w.Days.Rows {
		var x []float64
		var edf, fair, twenty float64
		row(t, r, &obs, &x, &edf, &fair, &twenty)
		near(t, "day-of-year CRPS", CRPS(obs, x), edf, 1e-12)
		near(t, "day-of-year fair CRPS", CRPSForSize(obs, x, 0), fair, 1e-12)
		near(t, "day-of-year CRPS for 20 members", CRPSForSize(obs, x, 20), twenty, 1e-12)
	}
	near(t, "ten members", CRPS(w.Ten.Obs, w.Ten.Ensemble), w.Ten.EDF, 1e-9)
	near(t, "ten members, fair", CRPSForSize(w.Ten.Obs, w.Ten.Ensemble, 0), w.Ten.Fair, 1e-9)
}
