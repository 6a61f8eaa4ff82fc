package phenology

import (
	"fmt"
	"math"
	"slices"

	"example.org/eclose/model/degreeday"
)

// seasonNumbers is how far one season's numbers stray from the usual, as the
// standard deviation of their logarithm: a factor of 1.6. Our own default.
const seasonNumbers = 0.5

// Each season has three effects of its own, standard normal before the data:
// on the requirement, on the calendar date and on the numbers.
const seasonEffects = 3

// halfYear bounds how far from its year an observation of a season may lie.
const halfYear = 184

// record is what was observed in one season, with what does not change.
type record struct {
	water     []float64
	total     []float64 // running sum of degree-days, from the biofix on
	from      int       // index of the biofix
	sightings []Observation
	catches   [2][]Observation // by stage, each in order of days
	weigh     [2]float64       // what one animal weighs
}

// target is the posterior density that the chain walks on.
type target struct {
	p         Params
	records   []record
	sightings int
	catches   int
	seen      int // seasons with an observation
	usesNums  bool
	gated     bool
}

func newTarget(p Params, obs []Observation, seasons []Season) (*target, error) {
	t := &target{p: p, records: make([]record, len(seasons))}
	t.gated = !math.IsInf(p.GateMinC, -1) || !math.IsInf(p.GateMaxC, 1)
	for s, season := range seasons {
		r := &t.records[s]
		if r.water = season.WaterC; len(r.water) == 0 {
			continue
		}
		if i := slices.IndexFunc(r.water, math.IsNaN); i >= 0 {
			return nil, fmt.Errorf("season %d: day %d has no water temperature: fill the gap first", s, i)
		}
		if p.thermal() && p.BiofixDOY-1 < len(r.water) {
			r.from = p.BiofixDOY - 1
			r.total = make([]float64, len(r.water)-r.from)
			degreeday.RunningSum(r.total, r.water[r.from:], p.BaseC, p.UpperC)
		}
	}
	for i, o := range obs {
		if o.Season < 0 || o.Season >= len(seasons) {
			return nil, fmt.Errorf("observation %d: season %d of %d", i, o.Season, len(seasons))
		}
		r := &t.records[o.Season]
		// A season may run over New Year; where its water is not known no gate is.
		if len(r.water) > 0 && (o.Day < -halfYear || o.Day >= len(r.water)+halfYear) {
			return nil, fmt.Errorf("observation %d: day %d lies far outside the %d days of the season's water", i, o.Day, len(r.water))
		}
		switch {
		case o.Days > 0 && !(o.Count >= 0):
			return nil, fmt.Errorf("observation %d: a catch of %v", i, o.Count)
		case o.Days > 0:
			r.catches[o.Stage] = append(r.catches[o.Stage], o)
			t.catches++
		case !(o.Hours > 0) || o.Detection < 0 || o.Detection > 1 || o.Amount < None || o.Amount > Many:
			return nil, fmt.Errorf("observation %d: amount %d in %v hours with detection %v", i, o.Amount, o.Hours, o.Detection)
		default:
			r.sightings = append(r.sightings, o)
			t.sightings++
			t.usesNums = true
		}
	}
	for s := range t.records {
		r := &t.records[s]
		for st := range r.catches {
			slices.SortStableFunc(r.catches[st], func(a, b Observation) int { return a.Day - b.Day })
			n := 0.0
			for _, o := range r.catches[st] {
				n += o.Count
			}
			r.weigh[st] = math.Min(1, mostAnimals/math.Max(n, 1))
		}
		if t.has(s) {
			t.seen++
		}
	}
	return t, nil
}

func (t *target) has(s int) bool {
	r := &t.records[s]
	return len(r.sightings)+len(r.catches[0])+len(r.catches[1]) > 0
}

// thermalDate is Params.ThermalDate by binary search on the running sum.
func (r *record) thermalDate(dd50 float64) float64 {
	i, _ := slices.BinarySearch(r.total, dd50)
	n := len(r.total)
	if i < n {
		before := 0.0
		if i > 0 {
			before = r.total[i-1]
		}
		if rate := r.total[i] - before; rate > 0 {
			return float64(r.from+i) + (dd50-before)/rate
		}
		return float64(r.from + i)
	}
	rate := r.total[n-1]
	if n > 1 {
		rate -= r.total[n-2]
	}
	if rate <= 0 {
		return outOfReach
	}
	return math.Min(float64(r.from+n)+(dd50-r.total[n-1])/rate, outOfReach)
}

// logSeason is the log likelihood of one season under parameters q (a draw
// without uncertainty) and the season's effects v.
func (t *target) logSeason(s int, q *Params, v *[seasonEffects]float64) float64 {
	r := &t.records[s]
	calendar := q.MedianDOY - 1 + t.p.YearSD*v[1]
	t50 := calendar
	if len(r.total) > 0 {
		t50 = q.Weight*r.thermalDate(q.DD50*math.Exp(t.p.YearCV*v[0])) + (1-q.Weight)*calendar
	}
	c := curve{t50, q.SpreadDays, q, r.water, t.gated && len(r.water) > 0}
	var ll float64
	many := math.Exp(seasonNumbers * v[2])
	rate := [2]float64{q.Rate() * many, q.RateEggs() * many}
	for i := range r.sightings {
		o := &r.sightings[i]
		ll += math.Log(math.Max(leastChance, SightingChance(o.Amount, rate[o.Stage], c.share(o.Stage, o.Day, 1), o.Hours, o.Detection)))
	}
	for st := range r.catches {
		if len(r.catches[st]) == 0 {
			continue
		}
		var all, sum, n float64
		for i := range r.catches[st] {
			o := &r.catches[st][i]
			a := c.share(Stage(st), o.Day, o.Days)
			all += a
			n += o.Count
			if o.Count > 0 {
				sum += o.Count * math.Log(a+leastChance)
			}
		}
		// Given the season's total, so that the trap's size and the year's
		// numbers fall out.
		ll += r.weigh[st] * (sum - n*math.Log(all+leastChance))
	}
	return ll
}

// leastChance keeps a single impossible observation from deciding everything.
const leastChance = 1e-6

// curve is one season's activity.
type curve struct {
	t50, spread float64
	p           *Params
	water       []float64
	gated       bool
}

// share is the share of the season on the days days that end with day.
func (c *curve) share(st Stage, day, days int) float64 {
	if st == Emergence {
		return c.emerged(day-days, day)
	}
	// The adults that lay on a day emerged within a span of days.
	var sum float64
	for d := day - days + 1; d <= day; d++ {
		sum += c.emerged(d-c.p.LagMaxDays-1, d-c.p.LagMinDays)
	}
	return sum / float64(c.p.LagMaxDays-c.p.LagMinDays+1)
}

// emerged is the share that emerges after day a and through day b.
func (c *curve) emerged(a, b int) float64 {
	if !c.gated {
		return phi((float64(b)+1-c.t50)/c.spread) - phi((float64(a)+1-c.t50)/c.spread)
	}
	// Far from the season no gate matters.
	if float64(b)+1-c.t50 < -6*c.spread || float64(a)+1-c.t50 > 6*c.spread {
		return 0
	}
	var sum float64
	last := phi((float64(a) + 1 - c.t50) / c.spread)
	for d := a + 1; d <= b; d++ {
		f := phi((float64(d) + 1 - c.t50) / c.spread)
		g := 1.0
		if d >= 0 && d < len(c.water) {
			g = c.p.gate(c.water[d])
		}
		sum += g * (f - last)
		last = f
	}
	return sum
}
