package verify

import "math"

// RPS is the ranked probability score of one forecast over ordered classes,
//
//	sum over k of (P_k - O_k)^2,  P and O cumulative,
//
// not divided by the number of classes less one (see RPSScaled). category is
// the class that came, 0-based. Range 0..K-1, perfect 0, smaller is better.
// Source: Epstein 1969, J. Appl. Meteor. 8, 985-987; Murphy 1971.
func RPS(p []float64, category int) float64 {
	var s, cum float64
	for k := range p[:len(p)-1] {
		cum += p[k]
		d := cum - unit(k >= category)
		s += d * d
	}
	return s
}

// RPSScaled is RPS/(K-1): range 0..1, the convention of some textbooks.
func RPSScaled(p []float64, category int) float64 {
	return RPS(p, category) / float64(len(p)-1)
}

// RPSFair is the RPS of class counts of m members less what is due to the
// small number of members, sum over k of BrierFair of the cumulative counts.
// NaN for fewer than two members. Source: Ferro 2014 (as BrierFair).
func RPSFair(counts []int, category int) float64 {
	var m, cum int
	for _, c := range counts {
		m += c
	}
	var s float64
	for k, c := range counts[:len(counts)-1] {
		cum += c
		s += BrierFair(cum, m, k >= category)
	}
	return s
}

// Quadratic is the quadratic score over unordered classes, sum (p_k - o_k)^2:
// range 0..2, perfect 0, smaller is better. Source: Brier 1950, the original
// form.
func Quadratic(p []float64, category int) float64 {
	var s float64
	for k, v := range p {
		d := v - unit(k == category)
		s += d * d
	}
	return s
}

// RankedLog is the log score of the cumulative classes,
// -sum over k < K-1 of ln of the probability given to the side that came.
// Range 0..inf, perfect 0, smaller is better. Source: Toedter & Ahrens 2012,
// Mon. Wea. Rev. 140, 2005-2017 (there as ranked ignorance, with log base 2).
func RankedLog(p []float64, category int) float64 {
	var s, cum float64
	for k := range p[:len(p)-1] {
		cum += p[k]
		if k >= category {
			s -= math.Log(cum)
		} else {
			s -= math.Log1p(-cum)
		}
	}
	return s
}
