package wading

import (
	"fmt"
	"math"
	"time"
)

// Exact by definition.
const (
	footM   = 0.3048
	foot2M2 = footM * footM         // ft2 in m2, and ft2/s in m2/s
	Foot3M3 = footM * footM * footM // ft3 in m3, and ft3/s in m3/s
	FootM   = footM
)

// FtoC turns °F into °C.
func FtoC(f float64) float64 { return (f - 32) / 1.8 }

// CtoF turns °C into °F.
func CtoF(c float64) float64 { return c*1.8 + 32 }

// Units is the system a reader is used to; the other follows in brackets.
type Units int

// The systems.
const (
	Metric Units = iota
	US
	alone // a bit beside them
)

// Alone leaves out the other system, for tables and pictures.
func (u Units) Alone() Units { return u | alone }

func (u Units) both(metric, us string) string {
	first, other := metric, us
	if u&US != 0 {
		first, other = us, metric
	}
	if u&alone != 0 {
		return first
	}
	return first + " (" + other + ")"
}

// Flow prints a flow to what is known of one: three digits.
func (u Units) Flow(m3s float64) string {
	return u.both(digits(m3s)+" m³/s", digits(m3s/Foot3M3)+" cfs")
}

// Length prints a depth or a gauge height.
func (u Units) Length(m float64) string {
	return u.both(fmt.Sprintf("%.2f m", m), fmt.Sprintf("%.1f ft", m/footM))
}

// Speed prints the speed of water.
func (u Units) Speed(ms float64) string {
	return u.both(fmt.Sprintf("%.1f m/s", ms), fmt.Sprintf("%.1f ft/s", ms/footM))
}

// DV is depth times speed, the push of the water on the legs.
func (u Units) DV(m2s float64) string {
	return u.both(fmt.Sprintf("%.2f m²/s", m2s), fmt.Sprintf("%.1f ft²/s", m2s/foot2M2))
}

// Temperature prints one.
func (u Units) Temperature(c float64) string {
	return u.both(fmt.Sprintf("%.1f °C", c), fmt.Sprintf("%.0f °F", CtoF(c)))
}

// digits prints a flow to three significant digits, without exponent.
func digits(v float64) string {
	switch a := math.Abs(v); {
	case a >= 100:
		p := math.Pow(10, math.Floor(math.Log10(a))-2)
		return fmt.Sprintf("%.0f", math.Round(v/p)*p)
	case a >= 10:
		return fmt.Sprintf("%.1f", v)
	default:
		return fmt.Sprintf("%.2f", v)
	}
}

// age is a duration in words that nobody can take for exact.
func age(d time.Duration) string {
	switch {
	case d < 0:
		return "in the future"
	case d < 90*time.Minute:
		return fmt.Sprintf("%d min old", int(d.Minutes()+0.5))
	case d < 48*time.Hour:
		return fmt.Sprintf("%.1f h old", d.Hours())
	}
	return fmt.Sprintf("%.0f days old", d.Hours()/24)
}

// clock is a moment in the river's own time.
func clock(t time.Time, zone *time.Location) string {
	if zone == nil {
		zone = time.UTC
	}
	return t.In(zone).Format("15:04 MST on 2 Jan 2006")
}
