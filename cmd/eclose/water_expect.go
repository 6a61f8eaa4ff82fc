package main

import (
	"fmt"
	"io"
	"math"
	"text/tabwriter"
	"time"

	"example.org/eclose/model/watertemp"
)

// expectedMonth is what to expect of a month at a river whose readings are too few for a
// fit, over the years of the record.
type expectedMonth struct {
	Month string  `json:"month"`
	MeanC float64 `json:"mean_c"`
	P10C  float64 `json:"p10_c"` // one day in ten is colder, and one warmer than the next
	P90C  float64 `json:"p90_c"`
}

// expectedDay is the water of a day by the air and flow of that day and those before it.
type expectedDay struct {
	Date  string  `json:"date"`
	MeanC float64 `json:"mean_c"`
	SDC   float64 `json:"error_sd_c"`
}

// daily is the modelled water of the whole record, readings aside.
func (f *waterFit) daily() []expectedDay {
	withoutWater := f.in
	withoutWater.Water = make([]float64, len(f.in.Air))
	for i := range withoutWater.Water {
		withoutWater.Water[i] = math.NaN()
	}
	mean, sd := f.best.FillGaps(withoutWater)
	out := make([]expectedDay, len(mean))
	for i := range out {
		out[i] = expectedDay{dayDate(f.in.Day0 + i), math.Round(100*mean[i]) / 100, math.Round(100*sd[i]) / 100}
	}
	return out
}

// expected sums the days up by month: their mean, and the range of a day with the
// model's error in it.
func (f *waterFit) expected() []expectedMonth {
	var sum, squares, n [12]float64
	for i, d := range f.daily() {
		m := time.Unix(int64(f.in.Day0+i)*86400, 0).UTC().Month() - 1
		sum[m] += d.MeanC
		squares[m] += d.MeanC*d.MeanC + d.SDC*d.SDC
		n[m]++
	}
	var out []expectedMonth
	for m := range sum {
		if n[m] == 0 {
			continue
		}
		const tenth = 1.2816 // of a normal distribution, in standard deviations
		mean := sum[m] / n[m]
		off := tenth * math.Sqrt(max(0, squares[m]/n[m]-mean*mean))
		tenths := func(c float64) float64 { return math.Round(10*max(0, c)) / 10 }
		out = append(out, expectedMonth{time.Month(m + 1).String(), tenths(mean), tenths(mean - off), tenths(mean + off)})
	}
	return out
}

func (f *waterFit) printExpected(out io.Writer) error {
	fmt.Fprintln(out, "What to expect of the water, °C: each month's mean, and the range that holds eight days in ten.")
	w := tabwriter.NewWriter(out, 0, 0, 2, ' ', tabwriter.AlignRight)
	for _, m := range f.expected() {
		fmt.Fprintf(w, "%s\t%.1f\t%.1f to %.1f\t\n", m.Month, m.MeanC, m.P10C, m.P90C)
	}
	return w.Flush()
}

// useRegional takes what rivers alike tell, and a river near by, for a record that is too short.
func (f *waterFit) useRegional(little *watertemp.TooLittleError, donor *watertemp.Model, donorName string) {
	before := f.in.Until(f.cut)
	f.model, f.best = watertemp.Prior(donor).At(before), watertemp.Prior(donor).At(f.in)
	f.report = f.model.Report(f.in, f.cut)
	f.fallback = fmt.Sprintf("Record before %s too short to fit: %d of %d days with water and air temperature (%d missing).", dayDate(f.cut), little.Have, little.Need, little.Need-little.Have)
	switch {
	case donorName != "" && f.best.FromDonor:
		f.fallback += fmt.Sprintf(" Using what is known of rivers similar in air and flow, adjusted partly towards %s.", donorName)
	case donorName != "":
		f.fallback += fmt.Sprintf(" Using what is known of rivers similar in air and flow; %s is too far or too unlike to help.", donorName)
	}
}
