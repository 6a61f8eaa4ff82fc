package engine

import (
	"math"
	"slices"
	"testing"
)

func TestNormalsAreStratifiedAndRepeatable(t *testing.T) {
	a, b, c := make([]float64, 200), make([]float64, 200), make([]float64, 200)
	Normals(a, 1, "olive/dd50")
	Normals(b, 1, "olive/dd50")
	Normals(c, 1, "olive/calendar")
	if !slices.Equal(a, b) {
		t.Error("the same seed and key gave other draws")
	}
	var sum, square, cross float64
	for i := range a {
		sum += a[i]
		square += a[i] * a[i]
		cross += a[i] * c[i]
	}
	if math.Abs(sum/200) > 0.01 || math.Abs(square/200-1) > 0.03 {
		t.Errorf("mean %v, mean square %v", sum/200, square/200)
	}
	if r := cross / 200; math.Abs(r) > 0.25 {
		t.Errorf("draws of two keys correlate by %v", r)
	}
	slices.Sort(a)
	for i, v := range a {
		if p := 0.5 * math.Erfc(-v/math.Sqrt2); p < float64(i)/200 || p > float64(i+1)/200 {
			t.Errorf("draw %d is outside its slice: %v", i, p)
		}
	}
}
