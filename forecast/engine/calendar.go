package engine

import (
	"hash/maphash"
	"math"
	"slices"
)

// The calendar-only twin knows nothing of the river's water, so rivers that
// share a group's calendar draws share its twin: it is computed once and kept.

// calendarEntry is a kept calendar-only result with all that it was computed from.
type calendarEntry struct {
	days             int
	lagMin, lagMax   int
	least            int
	activity         bool
	calendar, spread []float64
	rate, rateEggs   []float64
	p                [stages][]float64
	mean             [stages][]float64
	window           [stages]Window
}

// calendarsKept bounds the memory of kept twins: about 12 kB each.
const calendarsKept = 512

var calendarSeed = maphash.MakeSeed()

// calendarKey is a hash of what the twin depends on. It differs from process to
// process, which changes only what is found again, never a result: matches are
// compared value by value.
func calendarKey(g *Group, days int) uint64 {
	var h maphash.Hash
	h.SetSeed(calendarSeed)
	for _, v := range [][]float64{g.usual(), g.SpreadDays, g.Rate, {float64(g.Least), float64(g.LagMin), float64(g.LagMax), float64(days)}} {
		for _, x := range v {
			maphash.WriteComparable(&h, math.Float64bits(x))
		}
	}
	return h.Sum64()
}

func (t *calendarEntry) of(g *Group, days int, activity bool) bool {
	return t.days == days && t.lagMin == g.LagMin && t.lagMax == g.LagMax && t.least == g.Least && (t.activity || !activity) &&
		slices.Equal(t.calendar, g.usual()) && slices.Equal(t.spread, g.SpreadDays) && slices.Equal(t.rate, g.Rate) && slices.Equal(t.rateEggs, g.RateEggs)
}

// fillCalendar fills the calendar's part of out, from what is kept or anew.
func (e *Engine) fillCalendar(in *River, g *Group, out *GroupResult) {
	key := calendarKey(g, in.Days)
	t, ok := e.calendars[key]
	if !ok || !t.of(g, in.Days, in.Activity) {
		t = e.newCalendarEntry(in, g)
		if e.calendars == nil || len(e.calendars) >= calendarsKept {
			e.calendars = make(map[uint64]*calendarEntry)
		}
		e.calendars[key] = t
	}
	for s := range out {
		copy(out[s].PCalendar, t.p[s])
		copy(out[s].ActivityCalendar, t.mean[s])
		out[s].WindowCalendar = t.window[s]
	}
}

func (e *Engine) newCalendarEntry(in *River, g *Group) *calendarEntry {
	t := &calendarEntry{days: in.Days, lagMin: g.LagMin, lagMax: g.LagMax, least: g.Least, activity: in.Activity, calendar: slices.Clone(g.usual()),
		spread: slices.Clone(g.SpreadDays), rate: slices.Clone(g.Rate), rateEggs: slices.Clone(g.RateEggs)}
	for s := range t.p {
		t.p[s] = make([]float64, in.Days)
	}
	e.begin(in)
	for m := range in.Members {
		e.addDailyProbabilities(g, in.TempC[m*in.Days:(m+1)*in.Days], m, g.usual()[m], false, &t.p)
	}
	for s := range t.p {
		mean(t.p[s], in.Members)
		t.window[s] = e.window(Stage(s))
		if e.keep {
			t.mean[s] = make([]float64, in.Days)
			e.share[s].means(t.mean[s])
		}
	}
	return t
}
