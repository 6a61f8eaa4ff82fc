package watertemp

import "slices"

// A Future is the weather of one member of a forecast.
type Future struct {
	Air  []float64 // daily mean air temperature, °C, from the day after the history on
	Like int       // the day, since 1970-01-01, whose weather the first day takes from a past season
}

// Futures returns the weather of the members that Forecast draws for the same
// arguments, so that other forecasts of the river can share it. It returns nil if there
// is no past season to draw from.
func Futures(history Input, ensemble [][]float64, days, n int, seed uint64) []Future {
	f := newFutures(history, ensemble, days, n, seed)
	if f == nil {
		return nil
	}
	out := make([]Future, n)
	for k := range out {
		from := f.order[f.made%len(f.order)]
		air, _ := f.next()
		out[k] = Future{slices.Clone(air), history.Day0 + len(history.Air) - from.back + from.shift}
	}
	return out
}
