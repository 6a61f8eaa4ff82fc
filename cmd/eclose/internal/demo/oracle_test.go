package demo

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"time"

	"example.org/eclose/forecast"
)

// futures is how many futures an oracle looks at.
const futures = 200

// An oracle knows all that can be known on the day of a plan, and more than any forecast:
// the laws of the country, the warmth of its spring, every insect's heat and each river's
// habit. It lacks the weather to come and what nobody can foresee. It plays futures with
// new dice and takes the means over them, dates, flow and warmth together.
type oracle struct {
	worth map[string]float64 // of a week, mean over the futures
	wins  map[string]float64 // in how many futures the week is the best
}

func (w *wish) oracle(issue time.Time) oracle {
	o := oracle{map[string]float64{}, map[string]float64{}}
	states, first := map[string]weather{}, int(issue.Sub(start).Hours())
	last := hourOf(2026, 240) // an insect that is later still does not count in June
	played := w.season
	played.records, played.median = map[string]record{}, map[string]map[string]float64{}
	for _, r := range Rivers {
		now, past := newWeather(r, w.seed, w.season.warmth), w.season.records[r.Slug]
		rec := record{slices.Clone(past.air), slices.Clone(past.water), slices.Clone(past.flow), slices.Clone(past.rain)}
		for h := range first {
			now.hour(h, &rec)
		}
		states[r.Slug], played.records[r.Slug] = now, rec
	}
	rng := rand.New(rand.NewPCG(w.seed, 99))
	for k := range futures {
		best, bestAt := -1.0, ""
		for _, r := range Rivers {
			now, rec := states[r.Slug], played.records[r.Slug]
			now.roll(1_000_003*w.seed + uint64(k))
			for h := first; h < last; h++ {
				now.hour(h, &rec)
			}
			played.median[r.Slug] = map[string]float64{}
			for _, g := range w.groups {
				law := w.season.laws[g.Key]
				played.median[r.Slug][g.Key] = law.date(rec, 2026, g) + law.own[r.Slug] + yearSD*rng.NormFloat64()
			}
			for d := w.from; d < w.from+28; d += 7 {
				key := weekOf(r.Slug, d)
				x := played.worth(r.Slug, d, w.groups)
				o.worth[key] += x / futures
				if x > best {
					best, bestAt = x, key
				}
			}
		}
		o.wins[bestAt]++
	}
	return o
}

func weekOf(river string, from forecast.Date) string { return fmt.Sprint(river, " ", from) }

// most is the key of the largest value; of equal ones the first by name.
func most(of map[string]float64) (key string) {
	for k, v := range of {
		if key == "" || v > of[key] || v == of[key] && k < key {
			key = k
		}
	}
	return key
}
