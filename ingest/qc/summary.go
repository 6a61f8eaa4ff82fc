package qc

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// A Summary says in one line how plausible the readings of a series are.
type Summary struct {
	Key         ingest.Key
	Count       int // readings, those without a value among them
	Missing     int // without a value
	Suspect     int
	Failed      int
	First, Last time.Time
	Low, High   float64        // in the unit of the variable; NaN where no reading has a value
	Tests       map[string]int // suspect and failed readings by the test that set the flag
	LooksLike   string         // what the values look like if the declared unit is wrong; else empty
}

// Summarize sums up the readings of a checked series from a moment on.
func Summarize(s ingest.Series, from time.Time) Summary {
	out := Summary{Key: s.Key, Low: math.NaN(), High: math.NaN(), Tests: map[string]int{}}
	var values []float64
	for i, v := range s.Value {
		if s.Time[i] < from.UnixMicro() {
			continue
		}
		if out.Count++; out.Count == 1 {
			out.First = s.At(i)
		}
		out.Last = s.At(i)
		if s.Flag != nil && (s.Flag[i] == ingest.Suspect || s.Flag[i] == ingest.Fail) {
			out.Tests[s.FlagTest[i]]++
			if s.Flag[i] == ingest.Fail {
				out.Failed++
			} else {
				out.Suspect++
			}
		}
		if math.IsNaN(v) {
			out.Missing++
			continue
		}
		values = append(values, v)
	}
	if len(values) > 0 {
		slices.Sort(values)
		out.Low, out.High = values[0], values[len(values)-1]
		out.LooksLike = looksLike(s, values, out.Last.Sub(out.First))
	}
	return out
}

// Bounds on a temperature, °C, beyond which the unit is doubted; our own
// defaults. Half of a river's readings are never above 33 °C nor below -1 °C;
// 5% of a place's air readings are never above 50 °C; and a place where a whole
// year stays below 10 °C, which is 50 °F, has no hatch to forecast.
const (
	warmestWater = 33
	coldestWater = -1
	warmestAir   = 50
	coolestYear  = 10
	aYear        = 300 * 24 * time.Hour
)

// looksLike says that temperatures, sorted, look as if the unit was declared
// wrong: °F where the agency or the config says °C, or the other way round. Air
// in °C declared as °F shows only over a year.
func looksLike(s ingest.Series, sorted []float64, span time.Duration) string {
	declared := func(unit string) bool {
		c, err := ingest.ConversionOf(s.Variable, s.SourceUnit)
		want, _ := ingest.ConversionOf(s.Variable, unit) // a spelling that is known
		return err == nil && c == want
	}
	middle, high, highest := sorted[len(sorted)/2], sorted[len(sorted)*19/20], sorted[len(sorted)-1]
	var cold, hot bool
	switch s.Variable {
	case ingest.WaterTemperature:
		cold, hot = middle < coldestWater, middle > warmestWater
	case ingest.AirTemperature:
		cold, hot = span > aYear && highest < coolestYear, high > warmestAir
	default:
		return ""
	}
	switch {
	case cold && declared("°F"):
		return "looks like °C but is declared as °F; check the unit"
	case hot && declared("°C"):
		return "looks like °F but is declared as °C; check the unit"
	}
	return ""
}

// String is the summary in one line, without the site.
func (s Summary) String() string {
	name := string(s.Key.Variable)
	if s.Key.Period != ingest.NoPeriod {
		name += fmt.Sprintf(" (%s, %s)", s.Key.Statistic, s.Key.Period)
	}
	if s.Count == 0 {
		return name + ": no readings"
	}
	parts := []string{fmt.Sprintf("%d readings %s to %s", s.Count, s.First.Format("2006-01-02 15:04"), s.Last.Format("2006-01-02 15:04"))}
	if !math.IsNaN(s.Low) {
		parts = append(parts, fmt.Sprintf("%.4g to %.4g %s", s.Low, s.High, s.Key.Variable.Unit()))
	}
	share := func(n int) string { return percent(float64(n) / float64(s.Count)) }
	parts = append(parts, share(s.Missing)+" missing")
	var tests []string
	for t := range s.Tests {
		tests = append(tests, t)
	}
	slices.Sort(tests)
	for i, t := range tests {
		tests[i] = fmt.Sprintf("%s %d", t, s.Tests[t])
	}
	if len(tests) > 0 {
		parts = append(parts, fmt.Sprintf("%s failed, %s suspect (%s)", share(s.Failed), share(s.Suspect), strings.Join(tests, ", ")))
	}
	if s.LooksLike != "" {
		parts = append(parts, s.LooksLike)
	}
	return name + ": " + strings.Join(parts, "; ")
}

// percent is a share in whole percent, but never 0% or 100% of what is not.
func percent(share float64) string {
	switch {
	case share > 0 && share < 0.01:
		return "under 1%"
	case share < 1 && share > 0.99:
		return "over 99%"
	}
	return fmt.Sprintf("%.0f%%", 100*share)
}
