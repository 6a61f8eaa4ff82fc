package verify

// ROCArea is P(forecast of an event > forecast of a non-event) + half P(equal).
// Range 0..1, perfect 1, larger is better, 0.5 for no discrimination. NaN when
// all outcomes are alike. Source: Mason & Graham 2002, Q. J. R. Meteorol. Soc.
// 128, 2145-2166.
func ROCArea(p []float64, y []bool) float64 {
	var area, below float64 // below counts non-events of smaller forecasts
	b := Distinct(p, y)
	for _, k := range b {
		non := float64(k.N - k.Events)
		area += float64(k.Events) * (below + non/2)
		below += non
	}
	n, base := total(b)
	return area / (n * base * below)
}
