package degreeday

import "math"

// half is a half-wave seen from the two thresholds: mean excess over the lower
// and over the upper, and the share of time above the upper.
type half struct {
	overL, overU, shareU float64
}

// sineHalf is a half-wave of sine from n up to x (n <= x). Mean excess over c:
//
//	0                                        for x <= c
//	M - c                                    for n >= c
//	[(M-c)(pi/2 - t) + A cos t] / pi         else, t = asin((c-M)/A)
//
// with M = (n+x)/2, A = (x-n)/2; share of time above c: 1/2 - t/pi. Source:
// Zalom et al. 1983, UC Leaflet 21373, after Baskerville and Emin 1969.
func sineHalf(n, x, lower, upper float64) half {
	var h half
	h.overL, _ = sineOver(n, x, lower)
	if x > upper {
		h.overU, h.shareU = sineOver(n, x, upper)
	}
	return h
}

func sineOver(n, x, c float64) (excess, share float64) {
	if x <= c {
		return 0, 0
	}
	m := (n + x) / 2
	if n >= c {
		return m - c, 1
	}
	a := (x - n) / 2
	s := min(max((c-m)/a, -1), 1)
	t := math.Asin(s)
	return ((m-c)*(math.Pi/2-t) + a*math.Sqrt(1-s*s)) / math.Pi, 0.5 - t/math.Pi
}

// triangleHalf is a straight line from n up to x (n <= x). Mean excess over c
// where the line crosses it: (x-c)^2 / (2(x-n)); share of time above: (x-c)/(x-n).
// Source: Zalom et al. 1983, UC Leaflet 21373.
func triangleHalf(n, x, lower, upper float64) half {
	var h half
	h.overL, _ = triangleOver(n, x, lower)
	if x > upper {
		h.overU, h.shareU = triangleOver(n, x, upper)
	}
	return h
}

func triangleOver(n, x, c float64) (excess, share float64) {
	if x <= c {
		return 0, 0
	}
	if n >= c {
		return (n+x)/2 - c, 1
	}
	return (x - c) * (x - c) / (2 * (x - n)), (x - c) / (x - n)
}
