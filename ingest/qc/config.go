package qc

import (
	"math"
	"time"

	"example.org/eclose/ingest"
)

// Range is an interval of values that are accepted, ends included. An infinite
// end is no limit.
type Range struct{ Low, High float64 }

func (r Range) holds(v float64) bool { return v >= r.Low && v <= r.High }

var everything = Range{math.Inf(-1), math.Inf(1)}

// Config holds the thresholds of one variable, in our unit. A zero value
// switches its test off, a zero Range excepted: set both ends.
type Config struct {
	// Gap is QARTOD's TIM_INC: the longest expected time from one reading to
	// the next, and from the last reading to now.
	Gap time.Duration

	// Sensor and User are QARTOD's gross range: outside Sensor fails, outside
	// User is suspect.
	Sensor, User Range

	// LogFloor, above 0, lets the tests for spikes and for the rate of change work
	// on the logarithm of the value, smaller values taken as this one: a flow of
	// 1 and one of 1000 m3/s double alike. Their thresholds are then logarithms.
	LogFloor float64

	// SpikeLow and SpikeHigh are QARTOD's THRSHLD_LOW (suspect) and
	// THRSHLD_HIGH (fail) for the height of a lone spike.
	SpikeLow, SpikeHigh float64

	// A step from one reading to the next is suspect if it is larger than
	// RateFloor + RateSD times the standard deviation of the RateSpan before
	// it. The manual's example 1 is 0, 3 and 25 h; its example 2 is 2 °C, 2 and
	// the same span.
	RateFloor, RateSD float64
	RateSpan          time.Duration

	// A reading is suspect (fails) if the FlatSuspect (FlatFail) readings
	// before it, QARTOD's REP_CNT, all differ from it by less than FlatEPS and
	// reach back at least FlatSuspectSpan (FlatFailSpan). A FlatFail of 0 never
	// fails.
	FlatSuspect, FlatFail         int
	FlatSuspectSpan, FlatFailSpan time.Duration
	FlatEPS                       float64
	FlatExempt                    Range // values that may honestly stay put; NaN ends: none

	// OutOfWater are the limits for a water sensor that follows the air.
	OutOfWater OutOfWater

	// Ice are the limits for flow or level under ice.
	Ice Ice
}

// OutOfWater judges a day by the regression of the water sensor on the air at
// the same hours. Water lags the air by hours and swings less; a sensor in the
// air does neither.
type OutOfWater struct {
	Pairs                        int     // fewest pairs of readings in a day; 0: off
	AirSwing                     float64 // °C; days on which the air moves less say nothing
	SuspectSlope, FailSlope      float64 // °C of the sensor for 1 °C of the air
	SuspectCorrelate, FailFollow float64 // correlation at the same hour
}

// Ice judges flow and level by cold: a mean air temperature of AirSpan at or
// below Air, unless the water is known to be above Water.
type Ice struct {
	AirSpan    time.Duration // 0: off
	Air, Water float64       // °C
}

const day = 24 * time.Hour

// Default holds our thresholds for a variable and period. The manuals leave
// every threshold to the operator: each number below is our own default unless
// a source is named, set wide enough that a healthy river passes.
func Default(v ingest.Variable, period string) Config {
	none := math.NaN()
	c := Config{Gap: 3 * time.Hour, Sensor: everything, User: everything, FlatExempt: Range{none, none}}
	daily := period == ingest.Daily
	if daily {
		c.Gap = 2 * day
	}
	switch v {
	case ingest.WaterTemperature:
		// Fresh water supercools by hundredths of a degree only; half a degree
		// leaves room for a sensor's offset. 30 °C is also the suspect limit in
		// the US EPA's ContDataQC configuration for streams.
		c.Sensor, c.User = Range{-0.5, 40}, Range{-0.2, 30}
		c.SpikeLow, c.SpikeHigh = 1, 3
		c.RateFloor, c.RateSD, c.RateSpan = 2, 2, 25*time.Hour // the manual's example 2
		c.FlatSuspect, c.FlatFail, c.FlatEPS = 10, 20, 0.005   // counts and tolerance of the glider manual's example
		c.FlatSuspectSpan, c.FlatFailSpan = 2*day, 7*day
		c.FlatExempt = Range{-0.3, 0.3} // under ice a river stays at 0 °C for weeks
		if daily {
			c.SpikeLow, c.SpikeHigh = 4, 8
			c.RateFloor, c.RateSD, c.RateSpan = 5, 2, 10*day
			c.FlatSuspect, c.FlatFail = 4, 7
			c.FlatSuspectSpan, c.FlatFailSpan = 0, 0
		} else {
			c.OutOfWater = OutOfWater{Pairs: 18, AirSwing: 6, SuspectSlope: 0.65, FailSlope: 0.8, SuspectCorrelate: 0.95, FailFollow: 0.97}
		}
	case ingest.AirTemperature:
		// The world's extremes are -89.2 °C and 56.7 °C (WMO archive of
		// weather and climate extremes).
		c.Sensor, c.User = Range{-90, 57}, Range{-60, 50}
		c.SpikeLow, c.SpikeHigh = 8, 15
		c.FlatSuspect, c.FlatFail, c.FlatEPS = 10, 20, 0.005
		c.FlatSuspectSpan, c.FlatFailSpan = day, 3*day
		if daily {
			c.SpikeLow, c.SpikeHigh = 20, 30
			c.FlatSuspect, c.FlatFail, c.FlatSuspectSpan, c.FlatFailSpan = 5, 8, 0, 0
		}
	case ingest.Discharge:
		// No river carries more than some 300,000 m3/s. Flow may stand still in
		// a drought or below a dam for weeks, so no flat line fails; nor does it
		// when the bed is dry.
		c.Sensor, c.User = Range{0, 3e5}, Range{0, 2e5}
		c.LogFloor = 0.03
		c.SpikeLow, c.SpikeHigh = math.Log(2), math.Log(10)
		c.RateFloor, c.RateSD, c.RateSpan = math.Log(3), 3, 25*time.Hour // the manual's example 1, with a floor
		c.FlatSuspect, c.FlatEPS, c.FlatSuspectSpan = 10, 1e-9, 3*day
		c.FlatExempt = Range{0, 0}
		if daily {
			c.SpikeLow, c.SpikeHigh = math.Log(5), math.Log(30)
			c.RateSD, c.FlatSuspect, c.FlatSuspectSpan = 0, 10, 10*day
			c.RateSpan = 0
		}
		c.Ice = Ice{AirSpan: 3 * day, Air: -5, Water: 0.3}
	case ingest.GaugeHeight:
		c.Sensor, c.User = Range{-500, 9000}, Range{-500, 6000} // metres above any datum
		c.SpikeLow, c.SpikeHigh = 0.5, 2
		c.Ice = Ice{AirSpan: 3 * day, Air: -5, Water: 0.3}
	case ingest.Turbidity:
		c.Sensor, c.User = Range{0, 10000}, Range{0, 4000} // what such sensors reach
	case ingest.Precipitation:
		// 305 mm in 42 minutes and 1825 mm in a day are the world's records
		// (WMO archive).
		c.Sensor, c.User = Range{0, 450}, Range{0, 100}
		if daily {
			c.Sensor, c.User = Range{0, 1830}, Range{0, 500}
		}
	case ingest.Snowfall:
		c.Sensor, c.User = Range{0, 450}, Range{0, 300}
	case ingest.SnowDepth:
		c.Sensor, c.User = Range{0, 20}, Range{0, 12}
	case ingest.RelativeHumidity, ingest.CloudCover, ingest.ThunderProbability:
		c.Sensor, c.User = Range{0, 105}, Range{0, 105}
	case ingest.WindSpeed:
		c.Sensor, c.User = Range{0, 115}, Range{0, 60}
	case ingest.ShortwaveRadiation:
		c.Sensor, c.User = Range{-10, 1600}, Range{-10, 1400}
	case ingest.ChannelWidth, ingest.ChannelArea, ingest.ChannelVelocity: // measured by hand, so there is no sensor to judge
	}
	return c
}
