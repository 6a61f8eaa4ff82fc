package insects

// A season of an insect belongs to a year that does not cut it. It begins on one
// of two days of the year, counted from 1 January = 1.
const (
	FromJanuary = 1
	FromJuly    = 182
)

// SeasonStart is the day of the year on which the season-year of a window
// begins: 1 January, or 1 July where the season would otherwise be cut. South of
// the equator the warmth of a season gathers from July on, so there a season
// begins in January only if 1 July would cut it.
func (w Window) SeasonStart() int {
	overNewYear := w.Start < 1 || w.End > 365
	overJuly := w.Start < FromJuly && w.End >= FromJuly || w.End >= FromJuly+365
	switch {
	case w.AllYear:
		return FromJanuary
	case w.Region.Southern() && !overJuly, overNewYear && !overJuly:
		return FromJuly
	case w.Region.Southern() && overNewYear: // both cut it: the one that is farther from the middle
		return FromJuly
	}
	return FromJanuary
}

// SeasonDay carries a day of the year, which may lie outside 1-365, to days from
// the start of a season-year, 0 the first. The mean, the spread and the order of
// dates are those of season days: 31 December and 1 January are neighbours.
func SeasonDay(doy float64, seasonStart int) float64 {
	d := doy - float64(seasonStart)
	if seasonStart != FromJanuary && d < 0 {
		d += 365
	}
	return d
}
