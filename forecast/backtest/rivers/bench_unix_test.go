//go:build unix

package rivers

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime/debug"
	"syscall"
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

// BenchmarkTenRiversTwentySeasons is a backtest of the size that one would run
// over a region: ten rivers, twenty seasons, weekly issues, five leads, all
// groups of the region, two workers.
func BenchmarkTenRiversTwentySeasons(b *testing.B) {
	p, src := inventedPlan(b, 10, 2004, 2023)
	defer debug.SetGCPercent(debug.SetGCPercent(GCPercent)) // as the command does
	for b.Loop() {
		began := processor(b)
		out, err := Run(b.Context(), p, src)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(processor(b)-began, "cpu-s")
		groups, issues := map[string]bool{}, 0
		for _, s := range out.Shards {
			issues += s.Issues
			for _, c := range s.Cells {
				groups[c.Group] = true
			}
		}
		b.ReportMetric(float64(len(groups)), "groups")
		b.ReportMetric(float64(issues), "outlooks")
	}
}

// processor is the processor time used so far, s: on a machine that others use
// too, the figure to compare.
func processor(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

func BenchmarkOneSlice(b *testing.B) {
	p, src := inventedPlan(b, 1, 2023, 2023)
	src.first = 2004
	p.Workers = 1
	for b.Loop() {
		if _, err := Run(b.Context(), p, src); err != nil {
			b.Fatal(err)
		}
	}
}
