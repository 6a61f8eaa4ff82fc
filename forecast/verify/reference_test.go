package verify

import (
	_ "embed"
	"encoding/json"
	"math"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// reference.json comes from scikit-learn, SciPy and pROC by the script beside
// it, which says how to run it.
//
//go:embed testdata/reference.json
var referenceJSON []byte

func TestAgainstGeneralLibraries(t *testing.T) {
	var w struct {
		Cases []struct {
			P         []float64 `json:"p"`
			Y         []int     `json:"y"`
			Brier     float64   `json:"brier"`
			Log       float64   `json:"log"`
			AUC       float64   `json:"auc"`
			AUCR      float64   `json:"auc_r"`
			PValue    float64   `json:"p_value"`
			Isotonic  []float64 `json:"isotonic"`
			BrierIso  float64   `json:"brier_isotonic"`
			Hit       []float64 `json:"hit"`
			Alarm     []float64 `json:"alarm"`
			Threshold []float64 `json:"threshold"`
		} `json:"cases"`
		Ensembles []struct {
			Y       float64   `json:"y"`
			X       []float64 `json:"x"`
			CRPS    float64   `json:"crps"`
			Q       []float64 `json:"q"`
			Pinball []float64 `json:"pinball"`
		} `json:"ensembles"`
		Closed []struct {
			Family string    `json:"family"`
			Y      float64   `json:"y"`
			Par    []float64 `json:"par"`
			CRPS   float64   `json:"crps"`
			Log    float64   `json:"log"`
		} `json:"closed"`
		Intervals []struct {
			K, N      int
			Low, High float64
		} `json:"intervals"`
		Bars []struct {
			N         int
			P         float64
			Low, High int
		} `json:"bars"`
		Flat struct {
			Counts  []int
			Chi2, P float64
		} `json:"flat"`
	}
	if err := json.Unmarshal(referenceJSON, &w); err != nil {
		t.Fatal(err)
	}
	for _, c := range w.Cases {
		y := make([]bool, len(c.Y))
		for i, v := range c.Y {
			y[i] = v == 1
		}
		near(t, "Brier", Brier(c.P, y), c.Brier, tight)
		near(t, "log score", LogBinary(c.P, y), c.Log, tight)
		near(t, "ROC area", ROCArea(c.P, y), c.AUC, tight)
		near(t, "ROC area (R)", ROCArea(c.P, y), c.AUCR, tight)
		if len(Distinct(c.P, y)) < len(y) { // without ties ours may be exact, theirs is the normal approximation
			near(t, "Mann-Whitney p", ROCAreaP(c.P, y), c.PValue, tight)
		}
		corp := DecomposeCORP(c.P, y)
		near(t, "miscalibration", corp.Miscalibration, c.Brier-c.BrierIso, tight)
		for i, p := range c.P {
			for _, b := range corp.Blocks {
				if p >= b.Low && p <= b.High {
					near(t, "isotonic fit", b.Calibrated, c.Isotonic[i], tight)
				}
			}
		}
		points := ROC(c.P, y)
		if len(points) != len(c.Hit) {
			t.Fatalf("%d ROC points, want %d", len(points), len(c.Hit))
		}
		for i, pt := range points {
			near(t, "hit rate", pt.HitRate, c.Hit[i], tight)
			near(t, "false alarm rate", pt.FalseAlarmRate, c.Alarm[i], tight)
			near(t, "threshold", pt.Threshold, c.Threshold[i], tight)
		}
	}
	for _, e := range w.Ensembles {
		near(t, "CRPS", CRPS(e.Y, e.X), e.CRPS, tight)
		for i, q := range []float64{0, 0.1, 0.5, 0.9, 1} {
			near(t, "quantile", Quantile(e.X, q), e.Q[i], tight)
		}
		for i, q := range []float64{0.1, 0.5, 0.9} {
			near(t, "pinball", QuantileScore(e.Y, Quantile(e.X, q), q), e.Pinball[i], tight)
		}
	}
	for _, c := range w.Closed {
		var crps, log float64
		a, b := c.Par[0], c.Par[1]
		switch c.Family {
		case "normal":
			crps, log = CRPSNormal(c.Y, a, b), LogNormal(c.Y, a, b)
		case "logistic":
			crps, log = CRPSLogistic(c.Y, a, b), LogLogistic(c.Y, a, b)
		case "lognormal":
			crps, log = CRPSLogNormal(c.Y, a, b), LogScore(distuv.LogNormal{Mu: a, Sigma: b}, c.Y)
		case "gamma":
			crps, log = CRPSGamma(c.Y, a, b), LogScore(distuv.Gamma{Alpha: a, Beta: b}, c.Y)
		case "student":
			crps, log = CRPSStudentT(c.Y, a, b, c.Par[2]), LogScore(distuv.StudentsT{Mu: a, Sigma: b, Nu: c.Par[2]}, c.Y)
		default:
			t.Fatalf("family %q is not covered", c.Family)
		}
		near(t, "CRPS of "+c.Family, crps, c.CRPS, tight)
		near(t, "log score of "+c.Family, log, c.Log, tight)
	}
	for _, i := range w.Intervals {
		low, high := Wilson(i.K, i.N, 0.95)
		near(t, "Wilson low", low, i.Low, tight)
		near(t, "Wilson high", high, i.High, tight)
	}
	for _, b := range w.Bars {
		pt := ReliabilityExact([]Bin{{P: b.P, N: b.N}}, 0.95)[0]
		near(t, "bar low", pt.Low*float64(b.N), float64(b.Low), tight)
		near(t, "bar high", pt.High*float64(b.N), float64(b.High), tight)
	}
	f := TestFlat(w.Flat.Counts)
	near(t, "chi-square", f.Chi2, w.Flat.Chi2, tight)
	near(t, "its p", f.P, w.Flat.P, tight)
	if math.IsNaN(f.Slope) {
		t.Error("no slope")
	}
}
