package verify

import (
	"math"
	"slices"
)

// Timing is the error of predicted dates, predicted less observed, in days:
// positive means that the forecast was late. Perfect is 0 throughout.
type Timing struct {
	N       int     `json:"n"`
	Missing int     `json:"missing"` // cases without an observed or predicted date
	Bias    float64 `json:"bias_days"`
	MAE     float64 `json:"mae_days"`
	RMSE    float64 `json:"rmse_days"`
	Median  float64 `json:"median_error_days"`
	P90     float64 `json:"p90_absolute_days"` // nine out of ten errors are no larger
}

// TimingErrors computes Timing; a NaN on either side leaves the case out and
// counts it as Missing, so that a date that never came is not scored as one.
func TimingErrors(predicted, observed []float64) Timing {
	sameLength("timing errors", len(predicted), len(observed))
	var e, a []float64
	for i, p := range predicted {
		if d := p - observed[i]; !math.IsNaN(d) {
			e, a = append(e, d), append(a, math.Abs(d))
		}
	}
	square := slices.Clone(e)
	for i, d := range square {
		square[i] = d * d
	}
	return Timing{
		N: len(e), Missing: len(predicted) - len(e), Bias: Mean(e), MAE: Mean(a),
		RMSE: math.Sqrt(Mean(square)), Median: Quantile(e, 0.5), P90: Quantile(a, 0.9),
	}
}
