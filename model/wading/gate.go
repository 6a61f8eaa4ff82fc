package wading

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"
)

// Limits of what is plausible for a sensor. All of them are our own default, set so
// that a healthy gauge on a flashy river passes; no standard was found. What does
// not pass leaves the level unknown, but at least what it was.
const (
	// PastSpan is how much of its own past a sensor must show before it is
	// trusted: with less, a rise, a fall or a stuck run cannot be seen.
	PastSpan  = 7 * day
	pastSlack = 12 * time.Hour // by which the past may be shorter

	outage      = 3 * time.Hour  // silence in the last day in which a rise can hide
	outageDaily = 36 * time.Hour // the same for a site that gives one value a day

	recently   = 6 * time.Hour // in which a great fall is not plausible
	fallShare  = 4.0           // times
	fallStageM = 0.5
	dropShare  = 2.0   // the same from the reading before the newest
	trickle    = 0.003 // m3/s, 0.1 ft3/s: stands in for any smaller flow where it fell
	stepShare  = 20.0  // times, from one reading to the next: doubted until it is undone

	stuckAfter   = 48 * time.Hour // without any change, unless the gauge has stood still longer before
	stuckBeside  = 6 * time.Hour  // while the other sensor of the gauge moves
	movedM       = 0.05           // so much is moving
	movedShare   = 0.2
	stuckRecords = 2.0 // times the longest run on record

	ratingBefore = 72 * time.Hour // pairs of flow and height nearer than this do not judge it
	ratingPairs  = 24             // at least
	ratingNear   = 5              // on each side
	ratingShare  = 1.5            // times that the flow may be off by
	ratingM      = 0.15           // that the height may be off by
	alikeM       = 0.03           // within which heights are alike
	alikeShare   = 1.1            // and flows
	pairWithin   = 30 * time.Minute

	recordDays  = 300 // fewer days of record say nothing of the lowest flow
	recordTimes = 3.0 // times the highest flow on record
	recordPart  = 0.5 // of the lowest
	visitsShare = 3.0 // times that the gauge and the gauger's meter may disagree by
)

// Record is what a gauge's own past years say; zero where there is none.
type Record struct {
	Days            int
	LowM3s, HighM3s float64
	StuckDays       int // longest run of days with one and the same flow
	// VisitShare is the flow that the gauge gave when a gauger measured, over the
	// flow measured: the median of all visits. 0: not known.
	VisitShare float64
}

// sensor is one sensor of the gauge, with its past.
type sensor struct {
	what   string // "flow" or "gauge height"
	height bool
	last   Reading
	past   []Past // the last PastSpan, oldest first, newest last
	all    []Past // also what was before
	outage time.Duration
}

func newSensor(what string, height bool, last Reading, past []Past) *sensor {
	s := &sensor{what: what, height: height, last: last, outage: outage}
	if last.Daily {
		s.outage = outageDaily
	}
	for _, p := range past {
		if !math.IsNaN(p.Value) && !math.IsInf(p.Value, 0) {
			s.all = append(s.all, p)
		}
	}
	slices.SortStableFunc(s.all, func(a, b Past) int { return cmp.Compare(b.Age, a.Age) })
	if n := len(s.all); n > 0 {
		first := slices.IndexFunc(s.all, func(p Past) bool { return p.Age-s.all[n-1].Age <= PastSpan })
		s.past = s.all[first:]
	}
	return s
}

func (s *sensor) newest() float64 { return s.past[len(s.past)-1].Value }

// since is how long before the newest reading a past one was taken.
func (s *sensor) since(p Past) time.Duration { return p.Age - s.past[len(s.past)-1].Age }

// fell reports whether the newest value is so far below an earlier one that it is
// doubted.
func (s *sensor) fell(i int) bool {
	now, then := s.newest(), s.past[i].Value
	last := i == len(s.past)-2
	if s.height {
		return then-now >= fallStageM
	}
	times := max(then, trickle) / max(now, trickle)
	return times >= fallShare || last && times >= dropShare
}

// thin says why there is too little to check the newest reading against.
func (s *sensor) thin(rec Record) (out []string) {
	if len(s.past) == 0 {
		return []string{fmt.Sprintf("no earlier %s readings to check the last one against", s.what)}
	}
	if d := s.since(s.past[0]); d < PastSpan-pastSlack {
		out = append(out, fmt.Sprintf("only %.0f h of %s readings: too few to check the last one", d.Hours(), s.what))
	}
	if !s.height && rec.Days < recordDays {
		out = append(out, fmt.Sprintf("only %d days of flow on record: too few to check the last reading", rec.Days))
	}
	for i := 1; i < len(s.past); i++ {
		if gap := s.past[i-1].Age - s.past[i].Age; gap > s.outage && s.since(s.past[i]) < day {
			out = append(out, fmt.Sprintf("no %s reading for %.0f h within the last day: a rise in that time would not be seen", s.what, gap.Hours()))
			break
		}
	}
	return out
}

// doubts are all reasons to doubt a sensor by its own past.
func (s *sensor) doubts(rec Record) (out []string) {
	for i, p := range s.past {
		if s.since(p) <= recently && s.fell(i) {
			out = append(out, fmt.Sprintf("the %s fell too far within %.1f h to be plausible", s.what, s.since(p).Hours()))
			break
		}
	}
	if !s.height && len(s.past) > 0 {
		if x, ok := s.step(); ok {
			out = append(out, x)
		}
		if run, whole := s.stuck(); whole && len(s.past) > 1 || run > max(stuckAfter, time.Duration(stuckRecords*float64(rec.StuckDays))*day) {
			out = append(out, fmt.Sprintf("the flow has not changed at all for %.0f h: the sensor may be stuck", run.Hours()))
		}
		out = append(out, s.offRecord(rec)...)
	}
	return out
}

// cubicFeet is how many ft3/s one m3/s is.
const cubicFeet = 1 / Foot3M3

// step finds a change from one reading to the next that no river makes and that
// no change back has undone since.
func (s *sensor) step() (why string, found bool) {
	open, times := 0, 0.0 // -1: the flow has been too low since
	for i := 1; i < len(s.past); i++ {
		p, q := max(s.past[i-1].Value, trickle), max(s.past[i].Value, trickle)
		switch {
		case p >= stepShare*q:
			open, times = open-1, p/q
		case q >= stepShare*p:
			open, times = open+1, q/p
		}
	}
	if open == 0 {
		return "", false
	}
	why = fmt.Sprintf("the flow changed %.0f-fold from one reading to the next", times)
	if times > 0.85*cubicFeet && times < 1.15*cubicFeet {
		why += ", which is what a mix-up of m³/s and cfs does"
	}
	return why, true
}

// stuck is how long the newest value has stood without any change, and whether
// nothing else was ever read. A dry bed stands still.
func (s *sensor) stuck() (run time.Duration, whole bool) {
	i := len(s.past) - 1
	for i > 0 && s.past[i-1].Value == s.newest() {
		i--
	}
	return s.since(s.past[i]), i == 0
}

func (s *sensor) offRecord(rec Record) (out []string) {
	q := s.newest()
	if rec.Days >= recordDays && q < recordPart*rec.LowM3s {
		out = append(out, "the flow is far below anything on record here")
	}
	if rec.Days > 0 && q > recordTimes*rec.HighM3s {
		out = append(out, "the flow is far above anything on record here")
	}
	if x := rec.VisitShare; x != 0 && (x > visitsShare || x < 1/visitsShare) {
		out = append(out, fmt.Sprintf("the gauge gives %.2g times the flow that was measured by hand: its unit may be wrong", x))
	}
	return out
}

// beside compares two sensors of one gauge. It returns the reasons to doubt the
// flow and the height, and the flow that the height speaks for (0: none).
func beside(flow, stage *sensor) (ofFlow, ofStage []string, byHeight float64) {
	if len(flow.past) == 0 || len(stage.past) == 0 || flow.last.Daily || stage.last.Daily {
		return nil, nil, 0
	}
	if run, _ := flow.stuck(); run >= stuckBeside && stage.moved(flow.age(), run) >= movedM {
		ofFlow = append(ofFlow, fmt.Sprintf("the flow has not changed at all for %.0f h while the gauge height has", run.Hours()))
	}
	if run, _ := stage.stuck(); run >= stuckBeside && flow.moved(stage.age(), run) >= movedShare {
		ofStage = append(ofStage, fmt.Sprintf("the gauge height has not changed at all for %.0f h while the flow has", run.Hours()))
	}
	// Both are compared at the last time at which both were read, with the days
	// before that.
	at := max(flow.age(), stage.age())
	pairs, now := pairsOf(flow.all, stage.all, at)
	if len(pairs) < ratingPairs || now == nil {
		return append(ofFlow, "too few readings of flow and gauge height together to compare them"), ofStage, 0
	}
	h, q := now[0], now[1]
	low, high := bracket(pairs, h-alikeM, h+alikeM)
	flip(pairs)
	lowM, highM := bracket(pairs, q/alikeShare, q*alikeShare)
	if low > ratingShare*max(q, trickle) || q > ratingShare*max(high, leastFlow) || h < lowM-ratingM || h > highM+ratingM {
		why := "flow and gauge height do not agree as they did in the days before"
		return append(ofFlow, why), append(ofStage, why), low
	}
	return ofFlow, ofStage, low
}

// bracket is what goes with a span of x by pairs in order of x: the least of the
// nearest up to its end and the most of the nearest from its start; infinite
// where there are none.
func bracket(pairs [][2]float64, from, to float64) (low, high float64) {
	low, high = math.Inf(1), math.Inf(-1)
	below, above := 0, 0
	for _, p := range slices.Backward(pairs) {
		if p[0] <= to && below < ratingNear {
			below, low = below+1, min(low, p[1])
		}
	}
	for _, p := range pairs {
		if p[0] >= from && above < ratingNear {
			above, high = above+1, max(high, p[1])
		}
	}
	if below == 0 {
		low = math.Inf(-1)
	}
	if above == 0 {
		high = math.Inf(1)
	}
	return low, high
}

// flip turns pairs of x and y into pairs of y and x, in order.
func flip(pairs [][2]float64) {
	for i, p := range pairs {
		pairs[i] = [2]float64{p[1], p[0]}
	}
	inOrder(pairs)
}

func inOrder(pairs [][2]float64) {
	slices.SortStableFunc(pairs, func(a, b [2]float64) int { return cmp.Compare(a[0], b[0]) })
}

func (s *sensor) age() time.Duration { return s.past[len(s.past)-1].Age }

// moved is how far a sensor moved in so long before a time: metres, or the share
// of its lowest flow. It is not above 0 where nothing was read.
func (s *sensor) moved(at, within time.Duration) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range s.all {
		if p.Age >= at && p.Age <= at+within {
			lo, hi = min(lo, p.Value), max(hi, p.Value)
		}
	}
	if hi < lo {
		return 0
	}
	if s.height {
		return hi - lo
	}
	return share(hi, lo)
}

// pairsOf are the heights and flows read together in the days before a time,
// lowest height first, and those of the time itself: nil where there are none.
func pairsOf(flow, stage []Past, at time.Duration) (before [][2]float64, now []float64) {
	j := 0
	for _, f := range flow {
		for j+1 < len(stage) && (stage[j+1].Age-f.Age).Abs() <= (stage[j].Age-f.Age).Abs() {
			j++
		}
		if (stage[j].Age - f.Age).Abs() > pairWithin {
			continue
		}
		switch d := f.Age - at; {
		case d > PastSpan:
		case d >= ratingBefore:
			before = append(before, [2]float64{stage[j].Value, f.Value})
		case d.Abs() <= pairWithin:
			now = []float64{stage[j].Value, f.Value}
		}
	}
	inOrder(before)
	return before, now
}

// highest is the highest value of the last hours before the newest reading, for
// the floor under a reading that is doubted.
func (s *sensor) highest() float64 {
	top := math.Inf(-1)
	for i, p := range s.past {
		// The last before a step that no river makes stands for what was before.
		step := !s.height && i+1 < len(s.past) && p.Value >= stepShare*max(s.past[i+1].Value, trickle)
		if s.since(p) <= recently || step {
			top = max(top, p.Value)
		}
	}
	return top
}
