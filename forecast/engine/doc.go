// Package engine computes the probabilities of a forecast: it is its inner loop.
//
// Members x days of water temperature and, for each insect group, one draw of
// parameters per member enter; the daily probability of both stages, the window with
// its range and the same from the calendar alone leave. It must not know a gauge,
// name, date or clock.
//
// Results go into buffers that the caller keeps, so nothing is allocated per river.
// The same input gives the same bytes, whatever the number of workers.
//
// # What is computed
//
// Days count from 0; day d is the time from d to d+1. For member m and a group
// with clock (base, upper, start), degree-days through day d are
//
//	X(d) = sum over start <= i <= d of min(max(T(i), base), upper) - base    °C·d
//
// The thermal date t_T is when X reaches the member's requirement DD50, with X
// taken as linear within a day; if the horizon ends first, the last day's rate
// goes on, and a rate of zero puts it out of reach. The median date and the
// cumulative share of the season's emergence are
//
//	t50 = w t_T + (1-w) t_C,   F(d) = Phi((d + 1 - t50) / sigma)
//
// with t_C the member's calendar date, w its weight and sigma the spread in
// days (w = 0 leaves t_T out altogether). The share that emerges on day d is
//
//	e(d) = g(T(d)) (F(d) - F(d-1))
//
// with g the gate of water temperature: 1 within Min..Max, falling to 0 over
// GateRampC outside it. Egg-laying is emergence carried by adult life, spread
// evenly over the days LagMin..LagMax after it:
//
//	l(d) = (S(d-LagMin) - S(d-LagMax-1)) / (LagMax-LagMin+1),  S(d) = e(0) + ... + e(d)
//
// so that adults out before day 0 lay eggs on day 0 only as far as the horizon
// reaches back. The chance that an observer records the stage in two hours is
// the mean over members of
//
//	1 - exp(-rate a(d)),  a = e or l,
//
// where rate is what two hours would yield if a whole season fell on one day: its
// own for each member, since nobody knows the numbers of a season to come. With
// Least set it is the chance of so many records (phenology.AtLeast).
// The form follows t50 = w t_DD + (1-w) t_cal and P = 1 - exp(-lambda a h) as
// worked out for this project from blends of degree-days and calendar; the
// research notes say how far each is supported. The window of a member runs
// from the day by which 10 % of its season's activity has passed to the day of
// 90 %, with the peak at 50 %.
//
// # Why it is fast
//
// Groups share clocks, so the running sums of degree-days are made once per
// clock; a date is a binary search on them. F is 0 or 1 but for a few weeks, so
// only |z| < Reach is evaluated. Egg-laying is a difference of running sums
// that emergence leaves behind. Phi and exp come from small tables with Taylor
// terms. Everything a member touches lies in order in memory.
package engine
