package forecast

import (
	"context"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
)

// beck is an invented river.
var beck = River{
	Slug: "beck", Name: "Beck", Region: "rockies", Zone: "America/Denver", Lat: 45.2, Lon: -131.4,
	Gauges: []FeedSite{{"usgs", "99"}}, Weather: &FeedSite{"open-meteo", "45.2,-131.4"},
}

// keys of the beck's series.
var (
	beckWater = ingest.Key{Feed: "usgs", Site: "99", Variable: ingest.WaterTemperature, Statistic: ingest.Instant}
	beckFlow  = ingest.Key{Feed: "usgs", Site: "99", Variable: ingest.Discharge, Statistic: ingest.Instant}
	beckAir   = ingest.Key{Feed: "open-meteo", Site: "45.2,-131.4", Variable: ingest.AirTemperature, Statistic: ingest.Instant}
)

func beckMember(m int) ingest.Key {
	k := beckAir
	k.Member, k.TimeSeries = m, "ensemble"
	return k
}

// inventHours is the beck hour by hour: air, water that follows it, flow.
func inventHours(rng *rand.Rand, from time.Time, hours int) (air, water, flow []float64) {
	air, water, flow = make([]float64, hours), make([]float64, hours), make([]float64, hours)
	anomaly, w := 0.0, 4.0
	for h := range hours {
		t := from.Add(time.Duration(h) * time.Hour)
		season := math.Cos(2 * math.Pi * (float64(t.YearDay()) - 205) / 365.25)
		if h%24 == 0 {
			anomaly = 0.8*anomaly + 2*rng.NormFloat64()
		}
		air[h] = 8 + 11*season + anomaly + 4*math.Cos(2*math.Pi*float64(t.Hour()-22)/24)
		flow[h] = 8 + 20*math.Exp(-math.Pow((float64(t.YearDay())-145)/25, 2)) + 0.3*anomaly
		w += (math.Max(0, air[h]*0.8+2) - w) / 50
		water[h] = w
	}
	return air, water, flow
}

func inventSeries(k ingest.Key, from time.Time, step time.Duration, v []float64) ingest.Series {
	s := ingest.Series{Key: k, Value: v, Time: make([]int64, len(v)), Flag: make([]ingest.Flag, len(v)), SourceUnit: k.Variable.Unit()}
	for i := range v {
		s.Time[i] = from.Add(time.Duration(i) * step).UnixMicro()
		s.Flag[i] = ingest.Pass
	}
	return s
}

// inventStore holds years of the beck up to the issue, and, if it has any, an
// ensemble of the weather to come, all retrieved at the given time.
func inventStore(t testing.TB, issue, retrieved time.Time, years, members int, seed uint64) *series.Store {
	t.Helper()
	ctx := context.Background()
	store, err := series.Open(ctx, t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() }) // a test's folder
	rng := rand.New(rand.NewPCG(seed, 1))
	from := time.Date(issue.Year()-years, 1, 1, 0, 0, 0, 0, time.UTC)
	air, water, flow := inventHours(rng, from, int(issue.Sub(from).Hours()))
	all := []ingest.Series{
		inventSeries(beckAir, from, time.Hour, air), inventSeries(beckWater, from, time.Hour, water), inventSeries(beckFlow, from, time.Hour, flow),
	}
	for m := 1; m <= members; m++ {
		a, _, _ := inventHours(rng, issue.Truncate(24*time.Hour), 10*24)
		all = append(all, inventSeries(beckMember(m), issue.Truncate(24*time.Hour), time.Hour, a))
	}
	for _, s := range all {
		if _, err := store.Put(ctx, s, retrieved); err != nil {
			t.Fatal(err)
		}
	}
	return store
}

func catalogue(t testing.TB) *insects.Catalogue {
	t.Helper()
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	return c
}
