package forecast

import (
	"fmt"
	"math"
	"time"

	"example.org/eclose/model/flow"
)

// Colour is how coloured the water is by a gauge's turbidity, and how often rises of the
// flow coloured it here.
type Colour struct {
	NowFNU float64    `json:"turbidity_fnu"`
	Day    Date       `json:"day"`             // of the reading, at the river
	Trend  flow.Trend `json:"trend,omitempty"` // beside the day before
	// Rises are the days on record on which the flow rose sharply, and Coloured those of
	// them on which the turbidity reached colouredFNU that day or the next; the other two
	// are the same for all other days.
	Rises         int `json:"sharp_rises"`
	Coloured      int `json:"coloured_after"`
	Others        int `json:"other_days"`
	OthersColored int `json:"coloured_other_days"`
}

// The turbidities from which the water is called slightly coloured, coloured and brown,
// FNU; common practice, no source: the bottom of a pool fades from view somewhere between
// the first two.
const (
	slightFNU   = 5
	colouredFNU = 20
	brownFNU    = 60
)

// Words says how coloured the water is.
func (c *Colour) Words() string {
	switch {
	case c.NowFNU >= brownFNU:
		return "brown"
	case c.NowFNU >= colouredFNU:
		return "coloured"
	case c.NowFNU >= slightFNU:
		return "slightly coloured"
	}
	return "little colour"
}

// turbidityMaxAge is how old the last turbidity may be. Our own default.
const turbidityMaxAge = 24 * time.Hour

// colour is what a gauge's turbidity says at the issue; nil where it has none of late.
func (rec *Record) colour(zone *time.Location) *Colour {
	now := rec.TurbidityNow
	if now.At.IsZero() || rec.IssuedAt.Sub(now.At) > turbidityMaxAge {
		return nil
	}
	c := &Colour{NowFNU: math.Round(10*now.Value) / 10, Day: DateOf(now.At.In(zone))}
	if n := len(rec.Turbidity); n > 0 && !math.IsNaN(rec.Turbidity[n-1]) {
		c.Trend = flow.TrendOf(rec.Turbidity[n-1], now.Value)
	}
	for i := 1; i < len(rec.Turbidity) && i < len(rec.Flow); i++ {
		t, q, before := rec.Turbidity[i], rec.Flow[i], rec.Flow[i-1]
		if math.IsNaN(t) || math.IsNaN(q) || math.IsNaN(before) {
			continue
		}
		if i+1 < len(rec.Turbidity) && rec.Turbidity[i+1] > t {
			t = rec.Turbidity[i+1]
		}
		coloured := 0
		if t >= colouredFNU {
			coloured = 1
		}
		if q >= muchRise*before {
			c.Rises, c.Coloured = c.Rises+1, c.Coloured+coloured
		} else {
			c.Others, c.OthersColored = c.Others+1, c.OthersColored+coloured
		}
	}
	return c
}

// fewestRises is the least number of sharp rises from which a chance of coloured water is
// told. Our own default.
const fewestRises = 5

// chance is the chance of coloured water on a day with a chance of a sharp rise; false
// where too few rises are on record.
func (c *Colour) chance(rise float64) (float64, bool) {
	if c == nil || c.Rises < fewestRises || c.Others == 0 {
		return 0, false
	}
	after, otherwise := float64(c.Coloured)/float64(c.Rises), float64(c.OthersColored)/float64(c.Others)
	return rise*after + (1-rise)*otherwise, true
}

// colourLines says what is known of the water's colour: the turbidity, and the chance of
// coloured water, or where no turbidity is on record the chance of a sharp rise.
func (f *FlowAhead) colourLines() []string {
	var out []string
	if c := f.Colour; c != nil {
		out = append(out, fmt.Sprintf("Turbidity: %.3g FNU on %s, %s.", c.NowFNU, c.Day.Short(), join(c.Words(), string(c.Trend))))
	}
	if len(f.Days) == 0 {
		return out
	}
	rise := f.coloured()
	if p, ok := f.Colour.chance(rise); ok {
		return append(out, fmt.Sprintf("Chance of coloured water (%d FNU or more) on the likeliest of the next %d days: %s; of %d sharp rises on record here %d coloured it.", colouredFNU, colourDays, Percent(p), f.Colour.Rises, f.Colour.Coloured))
	}
	if rise >= 0.05 {
		out = append(out, fmt.Sprintf("Chance of a sharp rise within %d days, which often colours the water: %s.", colourDays, Percent(rise)))
	}
	return out
}
