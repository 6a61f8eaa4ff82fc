//go:build unix

package flow

import (
	"math"
	"testing"
)

// BenchmarkRiver forecasts 200 members of 60 days of a fitted river: a thousand such are
// the daily work of a country. BenchmarkRiverNaive is the same arithmetic without what is
// kept from day to day: seasons and running means are worked out anew each day.
func BenchmarkRiver(b *testing.B) {
	in := snowy.invent(8, 1)
	in.Rain = nil
	m := fitted(b, in)
	futures := pastFutures(in, 60, 200)
	b.ReportAllocs()
	since := cpuSeconds()
	for b.Loop() {
		m.Forecast(in, futures, 60, 1)
	}
	reportCPU(b, since)
}

// BenchmarkJoinedRiver joins three services in front as well.
func BenchmarkJoinedRiver(b *testing.B) {
	in := snowy.invent(8, 1)
	in.Rain = nil
	m := fitted(b, in)
	futures := pastFutures(in, 60, 200)
	now := in.Flow[len(in.Flow)-1]
	services := []Official{spate(1, 5, 2*now), spate(6, 9, 2*now), spate(4, 30, 2*now)}
	b.ReportAllocs()
	since := cpuSeconds()
	for b.Loop() {
		m.Join(m.Forecast(in, futures, 60, 1), services, now, 1)
	}
	reportCPU(b, since)
}

func BenchmarkRiverNaive(b *testing.B) {
	in := snowy.invent(8, 1)
	in.Rain = nil
	m := fitted(b, in)
	futures := pastFutures(in, 60, 200)
	b.ReportAllocs()
	since := cpuSeconds()
	for b.Loop() {
		for k := range futures {
			m.naive(in, futures[k], 60)
		}
	}
	reportCPU(b, since)
}

func BenchmarkFit(b *testing.B) {
	in := snowy.invent(8, 1)
	in.Rain = nil
	since := cpuSeconds()
	for b.Loop() {
		fitted(b, in)
	}
	reportCPU(b, since)
}

// naive is a member without errors, from the whole history each time.
func (m *Model) naive(history Input, f Future, days int) []float64 {
	s, p, _ := m.now(history, nil)
	day := history.Day0 + len(history.Flow)
	out := make([]float64, days)
	var x [numFeatures]float64
	for d := range days {
		n := m.normalOn(day + d)
		w := m.weather(&n, f.Air[d], math.NaN(), &p)
		year := 2 * math.Pi * math.Mod(float64(day+d)+0.5, 365.25) / 365.25
		s.features(&x, &w, math.Cos(year), math.Sin(year))
		y := s.x + dot(&m.factors, &x)
		s.before, s.x = s.x, y
		for _, mean := range []struct {
			to   *float64
			days float64
		}{{&s.mean5, 5}, {&s.mean25, 25}, {&s.mean90, 90}} {
			k := math.Exp(-1 / mean.days)
			*mean.to = y + k*(*mean.to-y)
		}
		out[d] = m.flow(m.climate.at(day+d) + y)
	}
	return out
}
