package verify

import "math"

// LogBinary is the mean of -ln of the probability given to what happened.
// Range 0..inf, perfect 0, smaller is better; +Inf as soon as one thing happens
// that was called impossible, which is the point of it.
// Source: Good 1952, J. R. Stat. Soc. B 14, 107-114.
func LogBinary(p []float64, y []bool) float64 {
	sameLength("log score", len(p), len(y))
	return Mean(each(len(p), func(i int) float64 {
		if y[i] {
			return -math.Log(p[i])
		}
		return -math.Log1p(-p[i])
	}))
}

// LogNormal is the log score -ln f(y) of a normal forecast with the given mean
// and standard deviation sd > 0: range -inf..inf, smaller is better.
func LogNormal(y, mean, sd float64) float64 {
	z := (y - mean) / sd
	return z*z/2 + math.Log(sd) + math.Log(2*math.Pi)/2
}

// LogLogistic is the log score of a logistic forecast, scale > 0, with
// z = (y-location)/scale: z + 2 ln(1 + e^-z) + ln scale. Smaller is better.
func LogLogistic(y, location, scale float64) float64 {
	z := math.Abs((y - location) / scale) // symmetric
	return z + 2*math.Log1p(math.Exp(-z)) + math.Log(scale)
}

// LogKernel is the log score of an ensemble dressed with normal kernels of
// Silverman's width,
//
//	-ln (1/m) sum phi((y - x_i)/h)/h,  h = 1.06 min(s, IQR/1.34) m^(-1/5).
//
// Smaller is better. NaN for fewer than two members. Source: Silverman 1986,
// Density Estimation, section 3.4.2, with Scott's factor 1.06 as scoring
// packages have it (Silverman himself advises 0.9); quartiles by linear interpolation (R's type 7).
func LogKernel(y float64, members []float64) float64 {
	m := len(members)
	if m < 2 {
		return math.NaN()
	}
	x := sorted(members)
	s := math.Sqrt(variance(x))
	h := min(s, (QuantileOfSorted(x, 0.75)-QuantileOfSorted(x, 0.25))/1.34)
	if h == 0 {
		h = s
	}
	h *= 1.06 * math.Pow(float64(m), -0.2)
	// log-sum-exp, so that a far outcome gives a large score and not +Inf.
	largest := math.Inf(-1)
	terms := each(m, func(i int) float64 { z := (y - x[i]) / h; return -z * z / 2 })
	for _, t := range terms {
		largest = max(largest, t)
	}
	var sum float64
	for _, t := range terms {
		sum += math.Exp(t - largest)
	}
	return -largest - math.Log(sum/float64(m)) + math.Log(h) + math.Log(2*math.Pi)/2
}

// DawidSebastiani is the score of the first two moments of an ensemble,
//
//	2 ln s + ((y - mean)/s)^2
//
// halved nowhere, with s^2 the variance of divisor m. Smaller is better.
// Source: Dawid & Sebastiani 1999, Ann. Statist. 27, 65-81, eq. 2 for the
// normal case.
func DawidSebastiani(y float64, members []float64) float64 {
	m := float64(len(members))
	s2 := variance(members) * (m - 1) / m
	d := y - Mean(members)
	return math.Log(s2) + d*d/s2
}
