package watertemp

import (
	"math"
	"slices"
)

// LeadScore is how forecasts made so many days before did. Days counts the
// readings that they were held against; °C.
type LeadScore struct {
	Lead           int     `json:"lead_days"` // 1: the day after the last reading
	Days           int     `json:"days"`
	RMSE           float64 `json:"rmse_c"`                  // middle of the members, weather of past seasons ahead
	Inside         float64 `json:"inside_80"`               // share of readings between their 10 and 90 % points
	Observed       float64 `json:"rmse_observed_weather_c"` // the same with the weather that came: what no forecaster has
	ObservedInside float64 `json:"inside_80_observed"`      //
	Persistence    float64 `json:"rmse_persistence_c"`      // the last day's reading
	Climatology    float64 `json:"rmse_climatology_c"`      // the mean of that date in the fitted years
	Squares        Squares `json:"-"`                       // sums behind the means, for adding up rivers
}

// Squares are sums over the days of a LeadScore.
type Squares struct{ Model, Observed, Persistence, Climatology, Inside, ObservedInside float64 }

// Hindcasts are forecasts made again.
type Hindcasts struct {
	From    int    // day number of the first issue; nothing from it on may be in the fit
	Every   int    // days between issues
	Leads   []int  // ascending
	Members int    // futures drawn from past seasons
	Seed    uint64 //
}

// Hindcast issues forecasts as of days past, each from the readings up to the
// day before, and holds them against what was read after. Two kinds of weather
// ahead are used side by side: that of past seasons, of which nothing in it was
// unknown on the day, and that which came.
func (m *Model) Hindcast(in Input, h Hindcasts) []LeadScore {
	out := make([]LeadScore, len(h.Leads))
	for k, lead := range h.Leads {
		out[k].Lead = lead
	}
	if len(h.Leads) == 0 {
		return out
	}
	longest := h.Leads[len(h.Leads)-1]
	first := min(max(h.From-in.Day0, 0), len(in.Air))
	normal := FitClimatology(in.Day0, in.Water[:first])
	sorted := make([]float64, h.Members)
	for i := first; i < len(in.Air); i += max(1, h.Every) {
		history := in.slice(0, i)
		seed := h.Seed + uint64(i)
		rows := m.Forecast(history, nil, longest, h.Members, seed)
		if rows == nil {
			continue
		}
		ahead := in.slice(i, min(i+longest, len(in.Air)))
		best, sd := m.Expected(history, ahead.Air, ahead.Flow)
		today := math.NaN()
		if i > 0 {
			today = in.Water[i-1]
		}
		for k, lead := range h.Leads {
			if lead > len(ahead.Air) {
				continue
			}
			w, usual := ahead.Water[lead-1], normal.At(ahead.Day0+lead-1)
			if unknown(w) || unknown(today) || unknown(usual) {
				continue
			}
			for j := range rows {
				sorted[j] = rows[j][lead-1]
			}
			slices.Sort(sorted)
			s := &out[k].Squares
			out[k].Days++
			s.Model += square(between(sorted, 0.5) - w)
			s.Observed += square(best[lead-1] - w)
			s.Persistence += square(today - w)
			s.Climatology += square(usual - w)
			if w >= between(sorted, 0.1) && w <= between(sorted, 0.9) {
				s.Inside++
			}
			const tenth = 1.2816 // of a normal distribution, in standard deviations
			if math.Abs(w-best[lead-1]) <= tenth*sd[lead-1] {
				s.ObservedInside++
			}
		}
	}
	for k := range out {
		out[k].mean()
	}
	return out
}

func (s *LeadScore) mean() {
	n := float64(s.Days)
	if n == 0 {
		return
	}
	q := s.Squares
	s.RMSE, s.Observed = math.Sqrt(q.Model/n), math.Sqrt(q.Observed/n)
	s.Persistence, s.Climatology = math.Sqrt(q.Persistence/n), math.Sqrt(q.Climatology/n)
	s.Inside, s.ObservedInside = q.Inside/n, q.ObservedInside/n
}

func square(v float64) float64 { return v * v }

// between is a quantile of sorted values, on a line between neighbours.
func between(sorted []float64, p float64) float64 {
	at := p * float64(len(sorted)-1)
	i := int(at)
	return sorted[i] + (at-float64(i))*(sorted[min(i+1, len(sorted)-1)]-sorted[i])
}
