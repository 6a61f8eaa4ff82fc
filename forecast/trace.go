package forecast

import (
	"math"
	"math/rand/v2"
)

// anomalyDays is how long a departure of the water from its normal lasts, as
// the e-folding time of its decay, where no weather is known. Our own default:
// a week or two is what rivers of the reference set show.
const anomalyDays = 10.0

// traced continues a river's water temperature without any weather: every past
// year is a possible future, moved by today's departure from it, which dies
// away. Each row runs from the day of issue for days. It returns nil if there
// is no past year to draw from, or none whose gaps can be closed since no year
// has those days.
func traced(rec Record, days, members int, seed uint64) [][]float64 {
	first := rec.Issue.Time().Year()
	clim := climatology(rec.Day0, rec.Water)
	var years [][]float64
	for y := rec.Day0.Time().Year(); y < first; y++ {
		if trace, share := past(rec, y, days); share > 0.8 {
			if fill(trace, rec.Issue, clim); count(trace) == days {
				years = append(years, trace)
			}
		}
	}
	if len(years) == 0 {
		return nil
	}
	now := anomaly(rec, clim)
	out := make([][]float64, members)
	rng := rand.New(rand.NewPCG(seed, 77))
	order := rng.Perm(len(years))
	for m := range out {
		trace := years[order[m%len(years)]]
		row := make([]float64, days)
		from := trace[0] - clim[dayOfYear(rec.Issue)]
		for d := range row {
			keep := math.Exp(-float64(d+1) / anomalyDays)
			row[d] = math.Max(0, trace[d]+(now-from)*keep)
		}
		out[m] = row
	}
	return out
}

// past is the water of another year from the same day of the year on, and the
// share of its days that are known.
func past(rec Record, year, days int) ([]float64, float64) {
	at := rec.Issue.Time()
	start := DateOf(at.AddDate(year-at.Year(), 0, 0))
	out := make([]float64, days)
	known := 0
	for d := range out {
		i := int(start) + d - int(rec.Day0)
		out[d] = math.NaN()
		if i >= 0 && i < len(rec.Water) && !math.IsNaN(rec.Water[i]) {
			out[d] = rec.Water[i]
			known++
		}
	}
	return out, float64(known) / float64(days)
}

// anomaly is the departure of the last known day from its normal, weakened by
// the days since; 0 if nothing is known within a month.
func anomaly(rec Record, clim [365]float64) float64 {
	for back := 1; back <= 30 && back <= len(rec.Water); back++ {
		i := len(rec.Water) - back
		if v := rec.Water[i]; !math.IsNaN(v) {
			return (v - clim[dayOfYear(rec.Day0+Date(i))]) * math.Exp(-float64(back-1)/anomalyDays)
		}
	}
	return 0
}

// fill closes gaps with the normal and the departures at both edges, joined by
// a straight line; beyond an edge the departure dies away.
func fill(v []float64, first Date, clim [365]float64) {
	dep := func(i int) float64 { return v[i] - clim[dayOfYear(first+Date(i))] }
	last := -1
	for i := range v {
		if math.IsNaN(v[i]) {
			continue
		}
		if last < 0 {
			d := dep(i)
			for j := range i {
				v[j] = math.Max(0, clim[dayOfYear(first+Date(j))]+d*math.Exp(-float64(i-j)/anomalyDays))
			}
		} else if i > last+1 {
			a, b := dep(last), dep(i)
			for j := last + 1; j < i; j++ {
				f := float64(j-last) / float64(i-last)
				v[j] = math.Max(0, clim[dayOfYear(first+Date(j))]+a+(b-a)*f)
			}
		}
		last = i
	}
	d := 0.0
	if last >= 0 {
		d = dep(last)
	}
	for j := last + 1; j < len(v); j++ {
		v[j] = math.Max(0, clim[dayOfYear(first+Date(j))]+d*math.Exp(-float64(j-last)/anomalyDays))
	}
}
