package verify

import (
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"
)

// The check files print 12 significant digits; where fewer are printed the
// tolerance beside the check says so.
const tight = 1e-9

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
		N          int     `json:"n"`
		Brier      float64 `json:"brier"`
		Rel        float64 `json:"reliability"`
		Res        float64 `json:"resolution"`
		Unc        float64 `json:"uncertainty"`
		BSS        float64 `json:"bss_sample_climatology"`
		ROC        float64 `json:"roc_area"`
		BaseRate   float64 `json:"base_rate"`
		Events     int     `json:"events"`
		RPS        float64 `json:"mean_rps_unnormalised"`
		Scaled     float64 `json:"mean_rps_divided_by_K_minus_1"`
		ClimRPS    float64 `json:"climatology_rps_unnormalised"`
		RPSS       float64 `json:"rpss"`
		Categories []int   `json:"category_counts"`
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
				Rain      event `json:"rain"`
				Corrected event `json:"rain_ferro_fricker_bias_corrected"`
				Table     rows  `json:"rain_table"`
				Bars      rows  `json:"consistency_bars_exact_binomial"`
				ROC       rows  `json:"roc_points"`
				Heavy     event `json:"heavy"`
				Three     event `json:"rps_three_categories"`
			}
			if err := json.Unmarshal(want[lead], &w); err != nil {
				t.Fatal(err)
			}
			var p, heavy, rps, scaled []float64
			var y, yHeavy []bool
			var categories []int
			counts := make([]int, 3)
			for i := range data.rows {
				obs := data.num(t, i, "obs_mm")
				dry, light, h := data.num(t, i, lead+"_dry"), data.num(t, i, lead+"_light"), data.num(t, i, lead+"_heavy")
				if math.IsNaN(obs + dry + light + h) {
					continue
				}
				// The forecasts are tenths: light + heavy is brought back to one.
				p = append(p, math.Round(10*(light+h))/10)
				heavy = append(heavy, h)
				y, yHeavy = append(y, obs > 0.2), append(yHeavy, obs > 4.4)
				k := 0
				if obs > 0.2 {
					k++
				}
				if obs > 4.4 {
					k++
				}
				counts[k]++
				categories = append(categories, k)
				rps = append(rps, RPS([]float64{dry, light, h}, k))
				scaled = append(scaled, RPSScaled([]float64{dry, light, h}, k))
			}
			if len(p) != w.Rain.N {
				t.Fatalf("%d complete days, want %d", len(p), w.Rain.N)
			}
			bins := Distinct(p, y)
			d := Decompose(bins)
			near(t, "base rate", BaseRate(y), w.Rain.BaseRate, tight)
			near(t, "Brier", Brier(p, y), w.Rain.Brier, tight)
			near(t, "Brier from its terms", d.Brier, w.Rain.Brier, tight)
			near(t, "reliability", d.Reliability, w.Rain.Rel, tight)
			near(t, "resolution", d.Resolution, w.Rain.Res, tight)
			near(t, "uncertainty", d.Uncertainty, w.Rain.Unc, tight)
			near(t, "Brier skill in sample", BrierSkillInSample(p, y), w.Rain.BSS, tight)
			near(t, "ROC area", ROCArea(p, y), w.Rain.ROC, tight)
			c := DecomposeBiasCorrected(bins)
			near(t, "reliability, bias corrected", c.Reliability, w.Corrected.Rel, tight)
			near(t, "resolution, bias corrected", c.Resolution, w.Corrected.Res, tight)
			near(t, "uncertainty, bias corrected", c.Uncertainty, w.Corrected.Unc, tight)
			near(t, "Brier of heavy rain", Brier(heavy, yHeavy), w.Heavy.Brier, tight)
			near(t, "ROC area of heavy rain", ROCArea(heavy, yHeavy), w.Heavy.ROC, tight)
			near(t, "RPS", Mean(rps), w.Three.RPS, tight)
			near(t, "RPS over K-1", Mean(scaled), w.Three.Scaled, tight)
			if !slices.Equal(counts, w.Three.Categories) {
				t.Errorf("categories %v, want %v", counts, w.Three.Categories)
			}
			share := each(3, func(k int) float64 { return float64(counts[k]) / float64(len(p)) })
			clim := Mean(each(len(p), func(i int) float64 { return RPS(share, categories[i]) }))
			near(t, "RPS of climatology", clim, w.Three.ClimRPS, tight)
			near(t, "RPS skill", Skill(Mean(rps), clim), w.Three.RPSS, tight)

			for i, r := range w.Table.Rows {
				if bins[i].N != int(r[1]) || bins[i].Events != int(r[2]) || math.Abs(bins[i].P-r[0]) > 1e-12 {
					t.Errorf("bin %d is %+v, want %v", i, bins[i], r)
				}
			}
			outer, inner := ReliabilityExact(bins, 0.95), ReliabilityExact(bins, 0.90)
			for i, r := range w.Bars.Rows {
				n := float64(bins[i].N)
				got := []float64{outer[i].Low * n, inner[i].Low * n, inner[i].High * n, outer[i].High * n}
				want := r[3:]
				if r[0] == 1 {
					// The file gives 0 as the lower limit of a certain event, an
					// artefact: what was certain can fail not once.
					want = []float64{r[1], r[1], r[5], r[6]}
				}
				for k, v := range want {
					if math.Abs(got[k]-v) > 1e-9 {
						t.Errorf("consistency limits at p=%g are %v, want %v", r[0], got, want)
						break
					}
				}
			}
			for i, pt := range ROC(p, y) {
				r := w.ROC.Rows[i]
				near(t, "ROC threshold", pt.Threshold, r[0], tight)
				near(t, "hit rate", pt.HitRate, r[1], tight)
				near(t, "false alarm rate", pt.FalseAlarmRate, r[2], tight)
			}
			// Resampled bars must agree with the exact ones but for the bin
			// counts, which they let vary: by less than one event in a bin.
			edges := each(12, func(i int) float64 { return float64(i)/10 - 0.05 })
			for i, pt := range Reliability(p, y, edges, 0.95, 2000, 1) {
				if one := 1 / float64(pt.N); math.Abs(pt.Low-outer[i].Low) > one || math.Abs(pt.High-outer[i].High) > one {
					t.Errorf("resampled bar at p=%g is %.3f-%.3f, exact %.3f-%.3f", pt.P, pt.Low, pt.High, outer[i].Low, outer[i].High)
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
	near(t, "Brier", Brier(p, y), w.Scores.Brier, tight)
	near(t, "reliability", d.Reliability, w.Scores.Rel, tight)
	near(t, "resolution", d.Resolution, w.Scores.Res, tight)
	near(t, "uncertainty", d.Uncertainty, w.Scores.Unc, tight)
	near(t, "skill", BrierSkillInSample(p, y), w.Scores.BSS, tight)
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
		Event   []int     `json:"event"`
		Ties    []float64 `json:"p_with_ties"`
		NoTies  []float64 `json:"p_without_ties"`
		Area    float64   `json:"roc_area_with_ties"`
		AreaNo  float64   `json:"roc_area_without_ties"`
		PValues struct {
			Ties float64 `json:"with_ties_normal_approximation"`
			No   float64 `json:"without_ties_exact"`
		} `json:"mann_whitney_p_value"`
	}
	sharedJSON(t, "mason-graham-2002-roc.json", &w)
	y := make([]bool, len(w.Event))
	for i, e := range w.Event {
		y[i] = e == 1
	}
	near(t, "area with ties", ROCArea(w.Ties, y), w.Area, tight)
	near(t, "area without ties", ROCArea(w.NoTies, y), w.AreaNo, tight)
	near(t, "p with ties", ROCAreaP(w.Ties, y), w.PValues.Ties, tight)
	near(t, "p without ties", ROCAreaP(w.NoTies, y), w.PValues.No, tight)
}

func TestFinleyTornadoes(t *testing.T) {
	var w struct {
		Counts struct {
			Hits   int `json:"hits"`
			False  int `json:"false_alarms"`
			Misses int `json:"misses"`
			Neg    int `json:"correct_negatives"`
		} `json:"counts"`
		Scores map[string]float64 `json:"scores"`
		R      map[string]float64 `json:"R_table_stats"`
	}
	sharedJSON(t, "finley.json", &w)
	s := Contingency{w.Counts.Hits, w.Counts.False, w.Counts.Misses, w.Counts.Neg}.Scores()
	got := map[string]float64{
		"proportion_correct": s.ProportionCorrect, "threat_score_csi": s.CriticalSuccess, "pod_hit_rate": s.HitRate,
		"false_alarm_ratio": s.FalseAlarmRatio, "false_alarm_rate_pofd": s.FalseAlarmRate, "bias": s.Bias,
		"heidke": s.Heidke, "peirce_kss": s.Peirce, "gilbert_ets": s.Gilbert, "odds_ratio": s.OddsRatio,
		"log_odds_ratio": s.LogOddsRatio, "log_odds_ratio_se": s.LogOddsRatioSE, "yule_q_orss": s.YuleQ,
		"eds": s.ExtremeDependency, "pod_se": s.HitRateSE, "proportion_correct_never_forecast": s.NeverForecast,
	}
	for k, v := range w.Scores {
		g, ok := got[k]
		if !ok {
			t.Errorf("score %s is not computed", k)
			continue
		}
		near(t, k, g, v, tight)
	}
	near(t, "EDI", s.ExtremalDependence, w.R["EDI"], tight)
	near(t, "SEDI", s.SymmetricExtremal, w.R["SEDI"], tight)
}

func TestNiamey2016CORP(t *testing.T) {
	var w struct {
		Forecasts map[string]struct {
			Brier  float64 `json:"mean_brier"`
			MCB    float64 `json:"mcb"`
			DSC    float64 `json:"dsc"`
			UNC    float64 `json:"unc"`
			Log    any     `json:"log_score"`
			ROC    float64 `json:"roc_area"`
			Blocks struct {
				Rows [][4]float64 `json:"rows"`
			} `json:"pav_blocks"`
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
			c := DecomposeCORP(p, y)
			near(t, "Brier", c.Brier, f.Brier, tight)
			near(t, "MCB", c.Miscalibration, f.MCB, tight)
			near(t, "DSC", c.Discrimination, f.DSC, tight)
			near(t, "UNC", c.Uncertainty, f.UNC, tight)
			near(t, "ROC area", ROCArea(p, y), f.ROC, tight)
			if v, ok := f.Log.(float64); ok {
				near(t, "log score", LogBinary(p, y), v, tight)
			} else if !math.IsInf(LogBinary(p, y), 1) {
				t.Errorf("log score %v, want infinite: rain fell at p = 0 or not at p = 1", LogBinary(p, y))
			}
			if len(c.Blocks) != len(f.Blocks.Rows) {
				t.Fatalf("%d blocks, want %d", len(c.Blocks), len(f.Blocks.Rows))
			}
			for i, r := range f.Blocks.Rows {
				b := c.Blocks[i]
				near(t, "block low", b.Low, r[0], tight)
				near(t, "block high", b.High, r[1], tight)
				near(t, "block size", float64(b.N), r[2], 0)
				near(t, "block probability", b.Calibrated, r[3], tight)
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
		EDF       rows `json:"ensemble_edf"`
		Weighted  rows `json:"ensemble_weighted"`
		Sizes     rows `json:"ensemble_size_adjusted"`
		Days      rows `json:"day_of_year_ensembles"`
		Threshold rows `json:"threshold_brier"`
		Ten       struct {
			Obs      float64   `json:"obs"`
			Ensemble []float64 `json:"ensemble"`
			EDF      float64   `json:"crps_edf"`
			Fair     float64   `json:"crps_fair"`
			Weighted float64   `json:"crps_edf_weights_0_to_9"`
		} `json:"ten_member"`
		Binary struct {
			Brier, Log []struct {
				Obs      float64
				P, Score float64
			}
			LogScore []struct{ Obs, P, Score float64 } `json:"log_score_binary"`
			RPS      []struct {
				Category int
				P        []float64
				Score    float64
			} `json:"rps_unnormalised"`
			Wilks []struct {
				Category int
				P        []float64
				Scaled   float64 `json:"score_divided_by_K_minus_1"`
				Plain    float64 `json:"score_unnormalised"`
			} `json:"rps_wilks"`
			Ranked []struct {
				Category int
				P        []float64
				Score    float64
			} `json:"ranked_log_score"`
			Kernel []struct {
				Obs      float64
				Ensemble []float64
				Score    float64
			} `json:"log_score_ensemble_normal_kernel_silverman"`
		} `json:"binary_and_categorical"`
	}
	sharedJSON(t, "crps-toy.json", &w)
	var obs, want float64
	for _, r := range w.EDF.Rows {
		var x []float64
		row(t, r, &obs, &x, &want)
		near(t, "plain CRPS", CRPS(obs, x), want, 1e-12)
		equal := each(len(x), func(int) float64 { return 3 })
		near(t, "weighted CRPS with equal weights", CRPSWeighted(obs, x, equal), want, 1e-12)
	}
	for _, r := range w.Weighted.Rows {
		var x, weight []float64
		row(t, r, &obs, &x, &weight, &want)
		near(t, "weighted CRPS", CRPSWeighted(obs, x, weight), want, 1e-12)
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
	if v := CRPSFair(2, []float64{1}); !math.IsNaN(v) {
		t.Errorf("fair CRPS of one member is %v, want undefined", v)
	}
	for _, r := range w.Days.Rows {
		var x []float64
		var edf, fair, twenty float64
		row(t, r, &obs, &x, &edf, &fair, &twenty)
		near(t, "day-of-year CRPS", CRPS(obs, x), edf, 1e-12)
		near(t, "day-of-year fair CRPS", CRPSFair(obs, x), fair, 1e-12)
		near(t, "day-of-year CRPS for 20 members", CRPSForSize(obs, x, 20), twenty, 1e-12)
	}
	for _, r := range w.Threshold.Rows {
		var x, thresholds, scores []float64
		row(t, r, &obs, &x, &thresholds, &scores)
		for i, th := range thresholds {
			var k int
			for _, v := range x {
				if v > th {
					k++
				}
			}
			near(t, "threshold Brier", BrierEnsemble(k, len(x), obs > th), scores[i], 1e-12)
		}
	}
	near(t, "ten members", CRPS(w.Ten.Obs, w.Ten.Ensemble), w.Ten.EDF, tight)
	near(t, "ten members, fair", CRPSFair(w.Ten.Obs, w.Ten.Ensemble), w.Ten.Fair, tight)
	near(t, "ten members, weights 0..9", CRPSWeighted(w.Ten.Obs, w.Ten.Ensemble, each(10, func(i int) float64 { return float64(i) })), w.Ten.Weighted, tight)

	b := w.Binary
	near(t, "Brier of one", Brier([]float64{b.Brier[0].P}, []bool{b.Brier[0].Obs == 1}), b.Brier[0].Score, tight)
	near(t, "log score of one", LogBinary([]float64{b.LogScore[0].P}, []bool{b.LogScore[0].Obs == 1}), b.LogScore[0].Score, 1e-7) // 7 digits printed
	// Categories of the file count from 1.
	near(t, "RPS of one", RPS(b.RPS[0].P, b.RPS[0].Category-1), b.RPS[0].Score, tight)
	near(t, "RPS, textbook", RPS(b.Wilks[0].P, b.Wilks[0].Category-1), b.Wilks[0].Plain, tight)
	near(t, "RPS over K-1, textbook", RPSScaled(b.Wilks[0].P, b.Wilks[0].Category-1), b.Wilks[0].Scaled, tight)
	near(t, "ranked log score", RankedLog(b.Ranked[0].P, b.Ranked[0].Category-1), b.Ranked[0].Score, 1e-6) // 7 digits printed
	for _, k := range b.Kernel {
		near(t, "kernel log score", LogKernel(k.Obs, k.Ensemble), k.Score, 1e-6) // 7 digits printed
	}
}

func TestNormalTable(t *testing.T) {
	data := sharedCSV(t, "crps-normal.csv")
	for i := range data.rows {
		y, mu, sd := data.num(t, i, "y"), data.num(t, i, "mu"), data.num(t, i, "sigma")
		near(t, "CRPS", CRPSNormal(y, mu, sd), data.num(t, i, "crps"), 1e-11)
		near(t, "log score", LogNormal(y, mu, sd), data.num(t, i, "log_score"), 1e-12)
		f := distuv.Normal{Mu: mu, Sigma: sd}.CDF(y)
		near(t, "PIT", PIT(f, f, 0.3), data.num(t, i, "pit"), 1e-11)
		near(t, "censored nowhere", CRPSNormalCensored(y, mu, sd, math.Inf(-1), math.Inf(1)), data.num(t, i, "crps"), 1e-11)
		near(t, "truncated nowhere", CRPSNormalTruncated(y, mu, sd, math.Inf(-1), math.Inf(1)), data.num(t, i, "crps"), 1e-11)
		near(t, "mixture of one", CRPSNormalMixture(y, []float64{mu}, []float64{sd}, []float64{2}), data.num(t, i, "crps"), 1e-11)
	}
}

func TestNamedDistributions(t *testing.T) {
	var w struct {
		Rows         []map[string]any `json:"rows"`
		Multivariate struct {
			Obs       []float64   `json:"obs"`
			Ensemble  [][]float64 `json:"ensemble_columns_are_members"`
			Energy    float64     `json:"energy_score"`
			Variogram float64     `json:"variogram_score_p0.5"`
		} `json:"multivariate"`
	}
	sharedJSON(t, "crps-distributions.json", &w)
	inf := math.Inf(1)
	for _, r := range w.Rows {
		f := func(k string) float64 {
			v, ok := r[k].(float64)
			if !ok {
				t.Fatalf("%v: no number %q", r["family"], k)
			}
			return v
		}
		list := func(k string) []float64 {
			var out []float64
			for _, v := range r[k].([]any) {
				out = append(out, v.(float64))
			}
			return out
		}
		y := f("y")
		var got float64
		var density interface{ LogProb(float64) float64 }
		switch r["family"] {
		case "normal":
			got = CRPSNormal(y, f("mean"), f("sd"))
		case "gamma":
			rate := 0.
			if _, ok := r["rate"]; ok {
				rate = f("rate")
			} else {
				rate = 1 / f("scale")
			}
			got, density = CRPSGamma(y, f("shape"), rate), distuv.Gamma{Alpha: f("shape"), Beta: rate}
		case "lognormal":
			got, density = CRPSLogNormal(y, f("meanlog"), f("sdlog")), distuv.LogNormal{Mu: f("meanlog"), Sigma: f("sdlog")}
		case "logistic":
			got, density = CRPSLogistic(y, f("location"), f("scale")), logistic{f("location"), f("scale")}
		case "student_t":
			got = CRPSStudentT(y, 0, 1, f("df"))
		case "normal_truncated_at_0":
			got = CRPSNormalTruncated(y, f("location"), f("scale"), 0, inf)
		case "normal_censored_at_0":
			got = CRPSNormalCensored(y, f("location"), f("scale"), 0, inf)
		case "normal_truncated":
			got = CRPSNormalTruncated(y, f("location"), f("scale"), f("lower"), f("upper"))
		case "normal_censored":
			got = CRPSNormalCensored(y, f("location"), f("scale"), f("lower"), f("upper"))
		case "uniform":
			got = CRPSUniform(y, f("min"), f("max"))
		case "exponential":
			got = CRPSExponential(y, f("rate"))
		case "poisson":
			got = CRPSPoisson(y, f("lambda"))
		case "binomial":
			got, density = CRPSBinomial(y, int(f("n")), f("p")), distuv.Binomial{N: f("n"), P: f("p")}
		case "normal_mixture":
			got = CRPSNormalMixture(y, list("means"), list("sds"), list("weights"))
		default:
			t.Errorf("family %v is not covered", r["family"])
			continue
		}
		near(t, r["family"].(string), got, f("crps"), printed(f("crps")))
		if v, ok := r["log_score"].(float64); ok {
			near(t, r["family"].(string)+" log score", LogScore(density, y), v, printed(v))
		}
	}
	m := w.Multivariate
	members := make([][]float64, len(m.Ensemble[0]))
	for i := range members {
		members[i] = []float64{m.Ensemble[0][i], m.Ensemble[1][i]}
	}
	near(t, "energy score", Energy(m.Obs, members), m.Energy, tight)
	near(t, "variogram score", Variogram(m.Obs, members, 0.5), m.Variogram, tight)
}

// logistic stands in for gonum's, whose LogProb leaves out location and scale.
type logistic struct{ location, scale float64 }

func (l logistic) LogProb(y float64) float64 { return -LogLogistic(y, l.location, l.scale) }

// printed is the tolerance that a figure's own digits allow: 1e-9, or half a
// unit of the last decimal where fewer than ten decimals are given.
func printed(v float64) float64 {
	s := strconv.FormatFloat(v, 'f', -1, 64)
	decimals := 0
	if i := slices.Index([]byte(s), '.'); i >= 0 {
		decimals = len(s) - i - 1
	}
	return math.Max(tight, 0.51*math.Pow(10, -float64(decimals)))
}

func TestEuropeanSummersEnsemble(t *testing.T) {
	type pair [2]float64
	var w struct {
		EDF       float64 `json:"mean_crps_edf"`
		Fair      float64 `json:"mean_crps_fair"`
		Ten       float64 `json:"mean_crps_size_10"`
		Brier     float64 `json:"mean_brier_ensemble"`
		BrierFair float64 `json:"mean_brier_fair"`
		RPS       float64 `json:"mean_rps_unnormalised"`
		RPSFair   float64 `json:"mean_rps_fair"`
		Quadratic float64 `json:"mean_quadratic_score_3_categories"`
		Gaussian  float64 `json:"mean_gaussian_crps_mean_sd"`
		ROC       float64 `json:"roc_area_binary"`
		Ranks     []int   `json:"rank_histogram_25_bins"`
		RankTest  struct {
			Chi2   float64 `json:"pearson_chi2"`
			P      float64 `json:"p"`
			Linear pair    `json:"jolliffe_primo_linear"`
			Square pair    `json:"jolliffe_primo_quadratic"`
		} `json:"rank_test"`
		Terms struct {
			Rel float64 `json:"reliability"`
			Res float64 `json:"resolution"`
			Unc float64 `json:"uncertainty"`
		} `json:"brier_decomposition_10_equal_bins"`
		EMOS struct {
			Min float64 `json:"min_mean_crps"`
		} `json:"emos_min_crps"`
		PerYear struct {
			Rows [][3]float64 `json:"rows"`
		} `json:"per_year"`
		CRPSS float64 `json:"crpss_vs_in_sample_climatology_ensemble"`
	}
	sharedJSON(t, "eurotemp-scores.json", &w)
	data := sharedCSV(t, "eurotemp-ensemble-24.csv")
	n := len(data.rows)
	const m = 24
	y := each(n, func(i int) float64 { return data.num(t, i, "obs") })
	members := make([][]float64, n)
	for i := range members {
		members[i] = each(m, func(k int) float64 { return data.num(t, i, memberName(k)) })
	}
	var edf, fair, ten, gauss []float64
	for i := range y {
		edf = append(edf, CRPS(y[i], members[i]))
		fair = append(fair, CRPSFair(y[i], members[i]))
		ten = append(ten, CRPSForSize(y[i], members[i], 10))
		gauss = append(gauss, CRPSNormal(y[i], Mean(members[i]), math.Sqrt(variance(members[i]))))
		near(t, "CRPS of a year", edf[i], w.PerYear.Rows[i][1], tight)
		near(t, "fair CRPS of a year", fair[i], w.PerYear.Rows[i][2], tight)
	}
	near(t, "CRPS", Mean(edf), w.EDF, tight)
	near(t, "fair CRPS", Mean(fair), w.Fair, tight)
	near(t, "CRPS for 10 members", Mean(ten), w.Ten, tight)
	near(t, "normal CRPS", Mean(gauss), w.Gaussian, tight)
	clim := Mean(each(n, func(i int) float64 { return CRPS(y[i], y) }))
	near(t, "CRPS skill against the sample", Skill(Mean(edf), clim), w.CRPSS, tight)
	h := Hersbach(y, members)
	near(t, "Hersbach's terms add up", h.CRPS, w.EDF, tight)

	counts := RankHistogram(y, members, 1)
	if !slices.Equal(counts, w.Ranks) {
		t.Errorf("ranks %v, want %v", counts, w.Ranks)
	}
	flat := TestFlat(counts)
	near(t, "chi-square", flat.Chi2, w.RankTest.Chi2, tight)
	near(t, "its p", flat.P, w.RankTest.P, tight)
	near(t, "slope", flat.Slope, w.RankTest.Linear[0], tight)
	near(t, "its p", flat.PSlope, w.RankTest.Linear[1], tight)
	near(t, "curve", flat.Curve, w.RankTest.Square[0], tight)
	near(t, "its p", flat.PCurve, w.RankTest.Square[1], tight)

	// The event is "warmer than the year before"; classes are more than a
	// quarter of a degree cooler, within it, or warmer. The summer before the
	// first is not in the file: it is whatever makes the plain Brier score and
	// the RPS come out, and the other five figures are then the check.
	type sample struct {
		p, brier, brierFair, rps, rpsFair, quad []float64
		event                                   []bool
	}
	judge := func(before float64) (s sample) {
		for i := range y {
			if i > 0 {
				before = y[i-1]
			}
			k := 0
			class := make([]int, 3)
			for _, x := range members[i] {
				if x > before {
					k++
				}
				switch {
				case x < before-0.25:
					class[0]++
				case x <= before+0.25:
					class[1]++
				default:
					class[2]++
				}
			}
			e := data.num(t, i, "obs_bin") == 1
			category := int(data.num(t, i, "obs_cat")) - 1
			share := each(3, func(c int) float64 { return float64(class[c]) / m })
			s.p, s.event = append(s.p, float64(k)/m), append(s.event, e)
			s.brier, s.brierFair = append(s.brier, BrierEnsemble(k, m, e)), append(s.brierFair, BrierFair(k, m, e))
			s.rps, s.rpsFair = append(s.rps, RPS(share, category)), append(s.rpsFair, RPSFair(class, category))
			s.quad = append(s.quad, Quadratic(share, category))
		}
		return s
	}
	var s sample
	for before := y[0] - 0.25; before < y[0]; before += 0.001 {
		s = judge(before)
		if math.Abs(Mean(s.brier)-w.Brier) < 1e-10 && math.Abs(Mean(s.rps)-w.RPS) < 1e-10 {
			break
		}
	}
	near(t, "Brier of the ensemble", Mean(s.brier), w.Brier, tight)
	near(t, "RPS", Mean(s.rps), w.RPS, tight)
	near(t, "fair Brier", Mean(s.brierFair), w.BrierFair, tight)
	near(t, "ROC area", ROCArea(s.p, s.event), w.ROC, tight)
	near(t, "fair RPS", Mean(s.rpsFair), w.RPSFair, tight)
	near(t, "quadratic score", Mean(s.quad), w.Quadratic, tight)
	// That package closes its bins on the right, we on the left: edges moved by
	// a hair make the two the same.
	d := Decompose(Binned(s.p, s.event, each(11, func(i int) float64 { return float64(i)/10 + 1e-12 })))
	near(t, "reliability, ten bins", d.Reliability, w.Terms.Rel, tight)
	near(t, "resolution, ten bins", d.Resolution, w.Terms.Res, tight)
	near(t, "uncertainty", d.Uncertainty, w.Terms.Unc, tight)

	// The least CRPS of N(a + b mean, c^2 + d^2 var), from several starts.
	problem := optimize.Problem{Func: func(x []float64) float64 {
		return Mean(each(n, func(i int) float64 {
			sd := math.Sqrt(x[2]*x[2] + x[3]*x[3]*variance(members[i]))
			return CRPSNormal(y[i], x[0]+x[1]*Mean(members[i]), sd)
		}))
	}}
	best := math.Inf(1)
	for _, start := range [][]float64{{0, 1, 0.01, 1}, {0, 1, 0.1, 0.5}, {1, 0.9, 0.2, 1.2}} {
		r, err := optimize.Minimize(problem, start, &optimize.Settings{FuncEvaluations: 4000}, &optimize.NelderMead{})
		if err != nil && r == nil {
			t.Fatal(err)
		}
		best = math.Min(best, r.F)
	}
	near(t, "least CRPS of a normal fit", best, w.EMOS.Min, 1e-6)
}

func memberName(k int) string {
	s := strconv.Itoa(k + 1)
	if k < 9 {
		s = "0" + s
	}
	return "m" + s
}

func TestIntervalsAndQuantiles(t *testing.T) {
	var w struct {
		Quantile []struct{ Tau, Q, Y, Score float64 } `json:"quantile_score"`
		Interval []struct {
			Alpha float64 `json:"alpha"`
			L     float64 `json:"l"`
			U     float64 `json:"u"`
			Y     float64 `json:"y"`
			Score float64 `json:"score"`
		} `json:"interval_score"`
		DSS struct {
			Obs      float64   `json:"obs"`
			Ensemble []float64 `json:"ensemble"`
			Score    float64   `json:"score"`
		} `json:"dawid_sebastiani_ensemble"`
	}
	sharedJSON(t, "interval-quantile-checks.json", &w)
	for _, r := range w.Quantile {
		near(t, "quantile score", QuantileScore(r.Y, r.Q, r.Tau), r.Score, 1e-12)
	}
	for _, r := range w.Interval {
		near(t, "interval score", IntervalScore(r.Y, r.L, r.U, r.Alpha), r.Score, 1e-12)
	}
	near(t, "Dawid-Sebastiani", DawidSebastiani(w.DSS.Obs, w.DSS.Ensemble), w.DSS.Score, tight)
}

// The data behind this decomposition are not in the check files, so only the
// identity that our own decomposition rests on can be held against it.
func TestHersbachIdentityOfThePrecipitationEnsemble(t *testing.T) {
	var w struct {
		CRPS float64 `json:"crps"`
		Pot  float64 `json:"crps_potential"`
		Rel  float64 `json:"reliability"`
	}
	sharedJSON(t, "precip-ensemble-crps-decomposition.json", &w)
	near(t, "reliability + potential", w.Rel+w.Pot, w.CRPS, 1e-10)
}
