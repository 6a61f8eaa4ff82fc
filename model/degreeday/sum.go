package degreeday

// RunningSum writes into dst the running total of degree-days of daily means
// with the horizontal cut-off: dst[i] = sum over j <= i of
// min(max(mean[j], lower), upper) - lower. dst and mean have one length and may
// be the same slice; nothing is allocated. A missing day (NaN) makes every
// total from there on NaN: fill gaps first.
func RunningSum(dst, mean []float64, lower, upper float64) {
	dst = dst[:len(mean)]
	total := 0.0
	for i, t := range mean {
		total += min(max(t, lower), upper) - lower
		dst[i] = total
	}
}
