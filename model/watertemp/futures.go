package watertemp

// A Future is the weather of one member of a forecast.
type Future struct {
	Air  []float64 // daily mean air temperature, °C, from the day after the history on
	Like int       // the day, since 1970-01-01, whose weather the first day takes from a past season

	logFlow  []float64 // logarithm of the daily flow over meanFlow; nil where it is not known
	meanFlow float64   // m3/s: geometric mean of the history; 0 where it is not known
}

// Futures returns the weather of the members that Forecast draws for the same
// arguments, so that other forecasts of the river can share it. It returns nil if there
// is no past season to draw from.
func Futures(history Input, ensemble [][]float64, days, n int, seed uint64) []Future {
	f := newFutures(history, ensemble, days, n, seed)
	if f == nil {
		return nil
	}
	columns := 1
	if f.logFlow != nil {
		columns = 2
	}
	out, room := make([]Future, n), make([]float64, n*days*columns)
	take := func() []float64 {
		v := room[:days:days]
		room = room[days:]
		return v
	}
	for k := range out {
		from := f.order[f.made%len(f.order)]
		out[k] = Future{Air: take(), Like: history.Day0 + len(history.Air) - from.back + from.shift, meanFlow: f.place.MeanFlow}
		if f.logFlow != nil {
			out[k].logFlow = take()
		}
		f.next(out[k].Air, out[k].logFlow)
	}
	return out
}
