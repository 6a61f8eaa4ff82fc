package forecast

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
)

// What the list of gauges says of the drained area reaches the water model: that of the
// gauge of the flow, not of a thermometer further up.
func TestTheDrainedAreaReachesTheWaterModel(t *testing.T) {
	issue := time.Date(2026, 5, 18, 18, 0, 0, 0, time.UTC)
	store, err := series.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() }) // a test's folder
	above := beckWater
	above.Site = "98"
	from := issue.AddDate(-2, 0, 0)
	air, water, flow := inventHours(rand.New(rand.NewPCG(1, 1)), from, int(issue.Sub(from).Hours()))
	for _, x := range []struct {
		key      ingest.Key
		value    []float64
		drainage float64
	}{{beckAir, air, 0}, {above, water, 7}, {beckFlow, flow, 120}} {
		s := inventSeries(x.key, from, time.Hour, x.value)
		s.Place = ingest.SiteInfo{Lat: 45, Lon: -131, Elevation: math.NaN(), Drainage: x.drainage}
		if _, err := store.Put(t.Context(), s, issue); err != nil {
			t.Fatal(err)
		}
	}
	r := beck
	r.Gauges = []FeedSite{{"usgs", "98"}, {"usgs", "99"}}
	rec, err := Gather(t.Context(), store, r, issue)
	if err != nil {
		t.Fatal(err)
	}
	if got := rec.WaterInput().DrainageKm2; got != 120 {
		t.Errorf("%v km2, want 120", got)
	}
	if got := rec.Cut(issue.AddDate(0, -1, 0), time.UTC.String()).DrainageKm2; got != 120 {
		t.Errorf("a month earlier: %v km2, want 120", got)
	}
	// An outlook of another area is another fit's.
	in := rec.WaterInput()
	other := in
	other.DrainageKm2 = 7
	if digest(in) == digest(other) {
		t.Error("a kept model does not tell two areas apart")
	}
}
