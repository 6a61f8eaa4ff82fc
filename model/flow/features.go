package flow

import (
	"math"

	"example.org/eclose/model/elementary"
)

// The features that move the flow anomaly, in the order of the factors.
const (
	fastAbove    = iota // x above its mean of 5 days
	fastAboveCos        // by season
	fastAboveSin        //
	slowAbove           // mean of 5 days above the mean of 25
	slowAboveCos        //
	slowAboveSin        //
	anomaly25           // mean of 25 days
	anomaly25Cos        //
	anomaly25Sin
	anomaly90
	roseBy       // yesterday's rise
	roseLittle   // the same, ever less of a great one
	fellBy       // yesterday's fall
	highAbove    // square of what x stands above its mean of 25 days
	air          // anomaly of the air that drives the day
	airCos       //
	airSin       //
	airChange    // its change since the day before
	airChangeCos //
	airChangeSin //
	air10        // anomaly of the air of 10 days
	air10Cos     //
	air10Sin     //
	melt3        // anomaly of the melt of 3 days
	melt15       // of 15 days
	snow         // anomaly of the pack
	rain         // anomaly of the day's rain
	rainOnWet    // by how far the flow of 25 days is above its climatology
	rainBefore   // the rain of the day before
	constant     //
	numFeatures  // how many
)

// The features of the size of a day's error, in logarithms.
const (
	sizeMean = iota
	sizeCos
	sizeSin
	sizeAbove    // x above its mean of 5 days
	sizeAboveAbs // without its sign
	sizeAnomaly  // mean of 25 days
	sizeChange   // size of yesterday's change
	numSizes     // how many
)

// Days over which the running means reach. Our own defaults: a flood wave, a wet month.
var keep3, keep5, keep10, keep15, keep25, keep90 = keeps(3), keeps(5), keeps(10), keeps(15), keeps(25), keeps(90)

func keeps(days float64) float64 { return math.Exp(-1 / days) }

// weather is the daily forcing as the features take it: anomalies from climatology.
type weather struct{ air, melt, snow, rain float64 }

// A state is all that the coming days depend on.
type state struct {
	x, before             float64 // anomaly of log flow today and yesterday
	mean5, mean25, mean90 float64
	air, air10            float64
	melt3, melt15         float64
	rain                  float64
}

// start is the state of a river that stands at an anomaly.
func start(x float64) state { return state{x: x, before: x, mean5: x, mean25: x, mean90: x} }

// moved takes in the anomaly of the day whose weather is already in.
func (s *state) moved(x float64) {
	s.before, s.x = s.x, x
	s.mean5 = x + keep5*(s.mean5-x)
	s.mean25 = x + keep25*(s.mean25-x)
	s.mean90 = x + keep90*(s.mean90-x)
}

// takes takes the weather of the next day into the state.
func (s *state) takes(w *weather) {
	s.air = w.air
	s.air10 = w.air + keep10*(s.air10-w.air)
	s.melt3 = w.melt + keep3*(s.melt3-w.melt)
	s.melt15 = w.melt + keep15*(s.melt15-w.melt)
	s.rain = w.rain
}

// features fills f with what moves the flow from the state's day to the next, whose
// weather it takes into the state.
func (s *state) features(f *[numFeatures]float64, w *weather, cos, sin float64) {
	a, fast, slow := w.air, s.x-s.mean5, s.mean5-s.mean25
	change := a - s.air
	rainOfYesterday := s.rain
	s.takes(w)
	f[fastAbove], f[fastAboveCos], f[fastAboveSin] = fast, fast*cos, fast*sin
	f[slowAbove], f[slowAboveCos], f[slowAboveSin] = slow, slow*cos, slow*sin
	month := s.mean25 - s.mean90
	f[anomaly25], f[anomaly25Cos], f[anomaly25Sin], f[anomaly90] = month, month*cos, month*sin, s.mean90
	d := s.x - s.before
	f[roseBy], f[fellBy] = max(d, 0), min(d, 0)
	f[roseLittle] = f[roseBy] / (1 + f[roseBy]/littleRise)
	high := min(max(s.x-s.mean25, 0), highMost)
	f[highAbove] = high * high
	a /= airUnit
	change /= airUnit
	f[air], f[airCos], f[airSin] = a, a*cos, a*sin
	f[airChange], f[airChangeCos], f[airChangeSin] = change, change*cos, change*sin
	b := s.air10 / airUnit
	f[air10], f[air10Cos], f[air10Sin] = b, b*cos, b*sin
	f[melt3], f[melt15], f[snow] = s.melt3, s.melt15, w.snow
	f[rain], f[rainOnWet], f[rainBefore] = w.rain, w.rain*s.mean25, rainOfYesterday
	f[constant] = 1
}

// airUnit, °C, brings anomalies of the air to the size of the others. highMost bounds
// a feature: e to the power of 3 is twenty times the mean of the month.
const airUnit, highMost = 5.0, 3.0

// sizes fills f with what the size of the next day's error depends on.
func (s *state) sizes(f *[numSizes]float64, cos, sin float64) {
	fast := s.x - s.mean5
	f[sizeMean], f[sizeCos], f[sizeSin] = 1, cos, sin
	f[sizeAbove], f[sizeAboveAbs], f[sizeAnomaly] = fast, elementary.Log(math.Abs(fast)+sizeUnit), s.mean25
	f[sizeChange] = elementary.Log(math.Abs(s.x-s.before) + sizeUnit)
}

// littleRise and sizeUnit, in log flow, are where a rise stops to count in full and
// below which a change is no news. Our own defaults.
const littleRise, sizeUnit = 0.3, 0.03
