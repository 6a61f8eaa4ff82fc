package watertemp

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat"
)

// What a record of air and flow shows of a river beside its climate (regional.go), for
// being compared with rivers that have a thermometer; at the end what the agency's list of
// gauges adds to that.
const (
	sSummerChange = iota + nClimate - 1 // how much the flow changes on a usual warm day
	sKeeps                              // how alike the flow is ten days on
	sStill                              // on how many days it hardly changes
	sRises                              // on how many of the others it rises
	sTwiceCos                           // its wave of half a year
	sTwiceSin
	sFrost // on how many days the air is below 0 °C
	sBase  // base flow's share
	sArea  // logarithm of the drained area, km2; NaN if unknown, like the next
	sYield // logarithm of the flow from each km2 of it, m3/s
	nShown
)

// shown works those numbers out. ok is false where the flow is not known well enough.
func (m *Model) shown(in Input, logFlow []float64) (s [nShown]float64, ok bool) {
	if logFlow == nil || m.MeanFlow == 0 {
		return s, false
	}
	c := m.climate()
	copy(s[:], c[1:])
	q := bridged(in.Day0, logFlow, m.Flow, flowDies)
	var change, warm, now, later []float64
	frost, airs, still, rises, moves := 0.0, 0.0, 0.0, 0.0, 0.0
	swing := math.Hypot(m.Air[1], m.Air[2])
	for _, a := range in.Air {
		if unknown(a) {
			continue
		}
		airs++
		if a < 0 {
			frost++
		}
	}
	for i := 1; i < len(logFlow); i++ {
		if i >= 10 && !unknown(logFlow[i]) && !unknown(logFlow[i-10]) {
			now, later = append(now, logFlow[i-10]), append(later, logFlow[i])
		}
		d := logFlow[i] - logFlow[i-1]
		if unknown(d) {
			continue
		}
		change = append(change, d)
		sin, cos := wave(in.Day0 + i)
		if m.Air.at(cos, sin)-m.Air[0] > swing/2 {
			warm = append(warm, math.Abs(d))
		}
		if math.Abs(d) < 0.01 {
			still++
		}
		if math.Abs(d) > 0.005 {
			moves++
			if d > 0 {
				rises++
			}
		}
	}
	if len(change) < minFlowDays || len(warm) < minFlowDays/4 || len(now) < minFlowDays || airs == 0 {
		return s, false
	}
	slices.Sort(warm)
	const least = 0.003
	s[sSummerChange] = math.Log(between(warm, 0.5) + least)
	s[sKeeps] = stat.Correlation(now, later, nil)
	s[sStill] = still / float64(len(change))
	s[sRises] = rises / max(moves, 0.05*float64(len(change)))
	s[sTwiceCos], s[sTwiceSin] = twice(in.Day0, q, m.Flow)
	s[sFrost] = frost / airs
	s[sBase] = baseFlow(q)
	s[sArea], s[sYield] = math.NaN(), math.NaN()
	if in.DrainageKm2 > 0 {
		s[sArea], s[sYield] = math.Log(in.DrainageKm2), math.Log(m.MeanFlow/in.DrainageKm2)
	}
	return s, true
}

// twice is the wave of half a year of what a column departs from its wave of a year.
func twice(day0 int, v []float64, y year) (cos2, sin2 float64) {
	for i, x := range v {
		sin, cos := wave(day0 + i)
		d := 2 * (x - y.at(cos, sin)) / float64(len(v))
		cos2 += d * (cos*cos - sin*sin)
		sin2 += d * 2 * cos * sin
	}
	return cos2, sin2
}

// baseFlow is the share of the flow that is base flow, by the lowest of each five days
// where it is a turning point (Institute of Hydrology 1980, Low flow studies, as given in
// Gustard and others 1992, cited from memory).
func baseFlow(logFlow []float64) float64 {
	const block = 5
	n := len(logFlow) / block
	if n < 3 {
		return math.NaN()
	}
	low := make([]float64, n)
	for k := range low {
		low[k] = math.Exp(slices.Min(logFlow[k*block : (k+1)*block]))
	}
	base, flow, last := 0.0, 0.0, 0
	between := func(from, to int) {
		for i := from * block; i < to*block; i++ {
			w := (float64(i)/block - float64(from)) / float64(to-from)
			q := math.Exp(logFlow[i])
			base += min(q, low[from]+w*(low[to]-low[from]))
			flow += q
		}
	}
	for k := 1; k < n; k++ {
		if k == n-1 || 0.9*low[k] <= low[k-1] && 0.9*low[k] <= low[k+1] {
			between(last, k)
			last = k
		}
	}
	return base / flow
}
