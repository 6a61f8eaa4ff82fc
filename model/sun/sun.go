package sun

import (
	"math"
	"time"
)

// State says whether the sun crosses an altitude on a date.
type State int

// The states. AlwaysAbove is polar day for sunrise and never dark for twilight;
// AlwaysBelow is polar night, and no twilight.
const (
	Crosses State = iota
	AlwaysAbove
	AlwaysBelow
)

// Times are the sun's events of one date. The date is that of the sun transit
// nearest to the place's local mean noon; rise is the last one before that
// transit and set the first after it, so either may fall on the neighbouring
// UTC date. Instants are UTC; those that do not happen are zero.
type Times struct {
	State   State // of the sun's disc: refraction and radius taken as 50' below the horizon
	Rise    time.Time
	Transit time.Time
	Set     time.Time

	CivilState State // of the centre at 6 degrees below the horizon
	CivilDawn  time.Time
	CivilDusk  time.Time

	// DaylengthHours is set minus rise: 24 in polar day, 0 in polar night.
	DaylengthHours float64
}

// Altitudes of the sun's centre that define the events, degrees.
const (
	riseAltitude  = -50.0 / 60
	civilAltitude = -6.0
)

// Day works out the events of a date at a place in degrees (WGS 84, north and
// east positive). Only the date of day counts, in whatever zone it is written.
//
// Equations: low-accuracy solar position of Meeus, Astronomical Algorithms (2nd
// ed., chapters 25 and 28), as in the NOAA solar calculator. Hour angle H of an
// altitude h: cos H = (sin h - sin lat sin decl) / (cos lat cos decl). The
// declination and the equation of time are taken at the event itself by
// repetition: taken at noon they cost over a minute.
//
// Accuracy below 70 degrees of latitude: within 10 s of a full ephemeris. Sea
// level, flat horizon.
func Day(day time.Time, latDeg, lonDeg float64) Times {
	y, m, d := day.Date()
	noon := time.Date(y, m, d, 12, 0, 0, 0, time.UTC)
	noonSec := float64(noon.Unix()) - lonDeg*240 // local mean noon
	// Transit: mean noon less the equation of time there.
	transit := noonSec
	for range 3 {
		_, eot := position(transit)
		transit = noonSec - eot*60
	}
	var t Times
	t.Transit = instant(transit)
	rise, set, state := crossings(transit, noonSec, latDeg, riseAltitude)
	t.State = state
	switch state {
	case Crosses:
		t.Rise, t.Set = instant(rise), instant(set)
		t.DaylengthHours = (set - rise) / 3600
	case AlwaysAbove:
		t.DaylengthHours = 24
	case AlwaysBelow: // no daylight
	}
	dawn, dusk, state := crossings(transit, noonSec, latDeg, civilAltitude)
	t.CivilState = state
	if state == Crosses {
		t.CivilDawn, t.CivilDusk = instant(dawn), instant(dusk)
	}
	return t
}

// crossings finds when the sun's centre passes the altitude before and after a
// transit, seconds since 1970.
func crossings(transit, noonSec, latDeg, altitude float64) (before, after float64, state State) {
	side := func(sign float64) (float64, State) {
		at := transit
		// At the edge of polar day the hour angle changes much with the hour:
		// repeat until it stands still.
		for range 30 {
			decl, eot := position(at)
			h, s := hourAngle(latDeg, decl, altitude)
			if s != Crosses {
				// On the day that polar day or night begins or ends the answer
				// may be one event off.
				return 0, s
			}
			next := noonSec - eot*60 + sign*h*240
			if math.Abs(next-at) < 0.01 {
				return next, Crosses
			}
			at = next
		}
		return at, Crosses
	}
	b, s1 := side(-1)
	a, s2 := side(1)
	if s1 != Crosses {
		return 0, 0, s1
	}
	if s2 != Crosses {
		return 0, 0, s2
	}
	return b, a, Crosses
}

// hourAngle is the angle of the earth's turn between transit and the moment the
// sun stands at the altitude, degrees.
func hourAngle(latDeg, declDeg, altitudeDeg float64) (float64, State) {
	lat, decl, alt := latDeg*deg, declDeg*deg, altitudeDeg*deg
	c := (math.Sin(alt) - math.Sin(lat)*math.Sin(decl)) / (math.Cos(lat) * math.Cos(decl))
	switch {
	case c < -1:
		return 180, AlwaysAbove
	case c > 1:
		return 0, AlwaysBelow
	}
	return math.Acos(c) / deg, Crosses
}

const deg = math.Pi / 180

// position is the sun's apparent declination in degrees and the equation of
// time in minutes (true less mean solar time) at an instant in seconds since
// 1970 UTC.
func position(unix float64) (declDeg, eotMin float64) {
	const (
		j2000   = 946728000 // 2000-01-01 12:00; UTC for TT costs milliseconds
		century = 36525 * 86400
	)
	return solar((unix - j2000) / century)
}

// solar is Meeus's low-accuracy sun for Julian centuries T since J2000.0.
func solar(t float64) (declDeg, eotMin float64) {
	l0 := math.Mod(280.46646+t*(36000.76983+t*0.0003032), 360)
	m := (357.52911 + t*(35999.05029-0.0001537*t)) * deg
	e := 0.016708634 - t*(0.000042037+0.0000001267*t)
	c := math.Sin(m)*(1.914602-t*(0.004817+0.000014*t)) + math.Sin(2*m)*(0.019993-0.000101*t) + math.Sin(3*m)*0.000289
	omega := (125.04 - 1934.136*t) * deg
	lambda := (l0 + c - 0.00569 - 0.00478*math.Sin(omega)) * deg
	eps := (23 + (26+(21.448-t*(46.815+t*(0.00059-t*0.001813)))/60)/60 + 0.00256*math.Cos(omega)) * deg
	decl := math.Asin(math.Sin(eps) * math.Sin(lambda))

	// Equation of time, Meeus 28.3 (after Smart).
	y := math.Tan(eps / 2)
	y *= y
	l := l0 * deg
	eot := y*math.Sin(2*l) - 2*e*math.Sin(m) + 4*e*y*math.Sin(m)*math.Cos(2*l) -
		0.5*y*y*math.Sin(4*l) - 1.25*e*e*math.Sin(2*m)
	return decl / deg, 4 * eot / deg
}

func instant(unix float64) time.Time {
	return time.UnixMilli(int64(math.Round(unix * 1000))).UTC()
}
