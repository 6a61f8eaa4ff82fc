package wading

import (
	"fmt"
	"math"
	"time"
)

// Limits of a rise; our own default, no wading standard was found.
const (
	riseStage1hM = 0.5 * footM
	riseStage3hM = 1.0 * footM
	riseFlow1h   = 0.25
	riseFlow3h   = 0.50

	// A slow rise that goes on counts over a day: from the first share (or
	// height) it is better not to wade, from the second one keeps out.
	dayShareBetterNot, dayShareKeepOut = 1.0, 3.0 // twofold, fourfold
	dayStageBetterNotM, dayStageOutM   = 0.6, 1.2

	// leastFlow stands in for any smaller flow where flows are divided. From a
	// trickle to twice a trickle is no rise.
	leastFlow = 0.03 // m3/s, about 1 ft3/s
)

// fastRise reports whether a rise over so many hours (at most three) is fast. A
// value that is not known is NaN. flowShare is the rise over the earlier flow.
func fastRise(hours, stageRiseM, flowShare float64) bool {
	const tiny = 1e-9
	switch {
	case hours <= 1+tiny:
		return stageRiseM >= riseStage1hM-tiny || flowShare >= riseFlow1h-tiny
	case hours <= 3+tiny:
		return stageRiseM >= riseStage3hM-tiny || flowShare >= riseFlow3h-tiny
	}
	return false
}

// share is how much more flow there is than there was: 1 is twice as much.
func share(now, then float64) float64 { return max(now, leastFlow)/max(then, leastFlow) - 1 }

// rise is what one sensor's past says of the water coming up.
type rise struct {
	level Level
	by    float64 // m, or share of the flow before
	hours float64
}

// riseTo compares a reading with those of the day before it, of one sensor alone:
// flow and height have each their own. Of two readings without one between them
// nobody knows when the water rose: it may have been within an hour. The last
// reading before an outage counts, however old.
func (s *sensor) riseTo(end int) rise {
	var worst rise
	now := s.past[end]
	for i := end - 1; i >= 0; i-- {
		p, next := s.past[i], s.past[i+1]
		d := p.Age - now.Age
		broken := p.Age-next.Age > s.outage
		if next.Age-now.Age > day || d > day && !broken {
			break
		}
		r := rise{hours: d.Hours()}
		near := r.hours
		if i == end-1 && !broken {
			near = min(near, 1)
		}
		fast, high, low := false, dayStageOutM, dayStageBetterNotM
		if s.height {
			r.by = now.Value - p.Value
			fast = fastRise(near, r.by, math.NaN())
		} else {
			r.by = share(now.Value, p.Value)
			fast, high, low = fastRise(near, math.NaN(), r.by), dayShareKeepOut, dayShareBetterNot
		}
		switch {
		case fast, r.by >= high:
			r.level = KeepOut
		case r.by >= low:
			r.level = BetterNot
		}
		if r.level > worst.level || r.level == worst.level && r.by > worst.by {
			worst = r
		}
	}
	return worst
}

// byRise lets a rise raise the level, also where the newest reading is old or
// doubted: then the rise is the last that was seen.
func (a *assessment) byRise(s *sensor, plausible bool) {
	r := s.riseTo(len(s.past) - 1)
	for i := len(s.past) - 2; i >= 0 && !plausible && s.since(s.past[i]) <= recently; i-- {
		if x := s.riseTo(i); x.level > r.level {
			r = x
		}
	}
	if r.level == Quiet {
		return
	}
	a.put("rise.fast", r.level, plausible, func(u Units) string {
		if s.height {
			return fmt.Sprintf("the water is rising: gauge height up %s in %.1f h", u.Length(r.by), r.hours)
		}
		return fmt.Sprintf("the water is rising: flow up %.0f%% in %.1f h", 100*r.by, r.hours)
	})
}

const day = 24 * time.Hour
