package subscribe

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"example.org/eclose/ingest"
	"example.org/eclose/model/wading"
)

// A Condition is a value at a river's gauge that a person waits for.
type Condition struct {
	Variable ingest.Variable // discharge, gauge_height or water_temperature
	Forecast bool            // by the forecast of a day ahead; else as read
	Above    bool            // at or above Value; else at or below
	Value    float64         // m3/s, m or °C
}

// conditionWords are what people call the variables, the word we print first.
var conditionWords = []struct {
	variable ingest.Variable
	words    []string
	example  string // of a unit
	margin   float64
	share    bool // margin is a share of the value
	forecast bool // there is a forecast of it
}{
	{ingest.Discharge, []string{"flow", "discharge"}, "cfs", 0.10, true, true},
	{ingest.GaugeHeight, []string{"height", "gauge_height"}, "ft", 0.05, false, false},
	{ingest.WaterTemperature, []string{"water", "water_temperature", "temperature"}, "°F", 0.5, false, true},
}

var conditionForm = regexp.MustCompile(`^\s*(forecast\s+|read\s+)?([a-z_]+)\s*(<|>|below|above)=?\s*([0-9]+(?:\.[0-9]+)?(?:[eE][-+]?[0-9]+)?)\s*([^\s0-9.]\S*)\s*$`)

// ParseCondition reads a condition such as "flow < 600 cfs", "forecast flow below 17 m3/s"
// or "water > 12 °C".
func ParseCondition(s string) (c Condition, err error) {
	bad := func(format string, args ...any) (Condition, error) {
		return Condition{}, fmt.Errorf("condition %q: %s; write it like \"flow < 600 cfs\" or \"forecast flow < 600 cfs\"", ingest.Clip(s), fmt.Sprintf(format, args...))
	}
	m := conditionForm.FindStringSubmatch(s)
	if m == nil {
		return bad("it needs a variable, < or >, a number and a unit")
	}
	i := variableOf(m[2])
	if i < 0 {
		return bad("%q is unknown; use flow, height or water", m[2])
	}
	w := conditionWords[i]
	c = Condition{Variable: w.variable, Forecast: strings.HasPrefix(m[1], "forecast"), Above: m[3] == ">" || m[3] == "above"}
	if c.Forecast && !w.forecast {
		return bad("there is no forecast of %s", w.words[0])
	}
	conv, err := ingest.ConversionOf(w.variable, unitOf(m[5]))
	if err != nil {
		return bad("unit %q is unknown; use %s", m[5], w.example)
	}
	v, err := strconv.ParseFloat(m[4], 64)
	if err != nil {
		return bad("%q is not a number", m[4])
	}
	c.Value = conv.Apply(v)
	if c.Value < 0 || c.Value > 1e6 || math.IsNaN(c.Value) || c.Variable == ingest.Discharge && c.Value == 0 {
		return bad("the value is out of range")
	}
	return c, nil
}

func variableOf(word string) int {
	for i, w := range conditionWords {
		if slices.Contains(w.words, word) {
			return i
		}
	}
	return -1
}

// unitOf is a unit as feeds write it.
func unitOf(s string) string {
	switch strings.ToLower(s) {
	case "cfs":
		return "ft3/s"
	case "cumecs":
		return "m3/s"
	case "f":
		return "°F"
	case "c":
		return "°C"
	}
	return s
}

// String writes the condition as it is kept, so that ParseCondition reads it again.
func (c Condition) String() string {
	kind, sign := "read", "<"
	if c.Forecast {
		kind = "forecast"
	}
	if c.Above {
		sign = ">"
	}
	return fmt.Sprintf("%s %s %s %s %s", kind, c.name(), sign, strconv.FormatFloat(c.Value, 'g', 10, 64), unitOf(c.Variable.Unit()))
}

func (c Condition) name() string {
	for _, w := range conditionWords {
		if w.variable == c.Variable {
			return w.words[0]
		}
	}
	return string(c.Variable)
}

// Words says the condition in a reader's units.
func (c Condition) Words(u wading.Units) string {
	what, where := c.name(), "at or below"
	switch c.Variable {
	case ingest.GaugeHeight:
		what = "gauge height"
	case ingest.WaterTemperature:
		what = "water temperature"
	default: // flow
	}
	if c.Above {
		where = "at or above"
	}
	if c.Forecast {
		what = "forecast " + what
	}
	return what + " " + where + " " + c.Print(c.Value, u)
}

// Print writes a value of the condition's variable in a reader's units.
func (c Condition) Print(v float64, u wading.Units) string {
	switch c.Variable {
	case ingest.GaugeHeight:
		return u.Length(v)
	case ingest.WaterTemperature:
		return u.Temperature(v)
	default:
		return u.Flow(v)
	}
}

// Met reports whether a value fulfils the condition.
func (c Condition) Met(v float64) bool {
	const digits = 1e-9 // lost in changing units
	if c.Above {
		return v >= c.Value*(1-digits)
	}
	return v <= c.Value*(1+digits)
}

// Left reports whether a value is so far on the other side that the condition is over:
// 10 % of a flow, 5 cm of height, half a degree. Our own defaults.
func (c Condition) Left(v float64) bool {
	margin := 0.0
	for _, w := range conditionWords {
		if w.variable == c.Variable {
			if margin = w.margin; w.share {
				margin *= c.Value
			}
		}
	}
	if c.Above {
		return v < c.Value-margin
	}
	return v > c.Value+margin
}
