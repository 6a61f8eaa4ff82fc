package forecast

import (
	"context"
	"errors"
	"fmt"
	"math"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
)

// Cut is the record as of an earlier moment, with the readings as the record
// knows them: what Gather gives for a moment before anything had been
// retrieved. Weather forecasts of that time are not in it.
func (rec Record) Cut(at time.Time, zone string) Record {
	out := Record{Day0: rec.Day0, Issue: DateOf(inZone(at, zone)), IssuedAt: at.UTC(), DrainageKm2: rec.DrainageKm2}
	n := min(max(0, int(out.Issue-rec.Day0)), len(rec.Air))
	for _, c := range []struct {
		from []float64
		to   *[]float64
	}{{rec.Air, &out.Air}, {rec.Water, &out.Water}, {rec.WaterMax, &out.WaterMax}, {rec.WaterMin, &out.WaterMin}, {rec.Flow, &out.Flow}, {rec.Rain, &out.Rain}} {
		if m := min(n, len(c.from)); m > 0 || c.from != nil { // a record made by hand may have no rain
			*c.to = c.from[:m:m]
		}
	}
	for i := n - 1; i >= max(0, n-10); i-- {
		if !math.IsNaN(out.Water[i]) || !math.IsNaN(out.Flow[i]) {
			out.Cutoff = (rec.Day0 + Date(i) + 1).Time()
			break
		}
	}
	return out
}

// RetrievedBy says whether the store held anything of a river's gauges by a
// moment.
func RetrievedBy(ctx context.Context, store Reader, r River, at time.Time) (bool, error) {
	keys, err := readableKeys(ctx, store)
	if err != nil {
		return false, fmt.Errorf("listing what the store holds: %w", err)
	}
	g := gatherer{ctx: ctx, store: store, keys: keys}
	for _, s := range r.Gauges {
		for _, k := range g.of(s, ingest.WaterTemperature, ingest.Discharge) {
			got, err := store.Read(ctx, k, series.Query{AsOf: at})
			if err != nil && !errors.Is(err, series.ErrNotFound) {
				return false, fmt.Errorf("reading %s: %w", k, err)
			}
			if got.Len() > 0 {
				return true, nil
			}
		}
	}
	return false, nil
}
