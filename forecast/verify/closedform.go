package verify

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"
)

// The closed forms below are the integral of (F(t) - 1{t >= y})^2 over t for
// named distributions: units of y, range 0..inf, perfect 0, smaller is better,
// as for CRPS. Unless another is named, the source is Jordan, Krueger & Lerch
// 2019, J. Stat. Softw. 90(12), appendix A.

var standard = distuv.UnitNormal

// CRPSNormal is for a normal forecast, sd > 0, z = (y-mean)/sd:
//
//	sd (z (2 Phi(z) - 1) + 2 phi(z) - 1/sqrt(pi)).
//
// sd = 0 is taken as a point forecast. Source: Gneiting et al. 2005, Mon. Wea.
// Rev. 133, 1098-1118, eq. 5.
func CRPSNormal(y, mean, sd float64) float64 {
	if sd == 0 {
		return math.Abs(y - mean)
	}
	z := (y - mean) / sd
	return sd * (z*math.Erf(z/math.Sqrt2) + 2*standard.Prob(z) - 1/math.Sqrt(math.Pi))
}

// CRPSNormalMixture is for the mixture sum w_i N(mean_i, sd_i^2), weights scaled
// to sum to 1. With A(d, s) = d erf(d/(s sqrt 2)) + 2 s phi(d/s):
//
//	sum w_i A(y-mean_i, sd_i) - (1/2) sum_ij w_i w_j A(mean_i-mean_j, hypot(sd_i, sd_j)).
//
// Source: Grimit et al. 2006, Q. J. R. Meteorol. Soc. 132, 2925-2942.
func CRPSNormalMixture(y float64, mean, sd, weight []float64) float64 {
	sameLength("CRPS of a mixture: means and sds", len(mean), len(sd))
	sameLength("CRPS of a mixture: means and weights", len(mean), len(weight))
	var total, first, second float64
	for i, w := range weight {
		total += w
		first += w * meanAbs(y-mean[i], sd[i])
		for j, v := range weight {
			second += w * v * meanAbs(mean[i]-mean[j], math.Hypot(sd[i], sd[j]))
		}
	}
	return first/total - second/(2*total*total)
}

// meanAbs is E|X| for X ~ N(d, s^2).
func meanAbs(d, s float64) float64 {
	if s == 0 {
		return math.Abs(d)
	}
	return d*math.Erf(d/(s*math.Sqrt2)) + 2*s*standard.Prob(d/s)
}

// CRPSNormalCensored is for a normal forecast whose mass below lower lies on
// lower and above upper on upper (either may be infinite).
func CRPSNormalCensored(y, mean, sd, lower, upper float64) float64 {
	return crpsBounded(y, mean, sd, lower, upper, false)
}

// CRPSNormalTruncated is for a normal forecast conditioned to lie within
// lower..upper (either may be infinite).
func CRPSNormalTruncated(y, mean, sd, lower, upper float64) float64 {
	return crpsBounded(y, mean, sd, lower, upper, true)
}

// crpsBounded integrates (Phi(t)-a)^2 below the outcome and, by symmetry, the
// same above it, then scales; a and the scale are 0 and 1 when censored.
func crpsBounded(y, mean, sd, lower, upper float64, truncated bool) float64 {
	l, u, z := (lower-mean)/sd, (upper-mean)/sd, (y-mean)/sd
	in := min(max(z, l), u)
	var a, b, mass float64 = 0, 0, 1
	if truncated {
		a, b = standard.CDF(l), standard.CDF(-u)
		mass = 1 - a - b
	}
	inside := (squaredCDF(in, a) - squaredCDF(l, a)) + (squaredCDF(-in, b) - squaredCDF(-u, b))
	return sd * (math.Abs(z-in) + inside/(mass*mass))
}

// squaredCDF is the antiderivative of (Phi(t) - a)^2 that vanishes at -inf for
// a = 0: t Phi^2 + 2 Phi phi - Phi(t sqrt 2)/sqrt(pi) - 2a (t Phi + phi) + a^2 t.
func squaredCDF(t, a float64) float64 {
	if math.IsInf(t, -1) {
		return 0 // only met with a = 0
	}
	c, d := standard.CDF(t), standard.Prob(t)
	return t*c*c + 2*c*d - standard.CDF(t*math.Sqrt2)/math.Sqrt(math.Pi) - 2*a*(t*c+d) + a*a*t
}

// CRPSLogistic is for location and scale > 0, z = (y-location)/scale:
// scale (z - 2 ln F(z) - 1).
func CRPSLogistic(y, location, scale float64) float64 {
	z := (y - location) / scale
	// -ln F(z) = ln(1 + e^-z), written so that neither tail overflows.
	logF := -(math.Max(-z, 0) + math.Log1p(math.Exp(-math.Abs(z))))
	return scale * (z - 2*logF - 1)
}

// CRPSLogNormal is for ln X ~ N(mu, sigma^2):
//
//	y (2F(y)-1) - 2 exp(mu + sigma^2/2) (Phi((ln y - mu)/sigma - sigma) + Phi(sigma/sqrt 2) - 1).
//
// Source: Baran & Lerch 2015, Q. J. R. Meteorol. Soc. 141, 2289-2299.
func CRPSLogNormal(y, mu, sigma float64) float64 {
	z := math.Inf(-1)
	if y > 0 {
		z = (math.Log(y) - mu) / sigma
	}
	mean := math.Exp(mu + sigma*sigma/2)
	return y*(2*standard.CDF(z)-1) - 2*mean*(standard.CDF(z-sigma)+standard.CDF(sigma/math.Sqrt2)-1)
}

// CRPSGamma is for shape k and rate r, F_k the gamma distribution function:
//
//	y (2 F_k(y)-1) - (k/r)(2 F_k+1(y)-1) - 1/(r B(1/2, k)).
//
// Source: Scheuerer & Moeller 2015, Ann. Appl. Stat. 9, 1328-1349.
func CRPSGamma(y, shape, rate float64) float64 {
	t := math.Max(y*rate, 0)
	return y*(2*mathext.GammaIncReg(shape, t)-1) - shape/rate*(2*mathext.GammaIncReg(shape+1, t)-1) -
		1/(rate*mathext.Beta(0.5, shape))
}

// CRPSStudentT is for nu > 1 degrees of freedom, z = (y-location)/scale:
//
//	scale (z (2F(z)-1) + 2 f(z) (nu+z^2)/(nu-1) - 2 sqrt(nu) B(1/2, nu-1/2) / ((nu-1) B(1/2, nu/2)^2)).
func CRPSStudentT(y, location, scale, nu float64) float64 {
	z := (y - location) / scale
	t := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}
	b := mathext.Beta(0.5, nu/2)
	return scale * (z*(2*t.CDF(z)-1) + 2*t.Prob(z)*(nu+z*z)/(nu-1) -
		2*math.Sqrt(nu)/(nu-1)*mathext.Beta(0.5, nu-0.5)/(b*b))
}

// CRPSUniform is for the interval low..high, w its width and z the outcome
// scaled to it, c = clip(z, 0, 1): w (|z-c| + c^2 - c + 1/3).
func CRPSUniform(y, low, high float64) float64 {
	w := high - low
	z := (y - low) / w
	c := min(max(z, 0), 1)
	return w * (math.Abs(z-c) + c*c - c + 1./3)
}

// CRPSExponential is for rate r: |y| - (2/r) F(y) + 1/(2r).
func CRPSExponential(y, rate float64) float64 {
	f := -math.Expm1(-rate * math.Max(y, 0))
	return math.Abs(y) - 2*f/rate + 0.5/rate
}

// CRPSDiscrete is for a distribution on the whole numbers from, from+1, ...
// with the given distribution function values, the last being taken as 1:
//
//	sum_k (F(k) - 1{k >= y})^2.
//
// This is the exact score of a forecast that names a day. Outcomes outside the
// listed days are charged for every day between. Source: Wei & Held 2014, TEST
// 23, 787-805, eq. 2.
func CRPSDiscrete(y float64, from int, cdf []float64) float64 {
	if len(cdf) == 0 {
		return math.NaN()
	}
	last := from + len(cdf) - 1
	s := math.Max(0, float64(from)-y) + math.Max(0, y-float64(last))
	for i, f := range cdf[:len(cdf)-1] {
		if float64(from+i) >= y {
			f--
		}
		s += f * f
	}
	return s
}

// CRPSPoisson is for mean lambda, summed to where nothing is left to sum.
func CRPSPoisson(y, lambda float64) float64 {
	return CRPSDiscrete(y, 0, cumulate(distuv.Poisson{Lambda: lambda}.Prob, int(math.Max(y, lambda)+40*math.Sqrt(lambda+1)+40)))
}

// CRPSBinomial is for n trials of probability p.
func CRPSBinomial(y float64, n int, p float64) float64 {
	return CRPSDiscrete(y, 0, cumulate(distuv.Binomial{N: float64(n), P: p}.Prob, n))
}

func cumulate(prob func(float64) float64, last int) []float64 {
	var s float64
	return each(last+1, func(k int) float64 { s += prob(float64(k)); return s })
}

// LogScore is -ln f(y) of any distribution that knows its log density. Range
// -inf..inf (0..inf for a discrete one), smaller is better, +Inf where the
// forecast had excluded the outcome.
func LogScore(forecast interface{ LogProb(float64) float64 }, y float64) float64 {
	return -forecast.LogProb(y)
}
