package elementary

import "math"

// The bounds of the table and the distance of its nodes.
const (
	expLow, expHigh = -40, 12
	expPerUnit      = 32
)

var expTable = func() (t [(expHigh-expLow)*expPerUnit + 1]float64) {
	for i := range t {
		t[i] = math.Exp(expLow + float64(i)/expPerUnit)
	}
	return t
}()

// Exp returns e to the power of x, to within 3e-14 of it: the Taylor series about the nearest node
// of the table, of which the first term left out is below (1/64)^6/720.
func Exp(x float64) float64 {
	if !(x > expLow && x < expHigh) {
		return math.Exp(x)
	}
	i := int((x-expLow)*expPerUnit + 0.5)
	d := x - expLow - float64(i)*(1.0/expPerUnit)
	return expTable[i] * (1 + d*(1+d*(1.0/2+d*(1.0/6+d*(1.0/24+d*(1.0/120))))))
}
