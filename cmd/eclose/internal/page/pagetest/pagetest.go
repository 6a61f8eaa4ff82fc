// Package pagetest gives tests some invented rivers with forecasts, as the pages and
// the programs that read beside them show them.
//
// A catalogue enters; rivers, outlooks and page data leave. It must not be imported
// outside tests.
package pagetest

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"
	"time"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// Noon is when the outlooks are issued, Earlier when an older one of the first river was.
var (
	Noon    = time.Date(2026, 5, 18, 19, 0, 0, 0, time.UTC)
	earlier = Noon.Add(-10 * 24 * time.Hour)
)

// Rivers are invented; of the last nothing is known.
var Rivers = []forecast.River{
	{Slug: "wend", Name: `Wend "upper", <b>`, Region: "pacific-nw-ca", Zone: "America/Los_Angeles", Lat: 45.2, Lon: -131.4, Gauges: []forecast.FeedSite{{Feed: "usgs", Site: "99000001"}}},
	{Slug: "garrow", Name: "Garrow", Region: "pacific-nw-ca", Zone: "America/Los_Angeles", Lat: 44.6, Lon: -131.1, Regulated: true},
	{Slug: "dry", Name: "Dry Beck", Region: "pacific-nw-ca", Zone: "America/Los_Angeles", Lat: 45, Lon: -131},
}

var day0 = forecast.DateOf(time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC))

// record is six years of invented daily air, water and flow up to an issue.
func record(seed uint64, at time.Time) forecast.Record {
	issue := forecast.DateOf(at.Add(-7 * time.Hour))
	r := forecast.Record{Day0: day0, Issue: issue, IssuedAt: at, Cutoff: at.Add(-time.Hour)}
	rng := rand.New(rand.NewPCG(seed, 7))
	w := 4.0
	for i := range int(issue - day0) {
		doy := float64((day0 + forecast.Date(i)).Time().YearDay())
		air := 8 + 11*math.Cos(2*math.Pi*(doy-205)/365.25) + 2*rng.NormFloat64()
		w += (math.Max(0, 0.8*air+2) - w) / 3
		r.Air, r.Water = append(r.Air, air), append(r.Water, w)
		r.WaterMin, r.WaterMax = append(r.WaterMin, w-1), append(r.WaterMax, w+1.2)
		r.Flow = append(r.Flow, 8+30*math.Exp(-(doy-145)/25*((doy-145)/25))*math.Exp(0.2*rng.NormFloat64()))
	}
	return r
}

var made struct {
	once     sync.Once
	outlooks map[string]*forecast.Outlook
	flows    map[string]*trip.Flows
	err      error
}

// Outlooks are the outlooks of the rivers by slug, and under "earlier" an older one of
// the first, with the flows behind them. They are made once for all tests.
func Outlooks(tb testing.TB, c *insects.Catalogue) (map[string]*forecast.Outlook, map[string]*trip.Flows) {
	tb.Helper()
	made.once.Do(func() {
		made.outlooks, made.flows = map[string]*forecast.Outlook{}, map[string]*trip.Flows{}
		for i, x := range []struct {
			name  string
			river forecast.River
			at    time.Time
		}{{"wend", Rivers[0], Noon}, {"garrow", Rivers[1], Noon}, {"earlier", Rivers[0], earlier}} {
			rec := record(uint64(i%2+1), x.at)
			if made.outlooks[x.name], made.err = rec.Outlook(x.river, c, forecast.Options{Members: 60}); made.err != nil {
				return
			}
			made.flows[x.name] = &trip.Flows{Day0: day0, M3s: rec.Flow}
		}
	})
	if made.err != nil {
		tb.Fatal(made.err)
	}
	return made.outlooks, made.flows
}

// Memory is the page data of the rivers at Noon.
func Memory(tb testing.TB, c *insects.Catalogue) *pages.Memory {
	tb.Helper()
	outlooks, flows := Outlooks(tb, c)
	m := pages.NewMemory(Rivers)
	for _, r := range Rivers[:2] {
		in := wading.Input{At: Noon, Zone: forecast.ZoneOf(r.Zone), Regulated: r.Regulated,
			Flow: wading.Reading{Value: 9.5, Age: time.Hour, Present: true}, Water: wading.Reading{Value: 11, Age: 30 * time.Minute, Present: true}}
		m.Put(r.Slug, &pages.State{Outlook: outlooks[r.Slug], Caution: wading.Assess(in), CautionAt: Noon, Flows: flows[r.Slug],
			Warnings: wading.Warnings{Asked: true, Known: true, List: []wading.Warning{{Event: "Flood Watch", Authority: "the Tarn Fells weather office (invented)", Expires: Noon.Add(6 * time.Hour)}}}})
	}
	return m
}
