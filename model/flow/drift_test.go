package flow

import (
	"math"
	"slices"
	"testing"
)

// What members compute without the features one by one is what the fit was made on.
func TestDriftAndSizeAreTheProductsOfTheFeatures(t *testing.T) {
	in := wet.invent(6, 3)
	m := fitted(t, in)
	s, _, ok := m.now(in, nil)
	if !ok {
		t.Fatal("the flow is unknown")
	}
	var f [numFeatures]float64
	var g [numSizes]float64
	for d := range 400 {
		a, w := seasonOf(d), weather{air: 4 * math.Sin(float64(d)), melt: 0.3 * math.Cos(float64(d)), snow: 0.2, rain: float64(d%5) / 5}
		c, own := m.factorsOn(d), s
		drift, size := m.drift(&own, &w, &c), m.sizeOn(&own, &c)
		own.takes(&w)
		s.sizes(&g, a[0], a[1])
		s.features(&f, &w, a[0], a[1])
		if own != s {
			t.Fatalf("day %d: the state is %+v, with features %+v", d, own, s)
		}
		if want := dot(&m.factors, &f); math.Abs(drift-want) > 1e-12 {
			t.Fatalf("day %d: drift %v, by the features %v", d, drift, want)
		}
		if want := m.size(&g); math.Abs(size-want) > 1e-12*want {
			t.Fatalf("day %d: size %v, by the features %v", d, size, want)
		}
		s.moved(s.x + drift + size*math.Sin(float64(7*d)))
	}
}

// Issues of one history that share its logarithms and weather give the same bytes as
// alone, in the midst of a winter's snow as well.
func TestIssuesThatShareAHistoryGiveTheSameMembers(t *testing.T) {
	in := snowy.invent(5, 7)
	m := fitted(t, in)
	known, again := m.pastOf(in), 0
	for i := 600; i+30 < len(in.Flow); i += 37 {
		futures := otherYears(in, i, i, i+30, 30, 20)
		if repeats(futures) > 1 {
			again++
		}
		alone := slices.Clone(futures)
		for k := range alone { // so that each has weather of its own
			alone[k].Air, alone[k].Rain = slices.Clone(alone[k].Air), slices.Clone(alone[k].Rain)
		}
		if n := repeats(alone); n != 1 {
			t.Fatalf("weather comes again after %d futures, and it does not", n)
		}
		a, b := m.members(in.until(i), nil, alone, 30, 5), m.members(in.until(i), known, futures, 30, 5)
		for k := range a {
			if !slices.Equal(a[k], b[k]) {
				t.Fatalf("day %d, member %d differs", i, k)
			}
		}
	}
	if again < 10 {
		t.Errorf("weather came again on %d days", again)
	}
}
