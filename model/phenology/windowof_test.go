package phenology

// WindowOf is the window of daily shares, the share of a day spread evenly over
// it. It says false when nothing falls within the days.
func WindowOf(share []float64) (Window, bool) {
	total := 0.0
	for _, a := range share {
		total += a
	}
	if !(total > 0) {
		return Window{}, false
	}
	var w Window
	sum := 0.0
	at := []*float64{&w.Start, &w.Peak, &w.End}
	for q, d := 0, 0; q < 3 && d < len(share); {
		target := []float64{0.1, 0.5, 0.9}[q] * total
		if share[d] > 0 && sum+share[d] >= target {
			*at[q] = float64(d) + (target-sum)/share[d]
			q++
			continue
		}
		sum += share[d]
		d++
	}
	return w, true
}
