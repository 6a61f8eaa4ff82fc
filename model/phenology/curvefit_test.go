package phenology

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"
)

// Family is a two-parameter form of the share of a season that has emerged by x,
// x a day of the year or a sum of degree-days.
type Family int

// The families, with their parameters in order.
const (
	Normal    Family = iota // mean, sd
	Logistic                // location, scale
	LogNormal               // mean and sd of ln x
	Weibull                 // shape, scale
	Gamma                   // shape, scale
)

// Families are all of them.
var Families = []Family{Normal, Logistic, LogNormal, Weibull, Gamma}

func (f Family) String() string {
	return [...]string{"normal", "logistic", "lognormal", "weibull", "gamma"}[f]
}

// positive tells that the family lives on x > 0.
func (f Family) positive() bool { return f >= LogNormal }

// CDF is the share emerged by x.
func (f Family) CDF(x, a, b float64) float64 {
	if f.positive() && x <= 0 {
		return 0
	}
	switch f {
	case Normal:
		return phi((x - a) / b)
	case Logistic:
		return 1 / (1 + math.Exp(-(x-a)/b))
	case LogNormal:
		return phi((math.Log(x) - a) / b)
	case Weibull:
		return -math.Expm1(-math.Pow(x/b, a))
	default:
		return mathext.GammaIncReg(a, x/b)
	}
}

// Median is the x by which half has emerged.
func (f Family) Median(a, b float64) float64 {
	switch f {
	case Normal, Logistic:
		return a
	case LogNormal:
		return math.Exp(a)
	case Weibull:
		return b * math.Pow(math.Ln2, 1/a)
	default:
		return distuv.Gamma{Alpha: a, Beta: 1 / b}.Quantile(0.5)
	}
}

// CurveFit is a fitted curve. NegLogLik leaves the multinomial constant out.
type CurveFit struct {
	Family    Family
	A, B      float64
	NegLogLik float64
}

// FitCurve fits a family to the animals caught between visits by maximum
// likelihood: multinomial over the visits with cells
//
//	F(x_1), F(x_2) - F(x_1), ..., 1 - F(x_{n-1})
//
// so that the whole season is taken to lie within the record. x must not fall;
// visits at equal x form empty cells, which may hold no animals.
func FitCurve(f Family, x, count []float64) (CurveFit, error) {
	if len(x) != len(count) || len(x) < 3 {
		return CurveFit{}, fmt.Errorf("fitting a curve: %d visits and %d catches", len(x), len(count))
	}
	var n, sum, sq float64
	for i, c := range count {
		if c < 0 || i > 0 && x[i] < x[i-1] {
			return CurveFit{}, fmt.Errorf("fitting a curve: visit %d has %v animals at %v", i, c, x[i])
		}
		n, sum, sq = n+c, sum+c*x[i], sq+c*x[i]*x[i]
	}
	if n == 0 {
		return CurveFit{}, errors.New("fitting a curve: nothing was caught")
	}
	mean := sum / n
	sd := math.Sqrt(math.Max(sq/n-mean*mean, 1e-6*(1+mean*mean)))
	nll := func(a, b float64) float64 {
		var s, last float64
		for i, c := range count {
			next := 1.0
			if i < len(x)-1 {
				next = f.CDF(x[i], a, b)
			}
			if c > 0 {
				s -= c * math.Log(math.Max(next-last, 1e-300))
			}
			last = next
		}
		return s
	}
	// Scales, and locations of positive families, are searched as logarithms.
	start := []float64{mean, math.Log(sd)}
	back := func(p []float64) (a, b float64) { return p[0], math.Exp(p[1]) }
	switch f {
	case Logistic:
		start[1] = math.Log(sd * math.Sqrt(3) / math.Pi)
	case LogNormal:
		s2 := math.Log1p(sd * sd / mean / mean)
		start = []float64{math.Log(mean) - s2/2, math.Log(s2) / 2}
	case Weibull, Gamma:
		k := mean * mean / sd / sd
		start = []float64{math.Log(k), math.Log(mean / k)}
		if f == Weibull {
			start = []float64{math.Log(math.Sqrt(k) * 1.1), math.Log(mean * 1.1)}
		}
		back = func(p []float64) (a, b float64) { return math.Exp(p[0]), math.Exp(p[1]) }
	case Normal: // starts at the mean and spread
	}
	// Locations are searched in units of the spread, so that a simplex fits both.
	unit := 1.0
	if f == Normal || f == Logistic {
		unit = sd
		start[0] /= unit
		whole := back
		back = func(p []float64) (a, b float64) { return whole([]float64{p[0] * unit, p[1]}) }
	}
	problem := optimize.Problem{Func: func(p []float64) float64 { return nll(back(p)) }}
	best := start
	for range 3 { // restarts shake a collapsed simplex
		res, err := optimize.Minimize(problem, best, &optimize.Settings{
			Converger: &optimize.FunctionConverge{Absolute: 1e-10, Iterations: 200},
		}, &optimize.NelderMead{SimplexSize: 0.1})
		if err != nil {
			return CurveFit{}, fmt.Errorf("fitting a %v curve: %w", f, err)
		}
		best = res.X
	}
	a, b := back(best)
	return CurveFit{f, a, b, nll(a, b)}, nil
}
