package engine

import (
	"fmt"
	"math"
)

// Clock is a way of counting degree-days. Groups with equal clocks share the
// work.
type Clock struct {
	BaseC  float64
	UpperC float64 // plateau of the daily rate; +Inf for none
	Start  int     // first day that counts
}

// Gate lets emergence through only in water of a certain temperature.
type Gate struct {
	MinC, MaxC float64 // -Inf and +Inf for none
}

// GateRampC is the width over which a gate closes. Our own default: a daily
// mean is known to about a degree.
const GateRampC = 2.0

// Open is 1 within the gate, 0 more than GateRampC outside it, linear between.
func (g Gate) Open(tempC float64) float64 {
	o, warm := (tempC-g.MinC)/GateRampC+1, (g.MaxC-tempC)/GateRampC+1
	if warm < o {
		o = warm
	}
	switch {
	case o <= 0:
		return 0
	case o >= 1:
		return 1
	}
	return o
}

// always reports that no temperature closes the gate.
func (g Gate) always() bool { return math.IsInf(g.MinC, -1) && math.IsInf(g.MaxC, 1) }

// Group is one insect group at one river, one draw of parameters per member.
type Group struct {
	Clock      Clock
	DD50       []float64 // °C·d to half of the season's emergence
	Calendar   []float64 // the calendar's median date, in days from day 0; may lie outside the horizon
	Usual      []float64 // median date by the calendar alone, for the reference forecast; nil if it is Calendar
	Weight     []float64 // 0 calendar only .. 1 temperature only
	SpreadDays []float64 // standard deviation of emergence around its median, > 0
	Gate       Gate
	LagMin     int       // days from emergence to the first egg-laying
	LagMax     int       // days to the last
	Rate       []float64 // expected records in two hours if the whole season fell on that day
	RateEggs   []float64 // the same for egg-laying
	Least      int       // how many records the chance is of, at least; 0 for 1
}

// River is what one river brings.
type River struct {
	Members int
	Days    int
	TempC   []float32 // daily mean water temperature, member after member: [m*Days+d]
	Groups  []Group
	// On are the days whose chances are wanted, in rising order; nil: all days. P is 0 on
	// the others. One case differs: where a stage's window ends (90 % point) before the first
	// of them, P holds all days from that one on. Windows and calendar do not depend on On.
	On []int
	// Activity asks for the spread of the daily share over members as well,
	// which takes about three times as long as all the rest.
	Activity bool
}

// check finds what would make the loop read outside its input or give NaN.
func (r *River) check() error {
	if r.Members < 1 || r.Days < 1 || len(r.TempC) != r.Members*r.Days {
		return fmt.Errorf("%d members of %d days need %d water temperatures, not %d", r.Members, r.Days, r.Members*r.Days, len(r.TempC))
	}
	if err := r.checkOn(); err != nil {
		return err
	}
	for i, t := range r.TempC {
		if t != t || t < -10 || t > 60 {
			return fmt.Errorf("member %d, day %d: a water temperature of %v °C", i/r.Days, i%r.Days, t)
		}
	}
	for k := range r.Groups {
		if err := r.Groups[k].check(r.Members); err != nil {
			return fmt.Errorf("group %d: %w", k, err)
		}
	}
	return nil
}

func (r *River) checkOn() error {
	before := -1
	for _, d := range r.On {
		if d <= before || d >= r.Days {
			return fmt.Errorf("chances on day %d of %d, after day %d", d, r.Days, before)
		}
		before = d
	}
	if r.On != nil && r.Activity {
		return fmt.Errorf("the spread of activity is of all days")
	}
	return nil
}

// usual are the median dates of the calendar-only forecast.
func (g *Group) usual() []float64 {
	if g.Usual == nil {
		return g.Calendar
	}
	return g.Usual
}

func (g *Group) check(members int) error {
	for name, v := range map[string][]float64{"dd50": g.DD50, "calendar": g.Calendar, "usual": g.usual(), "weight": g.Weight,
		"spread": g.SpreadDays, "rate": g.Rate, "egg-laying rate": g.RateEggs} {
		if len(v) != members {
			return fmt.Errorf("%d draws of %s for %d members", len(v), name, members)
		}
	}
	for m := range members {
		switch w := g.Weight[m]; {
		case !(w >= 0 && w <= 1):
			return fmt.Errorf("member %d: a weight of %v", m, w)
		case !(g.SpreadDays[m] >= MinSpreadDays) || math.IsInf(g.SpreadDays[m], 0):
			return fmt.Errorf("member %d: a spread of %v days, less than %v", m, g.SpreadDays[m], MinSpreadDays)
		case math.IsNaN(g.DD50[m]) || g.DD50[m] <= 0:
			return fmt.Errorf("member %d: a requirement of %v °C·d", m, g.DD50[m])
		case math.IsNaN(g.Calendar[m]) || math.Abs(g.Calendar[m]) > 1e6:
			return fmt.Errorf("member %d: a calendar date of day %v", m, g.Calendar[m])
		case math.IsNaN(g.usual()[m]) || math.Abs(g.usual()[m]) > 1e6:
			return fmt.Errorf("member %d: a usual date of day %v", m, g.usual()[m])
		case !(g.Rate[m] >= 0 && g.Rate[m] <= MaxRate) || !(g.RateEggs[m] >= 0 && g.RateEggs[m] <= MaxRate):
			return fmt.Errorf("member %d: rates of %v and %v", m, g.Rate[m], g.RateEggs[m])
		}
	}
	switch {
	case g.LagMin < 0 || g.LagMax < g.LagMin || g.LagMax > MaxLagDays:
		return fmt.Errorf("a lag of %d to %d days", g.LagMin, g.LagMax)
	case g.Least < 0:
		return fmt.Errorf("a chance of at least %d records", g.Least)
	case math.IsNaN(g.Clock.BaseC) || math.IsInf(g.Clock.BaseC, 0) || !(g.Clock.UpperC > g.Clock.BaseC):
		return fmt.Errorf("degree-days from %v to %v °C", g.Clock.BaseC, g.Clock.UpperC)
	case math.IsNaN(g.Gate.MinC) || !(g.Gate.MaxC >= g.Gate.MinC):
		return fmt.Errorf("a gate from %v to %v °C", g.Gate.MinC, g.Gate.MaxC)
	}
	return nil
}

// MinSpreadDays and MaxLagDays bound what is taken as a season: half a day and
// half a year; MaxRate bounds the records of a season. Our own defaults.
const (
	MinSpreadDays = 0.5
	MaxLagDays    = 183
	MaxRate       = 1e9
)
