package verify

import (
	_ "embed"
	"encoding/json"
	"testing"
)

// reference.json comes from scikit-learn, SciPy and pROC by the script beside
// it, which says how to run it.
//
//go:embed testdata/reference.json
var referenceJSON []byte

func TestAgainstGeneralLibraries(t *testing.T) {
	var w struct {
		Cases []struct {
			P     []float64 `json:"p"`
			Y     []int     `json:"y"`
			Brier float64   `json:"brier"`
			Log   float64   `json:"log"`
			AUC   float64   `json:"auc"`
			AUCR  float64   `json:"auc_r"`
		} `json:"cases"`
		Ensembles []struct {
			Y    float64   `json:"y"`
			X    []float64 `json:"x"`
			CRPS float64   `json:"crps"`
			Q    []float64 `json:"q"`
		} `json:"ensembles"`
		Closed []struct {
			Family string    `json:"family"`
			Y      float64   `json:"y"`
			Par    []float64 `json:"par"`
			CRPS   float64   `json:"crps"`
		} `json:"closed"`
	}
	if err := json.Unmarshal(referenceJSON, &w); err != nil {
		t.Fatal(err)
	}
	for _, c := range w.Cases {
		y := make([]bool, len(c.Y))
		for i, v := range c.Y {
			y[i] = v == 1
		}
		near(t, "Brier", Decompose(Distinct(c.P, y)).Brier, c.Brier, tight)
		near(t, "log score", LogBinary(c.P, y), c.Log, tight)
		near(t, "ROC area", ROCArea(c.P, y), c.AUC, tight)
		near(t, "ROC area (R)", ROCArea(c.P, y), c.AUCR, tight)
	}
	for _, e := range w.Ensembles {
		near(t, "CRPS", CRPS(e.Y, e.X), e.CRPS, tight)
		for i, q := range []float64{0, 0.1, 0.5, 0.9, 1} {
			near(t, "quantile", Quantile(e.X, q), e.Q[i], tight)
		}
	}
	for _, c := range w.Closed {
		if c.Family == "normal" {
			near(t, "CRPS of a normal", CRPSNormal(c.Y, c.Par[0], c.Par[1]), c.CRPS, tight)
		}
	}
}
