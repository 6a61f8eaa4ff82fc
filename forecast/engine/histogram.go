package engine

// histogram counts members by day: quantiles of whole days without sorting.
type histogram struct {
	count []int32
	n     int
}

func (h *histogram) size(days int) {
	h.count = grow(h.count, days)
	clear(h.count)
	h.n = 0
}

func (h *histogram) add(day int) {
	h.count[day]++
	h.n++
}

// points are the days by which at least 10, 50 and 90 % of the members have
// passed (the inverse of the empirical distribution, type 1 of Hyndman & Fan
// 1996, Am. Stat. 50, 361-365), NoDay without members.
func (h *histogram) points() Range {
	if h.n == 0 {
		return Range{NoDay, NoDay, NoDay}
	}
	var r Range
	day, seen := -1, 0
	for _, p := range []struct {
		tenths int
		to     *int
	}{{1, &r.P10}, {5, &r.P50}, {9, &r.P90}} {
		for 10*seen < p.tenths*h.n {
			day++
			seen += int(h.count[day])
		}
		*p.to = day
	}
	return r
}
