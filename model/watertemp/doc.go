// Package watertemp estimates daily water temperature from air temperature and
// flow, with the spread of the error. It combines a lumped heat budget of the reach
// with a regression, corrects errors that recur by kriging, fits both per gauge under
// a prior from many rivers, and continues from the last good readings.
//
// Daily columns of numbers enter, in °C and m3/s with NaN for unknown; daily
// water temperatures with their error, or many possible ones, leave. It must
// not know dates other than as day numbers, gauges, feeds or insects.
//
// # The model
//
// With q the flow over its geometric mean,
//
//	dT/dt = [ Ks (S - T) + Kq q (I - T) ] / q^p
//
// The surface pulls the water towards S, the inflow towards I. This is the
// hybrid model of Toffolon and Piccolroaz (2015, Environ. Res. Lett. 10, 114011;
// eight parameters, there a1 + a2 Ta - a3 T and a5 + a6 cos - a8 T) written in
// temperatures and rates. S and I are sums of features of the day, each with a
// fitted factor:
//
//	S: 1, the day's air, the air of the day before, its means over 5, 25 and 120
//	   days, two harmonics of the year, air below 0 °C, air above 15 °C, weeks
//	   below 0 °C, air by season, log q, log q by season, rise of log q, rise by air
//	I: 1, a harmonic of the year, the air's mean over 25 days
//
// Air counts from its mean over the years, so that factors mean the same
// everywhere. The daily step is solved exactly, T' = E + (T - E) exp(-K), with E
// and K of the day standing still: it cannot ring or diverge for any flow. The
// water never goes below 0 °C, where the latent heat of ice holds it.
//
// Beside it stands a regression of the water on the air and flow of the day and of
// the past days, weeks and months, each with a factor that goes with the season
// (see lagged.go). The answer is a third of the one and two thirds of the other:
// they are wrong at different times. The budget keeps the regression within bounds
// where weather or flow are new to it.
//
// The residuals of both over the fitted years are kriged over season, flow and the
// warmth of the past weeks (see kriged.go). That corrects what no straight line
// follows: a dam in every dry July, melt water in every May.
//
// # The fit
//
// Twenty-seven parameters would overfit a short record. They are fitted under a
// normal distribution pooled over 309 rivers (see pooled.go), centred on what
// rivers of such air and flow have (see regional.go), which holds what a record
// cannot tell near what rivers do: weighted least squares with that prior, by
// Levenberg-Marquardt with exact derivatives, from several starts. The regression
// is fitted under a pooled prior of its own. A reach without a thermometer gets the
// budget's centre and what rivers alike foretell of its departure from that (see
// learnt.go and young.go): its own readings, from the first one on, and a donor near by
// correct it. From two months of readings on a fit gains weight beside it, and at a year
// it stands alone.
//
// Then each year is left out in turn. What the model misses in the year left out
// is the size of its error; and where the mean of the date does better than air
// and flow, as below a dam that is run by hand, that mean gets its share in the
// answer.
//
// # The error
//
// What the model leaves is the sum of a slow and a fast first order
// autoregressive part whose size goes with the season. A two-state Kalman
// filter follows both through the readings; a forecast starts from them and
// lets them decay with lead while new error comes in.
package watertemp
