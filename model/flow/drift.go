package flow

import (
	"math"

	"example.org/eclose/model/elementary"
)

// dayFactors are the factors of a day with its season in them: the same for all members.
type dayFactors struct {
	fast, slow, month, air, change, air10 float64
	size                                  float64
}

func (m *Model) factorsOn(day int) dayFactors {
	a, b, g := seasonOf(day), &m.factors, &m.sizes
	at := func(k int) float64 { return b[k] + b[k+1]*a[0] + b[k+2]*a[1] }
	return dayFactors{at(fastAbove), at(slowAbove), at(anomaly25), at(air), at(airChange), at(air10),
		g[sizeMean] + g[sizeCos]*a[0] + g[sizeSin]*a[1]}
}

// drift is the dot product of factors and features of a day, without its features one by
// one. It leaves the state as it was; see state.features.
func (m *Model) drift(s *state, w *weather, c *dayFactors) float64 {
	b := &m.factors
	d, high := s.x-s.before, min(max(s.x-s.mean25, 0), highMost)
	rose := max(d, 0)
	of3, of15 := w.melt+keep3*(s.melt3-w.melt), w.melt+keep15*(s.melt15-w.melt)
	mean10 := w.air + keep10*(s.air10-w.air)
	flow := c.fast*(s.x-s.mean5) + c.slow*(s.mean5-s.mean25) + c.month*(s.mean25-s.mean90) + b[anomaly90]*s.mean90 +
		b[roseBy]*rose + b[roseLittle]*(rose/(1+rose/littleRise)) + b[fellBy]*min(d, 0) + b[highAbove]*(high*high)
	warmth := (c.air*w.air + c.change*(w.air-s.air) + c.air10*mean10) / airUnit
	snowmelt := b[melt3]*of3 + b[melt15]*of15 + b[snow]*w.snow
	return flow + warmth + snowmelt + w.rain*(b[rain]+b[rainOnWet]*s.mean25) + b[rainBefore]*s.rain + b[constant]
}

// sizeOn is size with the features of state.sizes.
func (m *Model) sizeOn(s *state, c *dayFactors) float64 {
	g, fast := &m.sizes, s.x-s.mean5
	v := c.size + g[sizeAbove]*fast + g[sizeAboveAbs]*elementary.Log(math.Abs(fast)+sizeUnit) + g[sizeAnomaly]*s.mean25 +
		g[sizeChange]*elementary.Log(math.Abs(s.x-s.before)+sizeUnit)
	return elementary.Exp(min(max(v, logSizeLeast), logSizeMost))
}

// repeats returns after how many futures their weather comes again, as in hindcasts of
// more members than there are years; 1 where each is another.
func repeats(futures []Future) int {
	if len(futures) == 0 || len(futures[0].Air) == 0 {
		return 1
	}
	same := func(a, b []float64) bool {
		return len(a) == len(b) && (len(a) == 0 || &a[0] == &b[0])
	}
	for n := 1; n < len(futures); n++ {
		if !same(futures[n].Air, futures[0].Air) || !same(futures[n].Rain, futures[0].Rain) {
			continue
		}
		for k := n; k < len(futures); k++ {
			if !same(futures[k].Air, futures[k-n].Air) || !same(futures[k].Rain, futures[k-n].Rain) {
				return 1
			}
		}
		return n
	}
	return 1
}
