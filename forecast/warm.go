package forecast

import (
	"fmt"
	"slices"
	"time"

	"example.org/eclose/forecast/verify"
	"example.org/eclose/model/wading"
	"example.org/eclose/model/watertemp"
)

// WarmLine is a daily maximum from which an authority closes waters or asks for
// restraint. The authorities' pages are named in model/wading.
type WarmLine struct {
	Who  string
	C    float64
	Days int // in a row
}

// WarmLines are the lines that a forecast of warm water is held against, from
// the lowest up.
func WarmLines() []WarmLine {
	return []WarmLine{
		{"68 °F / 20.0 °C: above this, Yellowstone has closed rivers from 2 p.m.", wading.YellowstoneLineC, 1},
		{"70 °F / 21.1 °C: above this, New York asks anglers not to fish for trout", wading.NewYorkLineC, 1},
		{"71 °F / 21.7 °C: above this, Colorado asks anglers to stop", wading.ColoradoLineC, 1},
		{"73 °F / 22.8 °C on three consecutive days: Montana restricts fishing", wading.MontanaLineC, 3},
	}
}

// WarmDay is what the water model says of the warmest hour of a day. All of it
// is modelled.
type WarmDay struct {
	Date             Date      `json:"date"`
	MeanC            float64   `json:"mean_p50_c"`
	MaxP50C          float64   `json:"max_p50_c"`
	MaxP90C          float64   `json:"max_p90_c"`
	Chances          []float64 `json:"chances"`         // by WarmLines; of several days running, that they end on this day
	HoursAboveFirstC float64   `json:"hours_above_68f"` // on a middling day
	Modelled         bool      `json:"modelled"`
}

// Warm forecasts the warmest hour of the days from the issue on: members of the
// water model, driven by the weather forecast as far as it reaches and by past
// seasons after it, with the swing of the day over them. nil where no past
// season is known to drive it.
func (rec Record) Warm(m *watertemp.Model, days, members int) []WarmDay {
	in := rec.WaterInput()
	seed := seedOf("warm", rec.Issue)
	rows := m.Forecast(in, rec.AirAhead, days, members, seed)
	if rows == nil {
		return nil
	}
	diel := m.Diel
	if d := watertemp.FitDiel(int(rec.Day0), rec.Water, rec.WaterMax); d.Days > 0 {
		diel = d
	}
	lines := WarmLines()
	out := make([]WarmDay, days)
	for d := range out {
		day := int(rec.Issue) + d
		w := WarmDay{Date: rec.Issue + Date(d), Chances: make([]float64, len(lines)), Modelled: true}
		means := columnOf(rows, d)
		w.MeanC = verify.QuantileOfSorted(means, 0.5)
		w.MaxP50C, w.MaxP90C = diel.Top(day, means, 0.5), diel.Top(day, means, 0.9)
		up, _ := diel.Above(day)
		w.HoursAboveFirstC = watertemp.HoursAbove(w.MeanC, up, lines[0].C)
		for k, l := range lines {
			w.Chances[k] = chanceRunning(diel, rows, day, d, l)
		}
		out[d] = w
	}
	return out
}

// columnOf is a day of all members, ascending.
func columnOf(rows [][]float64, d int) []float64 {
	out := make([]float64, len(rows))
	for m, row := range rows {
		out[m] = row[d]
	}
	slices.Sort(out)
	return out
}

// chanceRunning is the chance that a line is reached on so many days running
// that end on a day. Before the issue nothing counts: the first days have none.
func chanceRunning(diel watertemp.Diel, rows [][]float64, day, d int, l WarmLine) float64 {
	if d+1 < l.Days {
		return 0
	}
	p := 0.0
	for _, row := range rows {
		all := 1.0
		for k := range l.Days {
			all *= diel.ChanceAbove(day-k, row[d-k:d-k+1], l.C)
		}
		p += all
	}
	return p / float64(len(rows))
}

// FishToday is what today's water asks of somebody who fishes for trout, in
// words: the graver of what the thermometer said within the last day and what
// the model makes of the warmest hour. A modelled value can raise it and never
// lowers it.
func FishToday(now Reading, at time.Time, modelledMaxC float64) (wading.FishAdvice, string) {
	modelled := wading.AdviceFor(modelledMaxC)
	if now.At.IsZero() || at.Sub(now.At) > 24*time.Hour {
		return modelled, fmt.Sprintf("%s (modelled warmest hour %s; no reading in the last 24 hours)", modelled.Words(), wading.Metric.Temperature(modelledMaxC))
	}
	measured := wading.AdviceFor(now.Value)
	if wading.Graver(modelled, measured) {
		return modelled, fmt.Sprintf("%s (modelled warmest hour %s; measured %s)", modelled.Words(), wading.Metric.Temperature(modelledMaxC), wading.Metric.Temperature(now.Value))
	}
	return measured, fmt.Sprintf("%s (measured %s)", measured.Words(), wading.Metric.Temperature(now.Value))
}
