package rivers

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
)

// invented is a source of daily records made up from a seed.
type invented struct {
	first, last int // years
	now         time.Time
}

func (s invented) Whole(_ context.Context, r forecast.River) (forecast.Record, error) {
	var seed uint64
	for _, c := range r.Slug {
		seed = seed*31 + uint64(c)
	}
	rng := rand.New(rand.NewPCG(seed, 3))
	rec := forecast.Record{Day0: date(s.first, 1, 1), Issue: date(s.last+1, 1, 1), IssuedAt: s.now, Cutoff: s.now}
	n := int(rec.Issue - rec.Day0)
	for _, c := range []*[]float64{&rec.Air, &rec.Water, &rec.WaterMin, &rec.WaterMax, &rec.Flow} {
		*c = make([]float64, n)
	}
	anomaly, w, year := 0.0, 4.0, 0.0
	for i := range n {
		t := (rec.Day0 + forecast.Date(i)).Time()
		doy := float64(t.YearDay())
		if doy == 1 {
			year = 1.3 * rng.NormFloat64()
		}
		anomaly = 0.8*anomaly + 2*rng.NormFloat64()
		rec.Air[i] = 8 + 11*math.Cos(2*math.Pi*(doy-205)/365.25) + anomaly + year*math.Exp(-(doy-100)*(doy-100)/(50*50))
		rec.Flow[i] = 8 + 20*math.Exp(-(doy-145+5*year)*(doy-145+5*year)/(25*25)) + math.Abs(anomaly)
		w += (math.Max(0, rec.Air[i]*0.8+2) - w) / 3
		rec.Water[i], rec.WaterMin[i], rec.WaterMax[i] = w, w-1.5, w+1.5
		if rng.IntN(200) == 0 {
			rec.Water[i] = math.NaN()
		}
	}
	return rec, nil
}

func (invented) AsOf(context.Context, forecast.River, time.Time) (forecast.Record, bool, error) {
	return forecast.Record{}, false, nil
}

func inventedPlan(_ testing.TB, rivers, first, last int) (Plan, invented) {
	c, err := insects.Load()
	if err != nil {
		panic(err) // it is built in
	}
	p := Plan{Catalogue: c, First: first, Last: last, Leads: []int{0, 7, 14, 30, 60}, Now: time.Date(last+1, 6, 1, 0, 0, 0, 0, time.UTC), Workers: 2}
	for i := range rivers {
		p.Rivers = append(p.Rivers, forecast.River{Slug: fmt.Sprintf("river-%d", i), Name: fmt.Sprintf("River %d", i), Region: "rockies",
			Zone: "America/Denver", Lat: 45, Lon: -131})
	}
	return p, invented{first: first - 2, last: last, now: p.Now}
}
