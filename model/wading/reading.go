package wading

import (
	"fmt"
	"math"
	"time"
)

// Reading is a value with its age. The zero Reading is one that is missing.
type Reading struct {
	Value   float64
	Age     time.Duration // since it was taken, not since it was fetched
	Present bool
	Daily   bool   // a site that gives one value a day: it may be older
	Doubt   string // why the value must not be trusted: "ice", "equipment"; empty if it may
	Modeled bool   // worked out, not measured (water temperature)
}

// Past is one earlier reading of a sensor.
type Past struct {
	Age   time.Duration
	Value float64
}

// Oldest a reading may be before it counts as missing. Our own default: gauges
// record every 15 to 60 minutes and send about hourly.
const (
	MaxAge      = 2 * time.Hour
	maxAgeDaily = 6 * time.Hour
)

// clockSkew is how far ahead of us a gauge's clock may be. Our own default.
const clockSkew = 10 * time.Minute

func (r Reading) maxAge() time.Duration {
	if r.Daily {
		return maxAgeDaily
	}
	return MaxAge
}

// given reports whether there is a number at all, however old or doubted.
func (r Reading) given() bool {
	return r.Present && !math.IsNaN(r.Value) && !math.IsInf(r.Value, 0)
}

// trouble says why a reading cannot be used; empty when it can.
func (r Reading) trouble(what string) string {
	switch {
	case !r.given():
		return "there is no recent " + what + " reading"
	case r.Doubt != "":
		return fmt.Sprintf("the %s reading cannot be trusted (%s)", what, r.Doubt)
	case r.Age < -clockSkew:
		return "the " + what + " reading is dated in the future: a clock is wrong"
	case r.Age > r.maxAge():
		return fmt.Sprintf("the last %s reading is %s", what, age(r.Age))
	}
	return ""
}
