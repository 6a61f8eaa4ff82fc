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

// Reach is the first index from which the running total of degree-days of daily
// means, begun at index from, is at least target; ok is false when it is not
// reached. It stops there and allocates nothing.
func Reach(mean []float64, from int, lower, upper, target float64) (day int, ok bool) {
	total := 0.0
	for i := max(from, 0); i < len(mean); i++ {
		total += min(max(mean[i], lower), upper) - lower
		if total >= target {
			return i, true
		}
	}
	return len(mean), false
}
