package degreeday

import (
	"fmt"
	"math"
)

// Exact integrates readings within the day, joined by straight lines, without
// drawing any wave: the truth that the waves stand in for. Hours count from any
// origin and must rise; readings further apart than maxGapHours are an error
// because nobody knows what lies between. The cut-off works on the total, as in
// Rule.Day; split a longer series with ExactDays. Result in degree-days.
func (r Rule) Exact(hours, temp []float64, maxGapHours float64) (float64, error) {
	if err := r.checkExact(hours, temp, maxGapHours); err != nil {
		return 0, err
	}
	var h half
	for i := 1; i < len(hours); i++ {
		h.add(temp[i-1], temp[i], (hours[i]-hours[i-1])/24, r)
	}
	// The excesses are in degree-days and the share in days: the cut-off wants
	// the upper limit over the same time.
	return r.cut(h), nil
}

// ExactDays is Exact for each of n days of 24 hours from firstHour on. A day
// not covered from end to end by readings at most maxGapHours apart is NaN.
func (r Rule) ExactDays(hours, temp []float64, firstHour float64, n int, maxGapHours float64) ([]float64, error) {
	if err := r.checkExact(hours, temp, math.Inf(1)); err != nil {
		return nil, err
	}
	days := make([]half, n)
	covered := make([]float64, n)
	for i := 1; i < len(hours); i++ {
		a, b := hours[i-1], hours[i]
		if b-a > maxGapHours {
			continue
		}
		slope := (temp[i] - temp[i-1]) / (b - a)
		// A piece that runs over midnight is cut there.
		for d := max(0, int(math.Floor((a-firstHour)/24))); d < n; d++ {
			from, to := max(a, firstHour+24*float64(d)), min(b, firstHour+24*float64(d+1))
			if from >= b {
				break
			}
			if to <= from {
				continue
			}
			days[d].add(temp[i-1]+slope*(from-a), temp[i-1]+slope*(to-a), (to-from)/24, r)
			covered[d] += to - from
		}
	}
	out := make([]float64, n)
	for d := range out {
		out[d] = math.NaN()
		if covered[d] > 24-1e-6 {
			out[d] = r.cut(days[d])
		}
	}
	return out, nil
}

// add puts a straight piece of a curve, of so many days, to a half.
func (h *half) add(from, to, days float64, r Rule) {
	p := triangleHalf(min(from, to), max(from, to), r.Lower, r.Upper)
	h.overL += p.overL * days
	h.overU += p.overU * days
	h.shareU += p.shareU * days
}

func (r Rule) checkExact(hours, temp []float64, maxGapHours float64) error {
	if err := r.Validate(); err != nil {
		return err
	}
	if r.Method <= AverageClipBoth || r.Method == Huber {
		return fmt.Errorf("readings within the day are integrated: method %s does not apply", r.Method)
	}
	if len(hours) != len(temp) || len(hours) < 2 {
		return fmt.Errorf("%d times and %d temperatures: at least two of each are needed, in pairs", len(hours), len(temp))
	}
	for i, t := range temp {
		if math.IsNaN(t) || math.IsInf(t, 0) || math.IsNaN(hours[i]) {
			return fmt.Errorf("reading %d is missing: leave it out", i)
		}
		if i > 0 && !(hours[i] > hours[i-1]) {
			return fmt.Errorf("reading %d is not later than the one before", i)
		}
		if i > 0 && hours[i]-hours[i-1] > maxGapHours {
			return fmt.Errorf("%.1f hours without a reading before reading %d: at most %.1f are allowed", hours[i]-hours[i-1], i, maxGapHours)
		}
	}
	return nil
}
