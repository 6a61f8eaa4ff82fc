package verify

import (
	"math"
	"math/rand/v2"

	"gonum.org/v1/gonum/stat/distuv"
)

// PIT is the probability integral transform of an outcome, F(y-) + v (F(y) -
// F(y-)), with v uniform on 0..1; for a continuous forecast below and at are
// equal and v does not matter. Over many honest forecasts it is uniform: a
// U shape says too narrow, a hump too wide, a slope says biased. Source:
// Czado, Gneiting & Held 2009, Biometrics 65, 1254-1261.
func PIT(below, at, v float64) float64 { return below + v*(at-below) }

// Rank is where the outcome falls among m members, 0..m; among equal members
// it is drawn evenly, since days are whole numbers and ties are common.
func Rank(y float64, members []float64, rng *rand.Rand) int {
	var below, equal int
	for _, x := range members {
		switch {
		case x < y:
			below++
		case x == y:
			equal++
		}
	}
	if equal == 0 {
		return below
	}
	return below + rng.IntN(equal+1)
}

// RankHistogram counts ranks of outcomes among ensembles of one size m: m+1
// counts, flat when the ensemble is honest. Source: Hamill 2001, Mon. Wea. Rev.
// 129, 550-560.
func RankHistogram(y []float64, members [][]float64, seed uint64) []int {
	sameLength("rank histogram", len(members), len(y))
	if len(y) == 0 {
		return nil
	}
	rng := rand.New(rand.NewPCG(seed, 0x72616e6b))
	counts := make([]int, len(members[0])+1)
	for i, o := range y {
		sameLength("rank histogram: size of an ensemble", len(members[i]), len(counts)-1)
		counts[Rank(o, members[i], rng)]++
	}
	return counts
}

// FlatTest tells how far a rank (or PIT) histogram is from flat: Pearson's
// chi-square over all counts, and the parts of it that a slope (bias) and a
// curve (too narrow or too wide) explain, each with its p value.
type FlatTest struct {
	Chi2   float64 `json:"chi2"`
	P      float64 `json:"p"`
	Slope  float64 `json:"slope"`
	PSlope float64 `json:"p_slope"`
	Curve  float64 `json:"curve"`
	PCurve float64 `json:"p_curve"`
}

// TestFlat computes FlatTest. Source: Jolliffe & Primo 2008, Mon. Wea. Rev. 136,
// 2133-2139.
func TestFlat(counts []int) FlatTest {
	k := len(counts)
	var n float64
	for _, c := range counts {
		n += float64(c)
	}
	expect := n / float64(k)
	mid := float64(k-1) / 2
	var t FlatTest
	var slope, curve, s2, c2 float64
	square := (float64(k)*float64(k) - 1) / 12 // mean of (i-mid)^2
	for i, c := range counts {
		dev := (float64(c) - expect) / math.Sqrt(expect)
		t.Chi2 += dev * dev
		a := float64(i) - mid
		b := a*a - square
		slope += a * dev
		curve += b * dev
		s2 += a * a
		c2 += b * b
	}
	t.Slope, t.Curve = slope*slope/s2, curve*curve/c2
	t.P = distuv.ChiSquared{K: float64(k - 1)}.Survival(t.Chi2)
	one := distuv.ChiSquared{K: 1}
	t.PSlope, t.PCurve = one.Survival(t.Slope), one.Survival(t.Curve)
	return t
}
