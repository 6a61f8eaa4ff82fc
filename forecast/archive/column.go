package archive

import (
	"encoding/binary"
	"math"

	"example.org/eclose/forecast"
)

// Steps of the numbers that are not days of a stage.
const (
	waterSteps = 100  // a degree
	partSteps  = 1000 // chances of the flow
)

// columns are whole numbers on their way to a file, or what is left of them on
// the way back.
type columns struct {
	b     []byte
	first bool // of first differences, as formatFirst has it; else of second ones
	short bool // the file ended before its last number
}

func (c *columns) write(n int, steps float64, value func(i int) float64) {
	last, slope := int64(0), int64(0)
	for i := range n {
		v := int64(math.Round(value(i) * steps))
		c.b = binary.AppendVarint(c.b, v-last-slope)
		last, slope = v, v-last
	}
}

func (c *columns) read(n int, steps float64, set func(i int, v float64)) {
	c.each(n, func(i int, v int64) { set(i, float64(v)/steps) })
}

// each reads a column of n numbers in their steps.
func (c *columns) each(n int, use func(i int, v int64)) {
	last, slope := int64(0), int64(0)
	for i := range n {
		d, size := binary.Varint(c.b)
		if size <= 0 {
			c.short = true
			return
		}
		c.b = c.b[size:]
		if !c.first {
			d += slope
		}
		last, slope = last+d, d
		use(i, last)
	}
}

// writeSome writes values of which some are not there.
func (c *columns) writeSome(n int, steps float64, value func(i int) *float64) {
	c.write(n, 1, func(i int) float64 {
		if value(i) == nil {
			return 0
		}
		return 1
	})
	last := 0.0
	c.write(n, steps, func(i int) float64 {
		if v := value(i); v != nil {
			last = *v
		}
		return last
	})
}

func (c *columns) readSome(n int, steps float64, set func(i int, v *float64)) {
	if n > len(c.b) { // a number takes a byte
		c.short = true
		return
	}
	there := make([]bool, n)
	c.read(n, 1, func(i int, v float64) { there[i] = v != 0 })
	c.read(n, steps, func(i int, v float64) {
		if there[i] {
			set(i, &v)
		}
	})
}

// dayColumns are the numbers of a stage's day, in the order of the file.
const dayColumns = 6

func dayNumber(d *forecast.Day, k int) (v *float64, steps float64) {
	switch k {
	case 0:
		return &d.P, forecast.ChanceSteps
	case 1:
		return &d.PCalendar, forecast.ChanceSteps
	case dayColumns - 1:
		return &d.Calendar, forecast.ShareSteps
	}
	return &d.Activity[k-2], forecast.ShareSteps
}

// writeDays writes a column of all stages before the next: like numbers side by
// side pack better than stage by stage.
func writeDays(c *columns, stages []forecast.StageOutlook) {
	for k := range dayColumns {
		_, steps := dayNumber(&forecast.Day{}, k)
		for _, s := range stages {
			c.write(s.Days.Len(), steps, func(i int) float64 {
				day := s.Days.At(i)
				v, _ := dayNumber(&day, k)
				return *v
			})
		}
	}
}

func readDays(c *columns, spans []span) []forecast.Days {
	all := make([][dayColumns][]uint16, len(spans))
	for i, s := range spans {
		if s.Days < 0 || s.Days > len(c.b) {
			c.short = true
			return nil
		}
		room := make([]uint16, dayColumns*s.Days)
		for k := range all[i] {
			all[i][k] = room[k*s.Days : (k+1)*s.Days]
		}
	}
	column := func(into []uint16) {
		c.each(len(into), func(i int, v int64) { into[i] = uint16(min(max(v, 0), math.MaxUint16)) })
	}
	for n := range len(spans) * dayColumns {
		if c.first { // formatFirst has them stage by stage
			column(all[n/dayColumns][n%dayColumns])
		} else {
			column(all[n%len(spans)][n/len(spans)])
		}
	}
	out := make([]forecast.Days, len(all))
	for i, columns := range all {
		out[i] = forecast.DaysOfSteps(spans[i].From, columns)
	}
	return out
}

// waterNumbers are the numbers that every day of water has.
func waterNumbers(d *forecast.WaterDay) [5]*float64 {
	return [5]*float64{&d.P10, &d.P50, &d.P90, &d.MaxP50, &d.MaxP90}
}

func writeWater(c *columns, days []forecast.WaterDay) {
	for k := range 5 {
		c.write(len(days), waterSteps, func(i int) float64 { return *waterNumbers(&days[i])[k] })
	}
	c.writeSome(len(days), waterSteps, func(i int) *float64 { return days[i].Observed })
	c.writeSome(len(days), waterSteps, func(i int) *float64 { return days[i].Climatology })
}

func readWater(c *columns, s span) []forecast.WaterDay {
	if s.Days == 0 {
		return nil
	}
	if s.Days < 0 || s.Days > len(c.b) {
		c.short = true
		return nil
	}
	days := make([]forecast.WaterDay, s.Days)
	for i := range days {
		days[i].Date = s.From + forecast.Date(i)
	}
	for k := range 5 {
		c.read(s.Days, waterSteps, func(i int, v float64) { *waterNumbers(&days[i])[k] = v })
	}
	c.readSome(s.Days, waterSteps, func(i int, v *float64) { days[i].Observed = v })
	c.readSome(s.Days, waterSteps, func(i int, v *float64) { days[i].Climatology = v })
	return days
}

func writeFlow(c *columns, days []forecast.FlowDay, decimals int) {
	for k := range 7 {
		c.write(len(days), math.Pow10(decimals), func(i int) float64 { return *quantiles(&days[i])[k] })
	}
	c.write(len(days), partSteps, func(i int) float64 { return days[i].Rise })
	c.writeSome(len(days), partSteps, func(i int) *float64 { return days[i].Fishable })
}

func readFlow(c *columns, s span) []forecast.FlowDay {
	if s.Days == 0 {
		return nil
	}
	if s.Days < 0 || s.Days > len(c.b) || s.Decimals < 0 || s.Decimals > 9 {
		c.short = true
		return nil
	}
	days := make([]forecast.FlowDay, s.Days)
	for i := range days {
		days[i].Date = s.From + forecast.Date(i)
	}
	for k := range 7 {
		c.read(s.Days, math.Pow10(s.Decimals), func(i int, v float64) { *quantiles(&days[i])[k] = v })
	}
	c.read(s.Days, partSteps, func(i int, v float64) { days[i].Rise = v })
	c.readSome(s.Days, partSteps, func(i int, v *float64) { days[i].Fishable = v })
	return days
}
