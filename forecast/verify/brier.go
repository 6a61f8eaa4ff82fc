package verify

import (
	"cmp"
	"math"
	"slices"
	"sort"
)

// Brier is the mean squared difference of probability and outcome,
//
//	BS = (1/N) sum (p_i - y_i)^2,  y in {0, 1}.
//
// Range 0..1, perfect 0, smaller is better. This is half of Brier's own
// two-class form of 1950. Source: Brier 1950, Mon. Wea. Rev. 78, 1-3; the
// halved form as in Murphy 1973, J. Appl. Meteor. 12, 595-600.
func Brier(p []float64, y []bool) float64 {
	sameLength("Brier score", len(p), len(y))
	return mean(each(len(p), func(i int) float64 { d := p[i] - unit(y[i]); return d * d }))
}

// Bin is a set of forecasts taken together: N of them, with mean probability
// P, of which Events came true.
type Bin struct {
	P      float64 `json:"p"`
	N      int     `json:"n"`
	Events int     `json:"events"`
	// variance of the forecasts in the bin times N, and their covariance with
	// the outcomes times N: zero when all forecasts in it are equal.
	ssp, spy float64
}

// Frequency is the observed relative frequency of the bin, NaN when empty.
func (b Bin) Frequency() float64 {
	if b.N == 0 {
		return math.NaN()
	}
	return float64(b.Events) / float64(b.N)
}

// Distinct puts forecasts of exactly equal probability into one bin each, in
// rising order: the partition under which Murphy's decomposition is exact.
func Distinct(p []float64, y []bool) []Bin {
	sameLength("bins", len(p), len(y))
	order := each(len(p), func(i int) float64 { return p[i] })
	slices.Sort(order)
	order = slices.Compact(order)
	return bins(p, y, len(order), func(v float64) int {
		i, _ := slices.BinarySearch(order, v)
		return i
	})
}

// Binned puts forecasts into the bins [e0,e1), [e1,e2), ... [e_last-1,e_last]
// (the last is closed). Empty bins are left out. A forecast outside the edges
// goes into the nearest bin: none is dropped silently.
func Binned(p []float64, y []bool, edges []float64) []Bin {
	sameLength("bins", len(p), len(y))
	n := len(edges) - 1
	if n < 1 {
		panic("verify: bins need at least two edges")
	}
	return bins(p, y, n, func(v float64) int {
		i := sort.Search(n, func(i int) bool { return v < edges[i+1] })
		return min(i, n-1)
	})
}

// EqualBins are the n+1 edges of n equally wide bins over 0..1.
func EqualBins(n int) []float64 {
	return each(n+1, func(i int) float64 { return float64(i) / float64(n) })
}

func bins(p []float64, y []bool, n int, index func(float64) int) []Bin {
	out := make([]Bin, n)
	at := make([]int, len(p))
	for i, v := range p {
		k := index(v)
		at[i] = k
		out[k].N++
		out[k].P += v
		if y[i] {
			out[k].Events++
		}
	}
	for k := range out {
		if out[k].N > 0 {
			out[k].P /= float64(out[k].N)
		}
	}
	for i, v := range p {
		b := &out[at[i]]
		d := v - b.P
		b.ssp += d * d
		b.spy += d * (unit(y[i]) - b.Frequency())
	}
	out = slices.DeleteFunc(out, func(b Bin) bool { return b.N == 0 })
	sort.SliceStable(out, func(i, j int) bool { return cmp.Compare(out[i].P, out[j].P) < 0 })
	return out
}

// Decomposition splits a Brier score,
//
//	BS = Reliability - Resolution + Uncertainty + WithinVariance - WithinCovariance
//
// an identity for every set of bins. Reliability: 0 is perfect, smaller is
// better. Resolution: larger is better, at most Uncertainty. Uncertainty
// belongs to the events, not to the forecasts. The two within-bin terms are
// zero exactly when all forecasts in a bin are equal (see Distinct).
type Decomposition struct {
	Brier            float64 `json:"brier"`
	Reliability      float64 `json:"reliability"`
	Resolution       float64 `json:"resolution"`
	Uncertainty      float64 `json:"uncertainty"`
	WithinVariance   float64 `json:"within_variance"`
	WithinCovariance float64 `json:"within_covariance"`
}

// Decompose gives the terms for a set of bins,
//
//	REL = sum n_k (p_k - o_k)^2 / N      RES = sum n_k (o_k - o)^2 / N
//	UNC = o (1 - o)                      WBV = sum_k sum_i (p_ki - p_k)^2 / N
//	WBC = 2 sum_k sum_i (p_ki - p_k)(y_ki - o_k) / N.
//
// Source: Murphy 1973, J. Appl. Meteor. 12, 595-600; within-bin terms from
// Stephenson, Coelho & Jolliffe 2008, Wea. Forecasting 23, 752-757.
func Decompose(bins []Bin) Decomposition {
	n, base := total(bins)
	var d Decomposition
	for _, b := range bins {
		w, o := float64(b.N), b.Frequency()
		d.Reliability += w * (b.P - o) * (b.P - o)
		d.Resolution += w * (o - base) * (o - base)
		d.WithinVariance += b.ssp
		d.WithinCovariance += 2 * b.spy
	}
	d.Reliability /= n
	d.Resolution /= n
	d.WithinVariance /= n
	d.WithinCovariance /= n
	d.Uncertainty = base * (1 - base)
	d.Brier = d.Reliability - d.Resolution + d.Uncertainty + d.WithinVariance - d.WithinCovariance
	return d
}

func total(bins []Bin) (n, base float64) {
	var events float64
	for _, b := range bins {
		n += float64(b.N)
		events += float64(b.Events)
	}
	return n, events / n
}
