package verify

import "math"

// QuantileScore is the pinball loss of the tau-quantile q, (1{y < q} - tau)
// (q - y) : units of y, range 0..inf, perfect 0, smaller is better. It is not
// doubled, so that the CRPS is twice its integral over tau. Source: Koenker &
// Machado 1999, J. Am. Stat. Assoc. 94, 1296-1310.
func QuantileScore(y, q, tau float64) float64 {
	return (unit(y < q) - tau) * (q - y)
}

// IntervalScore judges a central 1-alpha interval low..high,
//
//	(high-low) + (2/alpha) max(low-y, 0) + (2/alpha) max(y-high, 0):
//
// the width plus a fine for missing. Units of y, range 0..inf, smaller is
// better. Source: Gneiting & Raftery 2007, J. Am. Stat. Assoc. 102, eq. 43.
func IntervalScore(y, low, high, alpha float64) float64 {
	return high - low + 2/alpha*(math.Max(low-y, 0)+math.Max(y-high, 0))
}

// Coverage is how often outcomes fell inside their windows (ends included),
// with Wilson's 95 % interval for that share, and how wide the windows were.
// Honest 80 % windows cover 80 %; among honest ones the narrower are better.
// An outcome of NaN (not known) is left out and counted in Missing.
type Coverage struct {
	N         int     `json:"n"`
	Missing   int     `json:"missing"`
	Share     float64 `json:"share"`
	ShareLow  float64 `json:"share_low"`
	ShareHigh float64 `json:"share_high"`
	Below     int     `json:"below"` // outcomes before the window
	Above     int     `json:"above"` // outcomes after it
	Width     float64 `json:"width"` // mean width, units of y: the sharpness
}

// Cover computes Coverage. The Wilson interval takes the cases as independent;
// where several come from one season use BootstrapBySeason instead.
// Source: Wilson 1927, J. Am. Stat. Assoc. 22, 209-212.
func Cover(y, low, high []float64) Coverage {
	sameLength("coverage: lower ends", len(low), len(y))
	sameLength("coverage: upper ends", len(high), len(y))
	var c Coverage
	for i, v := range y {
		if math.IsNaN(v) {
			c.Missing++
			continue
		}
		c.N++
		c.Width += high[i] - low[i]
		switch {
		case v < low[i]:
			c.Below++
		case v > high[i]:
			c.Above++
		}
	}
	n := float64(c.N)
	c.Width /= n
	c.Share = (n - float64(c.Below+c.Above)) / n
	c.ShareLow, c.ShareHigh = Wilson(c.N-c.Below-c.Above, c.N, 0.95)
	return c
}

// Wilson is the score interval for a share of k out of n at the given level,
// NaN for n = 0.
func Wilson(k, n int, level float64) (low, high float64) {
	z := standard.Quantile((1 + level) / 2)
	p, m := float64(k)/float64(n), float64(n)
	mid := (p + z*z/(2*m)) / (1 + z*z/m)
	half := z / (1 + z*z/m) * math.Sqrt(p*(1-p)/m+z*z/(4*m*m))
	return mid - half, mid + half
}
