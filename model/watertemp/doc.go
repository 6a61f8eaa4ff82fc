// Package watertemp turns air temperature and flow into water temperature: a
// lumped heat budget of the reach, fitted per gauge, continued from the last
// good reading, with the spread of its error.
//
// Daily columns of numbers enter, in °C and m3/s with NaN for unknown; daily
// water temperatures with their error, or many possible ones, leave. It must
// not know dates other than as day numbers, gauges, feeds or insects.
//
// # The model
//
// With theta the flow over its mean and Ta the air temperature of the day (a
// share of the day before mixed in),
//
//	dT/dt = (a1 + a2 Ta - a3 T + c1 cos w + s1 sin w
//	         + theta (a5 + c6 cos w + s6 sin w - a8 T)) / theta^a4,   w = 2 pi doy/365.25
//
// which is the hybrid model of Toffolon and Piccolroaz (2015, Environ. Res.
// Lett. 10, 114011; eight parameters) with a seasonal term that does not scale
// with the flow (sun on the water surface) and a memory of the air. The daily
// step is solved exactly: for a constant right side A - B T the water moves
// towards A/B by 1 - exp(-B). It never goes below 0 °C, where the latent heat
// of ice holds it.
//
// # The error
//
// What the model leaves is a seasonal mean (two harmonics, shrunk) and a first
// order autoregressive residual. A forecast starts from the last residual seen
// and lets it decay with lead while new error comes in.
package watertemp
