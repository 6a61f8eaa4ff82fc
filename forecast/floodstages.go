package forecast

import (
	"context"
	"math"

	"example.org/eclose/ingest/feed/nwps"
	"example.org/eclose/ingest/feed/usgs"
	"example.org/eclose/model/wading"
)

// floodOf returns the gauge heights from which floods are counted at a gauge:
// those of the river's own config, else those, and the flows, that the National
// Water Prediction Service last gave for the gauge.
func floodOf(ctx context.Context, store Reader, r River, s FeedSite) (wading.Flood, error) {
	f, ok := store.(filesReader)
	if r.Flood.Any() || !ok || s.Feed != usgs.FeedName {
		return r.Flood, nil
	}
	record, err := nwps.Load(ctx, f.Files(), s.Site)
	c := record.Categories()
	if err != nil || !c.Any() {
		return r.Flood, err
	}
	h := c.StageM
	return wading.Flood{ActionM: h[0], MinorM: h[1], ModerateM: h[2], MajorM: h[3], FlowsM3s: c.FlowM3s}, nil
}

// differM is by how much two heights may differ by rounding, m: a tenth of a
// foot. Our own default.
const differM = 0.031

// StagesDiffer returns, for the categories that a config counts from another
// gauge height than the service, both heights in m, the config's first. The key
// is the category: 0 action, 1 minor, 2 moderate, 3 major.
func StagesDiffer(typed wading.Flood, published nwps.Categories) map[int][2]float64 {
	out := map[int][2]float64{}
	if !typed.Any() {
		return out
	}
	for i, h := range []float64{typed.ActionM, typed.MinorM, typed.ModerateM, typed.MajorM} {
		if p := published.StageM[i]; math.Abs(h-p) > differM {
			out[i] = [2]float64{h, p}
		}
	}
	return out
}
