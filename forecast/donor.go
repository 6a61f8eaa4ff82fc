package forecast

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"sort"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/model/watertemp"
)

// A river may lie so far away, km, to be a donor of its water model, and so many of the
// nearest with a thermometer are tried. Our own default: weather departs
// together over such distances.
const donorKm, donorTries = 150, 3

// FindDonor finds the nearest of other rivers whose record at a moment is long enough
// for a water model, and fits it. nil where there is none near enough.
func FindDonor(ctx context.Context, store Reader, r River, others []River, at time.Time) (*watertemp.Model, string, error) {
	fail := func(err error) (*watertemp.Model, string, error) {
		return nil, "", fmt.Errorf("looking for a donor river for %s: %w", r.Slug, err)
	}
	keys, err := readableKeys(ctx, store)
	if err != nil {
		return fail(err)
	}
	g := gatherer{keys: keys}
	var near []River
	for _, o := range others {
		if o.Slug != r.Slug && distanceKm(r, o) <= donorKm && slices.ContainsFunc(o.Gauges, func(s FeedSite) bool { return len(g.of(s, ingest.WaterTemperature)) > 0 }) {
			near = append(near, o)
		}
	}
	sort.SliceStable(near, func(i, j int) bool { return cmp.Compare(distanceKm(r, near[i]), distanceKm(r, near[j])) < 0 })
	for _, o := range near[:min(len(near), donorTries)] {
		o.Near = nil // a donor's model is its own
		rec, err := Gather(ctx, store, o, at)
		if err != nil {
			return fail(err)
		}
		m, err := rec.FitWater()
		if _, ok := errors.AsType[*watertemp.TooLittleError](err); ok {
			continue
		}
		if err != nil {
			return fail(err)
		}
		if m.Partial() {
			continue // it is itself half supposed
		}
		m = m.AsDonor(rec.WaterInput(), distanceKm(r, o))
		m.Diel = watertemp.FitDiel(int(rec.Day0), rec.Water, rec.WaterMax)
		return m, o.Name, nil
	}
	return nil, "", nil
}

// young reports whether the record has too few days for a water model that needs no other
// river.
func (rec Record) young() bool { return watertemp.Young(rec.WaterInput()) }

// distanceKm is how far apart two rivers are, km.
func distanceKm(a, b River) float64 { return ingest.DistanceKm(a.Lat, a.Lon, b.Lat, b.Lon) }
