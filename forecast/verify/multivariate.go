package verify

import "math"

// Energy is the energy score of members that are points (several sites, stages
// or days together), with Euclidean distance:
//
//	mean |x_i - y| - (1/(2 m^2)) sum_ij |x_i - x_j|.
//
// CRPS in one dimension; same orientation. members[i] is one member.
// Source: Gneiting & Raftery 2007, eq. 22.
func Energy(y []float64, members [][]float64) float64 {
	m := float64(len(members))
	var first, second float64
	for _, a := range members {
		first += distance(a, y)
		for _, b := range members {
			second += distance(a, b)
		}
	}
	return first/m - second/(2*m*m)
}

func distance(a, b []float64) float64 {
	var s float64
	for i := range a {
		d := a[i] - b[i]
		s += d * d
	}
	return math.Sqrt(s)
}

// Variogram is the variogram score of order p with unit weights,
//
//	sum_ij (|y_i - y_j|^p - mean over members |x_i - x_j|^p)^2:
//
// sensitive to dependence between the components. Range 0..inf, perfect 0,
// smaller is better. Source: Scheuerer & Hamill 2015, Mon. Wea. Rev. 143,
// 1321-1334.
func Variogram(y []float64, members [][]float64, p float64) float64 {
	var s float64
	for i := range y {
		for j := range y {
			var v float64
			for _, x := range members {
				v += math.Pow(math.Abs(x[i]-x[j]), p)
			}
			d := math.Pow(math.Abs(y[i]-y[j]), p) - v/float64(len(members))
			s += d * d
		}
	}
	return s
}
