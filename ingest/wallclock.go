package ingest

import "time"

// WallClock gives the instants at which the clocks of the zone show wall: one as a
// rule, two in the hour that autumn repeats, none in the hour that spring
// leaves out.
func WallClock(wall time.Time, zone *time.Location) (out [2]time.Time, n int) {
	// The offset in force a day before or after covers both sides of a change.
	for _, near := range [2]time.Duration{-24 * time.Hour, 24 * time.Hour} {
		_, off := wall.Add(near).In(zone).Zone()
		t := wall.Add(-time.Duration(off) * time.Second)
		if _, now := t.In(zone).Zone(); now != off || (n == 1 && out[0].Equal(t)) {
			continue
		}
		out[n] = t
		n++
	}
	if n == 2 && out[1].Before(out[0]) {
		out[0], out[1] = out[1], out[0]
	}
	return out, n
}
