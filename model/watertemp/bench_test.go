package watertemp

import (
	"math"
	"math/rand/v2"
	"testing"
)

// The inner step beside what it cannot be faster than: the sum of products over
// the features and the exponentials of the exact step, on numbers at hand.
func BenchmarkRiverDay(b *testing.B) {
	in := invented(rand.New(rand.NewPCG(3, 1)), 3652)
	m := Model{Params: pooled.around(average)}
	m.localize(in)
	air, flow := m.forcing(in.Day0, in.Air, in.Flow)
	h := harmonicsOf(in.Day0, len(air))
	out := make([]float64, len(air))
	rows := make([]row, len(air))
	mem := m.begin(in.Day0)
	for i := range rows {
		mem.day(&rows[i], m.Air[0], air[i], flow[i], h.cos[i], h.sin[i])
	}
	k := m.Params.rates(m.Air[0])
	perDay := func(b *testing.B) {
		b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/float64(len(air)), "ns/river-day")
	}
	b.Run("features and step", func(b *testing.B) {
		for b.Loop() {
			m.run(out, in.Day0, air, flow, h, m.begin(in.Day0), 5)
		}
		perDay(b)
	})
	b.Run("features, step and regression", func(b *testing.B) {
		two := m
		l := pooledLags.around(m.climate())
		two.Lags = &l
		for b.Loop() {
			two.run(out, in.Day0, air, flow, h, m.begin(in.Day0), 5)
		}
		perDay(b)
	})
	b.Run("features, step, regression and kriging", func(b *testing.B) {
		whole, err := Fit(in, Options{Seed: 1, Starts: 1})
		if err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
			whole.run(out, in.Day0, air, flow, h, whole.begin(in.Day0), 5)
		}
		perDay(b)
	})
	b.Run("step", func(b *testing.B) {
		t := 5.0
		for b.Loop() {
			for i := range rows {
				t = k.step(t, &rows[i])
			}
		}
		perDay(b)
	})
	b.Run("derivatives and normal equations", func(b *testing.B) {
		f, err := newFitter(in)
		if err != nil {
			b.Fatal(err)
		}
		for b.Loop() {
			f.normal(&m.Params)
		}
		perDay(b)
	})
	b.Run("limit: products and two exponentials", func(b *testing.B) {
		f := (*[nFeature]float64)(m.Params[pFeature:])
		sum := 0.0
		for b.Loop() {
			for i := range rows {
				s, x := 0.0, &rows[i].x
				for j := range nFeature {
					s += f[j] * x[j]
				}
				sum += s * math.Exp(-0.1*rows[i].flow) * math.Exp(-0.5*rows[i].ratio)
			}
		}
		perDay(b)
		if math.IsNaN(sum) {
			b.Error("not a number")
		}
	})
}

func BenchmarkFitTenYears(b *testing.B) {
	in := invented(rand.New(rand.NewPCG(3, 1)), 3652)
	for b.Loop() {
		if _, err := Fit(in, Options{Seed: 1}); err != nil {
			b.Fatal(err)
		}
	}
}

// An outlook's share of the water model: 200 members of 120 days, weather and all.
func BenchmarkForecast(b *testing.B) {
	in := invented(rand.New(rand.NewPCG(3, 1)), 3652)
	m, err := Fit(in, Options{Seed: 1, Starts: 1})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		m.Forecast(in, nil, 120, 200, 1)
	}
	b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/(200*120), "ns/member-day")
}

// A river without a thermometer beside a fitted one: the same outlook, and what it takes
// to find the rivers alike, with the table at hand and from nothing.
func BenchmarkRiversAlike(b *testing.B) {
	in := invented(rand.New(rand.NewPCG(3, 1)), 3652)
	fitted, err := Fit(in, Options{Seed: 1, Starts: 1})
	if err != nil {
		b.Fatal(err)
	}
	blind := dry(in)
	b.Run("outlook of a fitted river", func(b *testing.B) {
		for b.Loop() {
			fitted.Forecast(in, nil, 365, 200, 1)
		}
	})
	b.Run("outlook by rivers alike", func(b *testing.B) {
		for b.Loop() {
			m := Prior(nil).At(blind)
			m.Forecast(blind, nil, 365, 200, 1)
		}
	})
	b.Run("finding them", func(b *testing.B) {
		for b.Loop() {
			Prior(nil).At(blind)
		}
	})
	b.Run("the table made ready", func(b *testing.B) {
		b.ReportAllocs()
		for b.Loop() {
			newLearner(learntRivers(), nShown)
		}
	})
}
