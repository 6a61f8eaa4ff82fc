package elementary

import "math"

// logNodes is how many parts of equal width the numbers from 1 to 2 are cut into.
const logNodes = 128

// logTable holds one over the middle of each part, and the logarithm of the middle.
var logTable = func() (t [logNodes][2]float64) {
	for i := range t {
		inverse := 1 / (1 + (float64(i)+0.5)/logNodes)
		t[i] = [2]float64{inverse, -math.Log(inverse)}
	}
	return t
}()

const (
	mantissaBits = 52
	bias         = 1023
)

// Log returns the natural logarithm of x, to within 1e-15 of it or of 1, whichever is
// more: the Taylor series about the middle of the part of the mantissa, of which the
// first term left out is below (1/256)^7/7.
func Log(x float64) float64 {
	bits := math.Float64bits(x)
	exponent := int(bits >> mantissaBits)
	if exponent == 0 || exponent >= 2*bias+1 { // zero, tiny, infinite, negative or no number
		return math.Log(x)
	}
	node := &logTable[bits>>(mantissaBits-7)&(logNodes-1)]
	r := math.Float64frombits(bits&(1<<mantissaBits-1)|bias<<mantissaBits)*node[0] - 1
	series := r * (1 - r*(1.0/2-r*(1.0/3-r*(1.0/4-r*(1.0/5-r*(1.0/6))))))
	return float64(exponent-bias)*math.Ln2 + (node[1] + series)
}
