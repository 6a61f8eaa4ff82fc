package forecast

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"example.org/eclose/model/watertemp"
)

// lendKm is how far away a river may lie to lend its water model, km. Our own
// default: weather departs together over such distances.
const lendKm = 150

// Lend finds the nearest of other rivers whose record at a moment is long enough
// for a water model, and fits it. nil where there is none near enough.
func Lend(ctx context.Context, store Reader, r River, others []River, at time.Time) (*watertemp.Model, string, error) {
	near := make([]River, 0, len(others))
	for _, o := range others {
		if o.Slug != r.Slug && apart(r, o) <= lendKm {
			near = append(near, o)
		}
	}
	slices.SortFunc(near, func(a, b River) int { return cmp.Compare(apart(r, a), apart(r, b)) })
	for _, o := range near {
		rec, err := Gather(ctx, store, o, at)
		if err != nil {
			return nil, "", fmt.Errorf("looking for a river that lends its water model to %s: %w", r.Slug, err)
		}
		m, err := rec.FitWater()
		var little *watertemp.TooLittleError
		if errors.As(err, &little) {
			continue
		}
		if err != nil {
			return nil, "", fmt.Errorf("water model of %s: %w", o.Slug, err)
		}
		m.Diel = watertemp.FitDiel(int(rec.Day0), rec.Water, rec.WaterMax)
		return m, o.Name, nil
	}
	return nil, "", nil
}

// apart is how far two rivers lie from each other, km, on a sphere.
func apart(a, b River) float64 {
	const radius, rad = 6371, math.Pi / 180
	s := square(math.Sin((a.Lat-b.Lat)/2*rad)) + math.Cos(a.Lat*rad)*math.Cos(b.Lat*rad)*square(math.Sin((a.Lon-b.Lon)/2*rad))
	return 2 * radius * math.Asin(min(1, math.Sqrt(s)))
}

func square(v float64) float64 { return v * v }
