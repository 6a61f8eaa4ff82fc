package qc

import (
	"math"
	"time"

	"example.org/eclose/ingest"
)

// Names of the tests, as they stand in Series.FlagTest.
const (
	TestMissing     = "missing"
	TestAgency      = "agency"
	TestGrossRange  = "gross range"
	TestClimatology = "climatology"
	TestSpike       = "spike"
	TestRate        = "rate of change"
	TestFlatLine    = "flat line"
	TestOutOfWater  = "out of water"
	TestIce         = "ice"
	TestExtremes    = "extremes" // a daily minimum above its maximum
)

// Context is what is known beside the series. Each part may be left out; the
// tests that need it are then not evaluated.
type Context struct {
	Air         *ingest.Series // air temperature near by, hourly or finer, or daily means
	Water       *ingest.Series // water temperature of the same gauge, for the ice test
	Other       *ingest.Series // for daily minima the maxima of the same sensor, and the other way round
	Climatology *Climatology
	Now         time.Time // for the gap test; zero: not evaluated
}

// Gap is a silence longer than expected. To is zero for the one that still
// lasts at Context.Now.
type Gap struct{ From, To time.Time }

// Report sums up a run.
type Report struct {
	Counts map[ingest.Flag]int
	Tests  map[string]int // readings made suspect or failed, by the test that set the flag
	Gaps   []Gap          // QARTOD test 1: these are no readings, so they carry no flag
	Late   bool           // the last gap still lasts
}

// Check flags every reading of s and returns it with new columns Flag and
// FlagTest; nothing else is changed, and flags that s had do not count. A
// missing value is 9. Otherwise the worst of the tests stands, fail before
// suspect before pass; 2 means that no test could be applied. Of two tests
// with the same verdict the first in the order of the constants is named.
func Check(s ingest.Series, c Config, x Context) (ingest.Series, Report) {
	r := &run{s: &s, c: c, n: s.Len(), v: s.Value}
	if c.LogFloor > 0 {
		r.v = make([]float64, r.n)
		for i, v := range s.Value {
			r.v[i] = math.Log(math.Max(v, c.LogFloor))
		}
	}
	r.flag = make([]ingest.Flag, r.n)
	r.test = make([]string, r.n)
	r.ok = make([]bool, r.n)
	for i := range r.flag {
		r.flag[i] = ingest.NotEvaluated
		if math.IsNaN(s.Value[i]) {
			r.flag[i], r.test[i] = ingest.Missing, TestMissing
		}
	}
	r.agency()
	r.grossRange()
	r.extremes(x.Other)
	// From here on a reading is compared only with neighbours that have not failed.
	for i := range r.ok {
		r.ok[i] = r.flag[i] != ingest.Fail && r.flag[i] != ingest.Missing
	}
	r.climatology(x.Climatology)
	r.spikes()
	for i := range r.ok {
		r.ok[i] = r.ok[i] && r.flag[i] != ingest.Fail
	}
	r.rate()
	r.flat()
	r.outOfWater(x.Air)
	r.ice(x.Air, x.Water)
	s.Flag, s.FlagTest = r.flag, r.test
	rep := Report{Counts: map[ingest.Flag]int{}, Tests: map[string]int{}}
	for i, f := range r.flag {
		rep.Counts[f]++
		if f == ingest.Suspect || f == ingest.Fail {
			rep.Tests[r.test[i]]++
		}
	}
	rep.Gaps, rep.Late = gaps(&s, c.Gap, x.Now)
	return s, rep
}

// UsableFlag says whether a reading with this flag may be used: one that passed,
// or a suspect one, which stays marked.
func UsableFlag(f ingest.Flag) bool { return f == ingest.Pass || f == ingest.Suspect }

// Usable is s without the readings that may not be used. A series that was
// never checked has none that may.
func Usable(s ingest.Series) ingest.Series {
	out := s
	out.Time, out.Value, out.Qualifier, out.Approval, out.Flag, out.FlagTest, out.Retrieved = nil, nil, nil, nil, nil, nil, nil
	if s.Flag == nil {
		return out
	}
	for i, f := range s.Flag {
		if !UsableFlag(f) {
			continue
		}
		out.Time = append(out.Time, s.Time[i])
		out.Value = append(out.Value, s.Value[i])
		out.Flag = append(out.Flag, f)
		out.FlagTest = append(out.FlagTest, s.FlagTest[i])
		if s.Qualifier != nil {
			out.Qualifier = append(out.Qualifier, s.Qualifier[i])
		}
		if s.Approval != nil {
			out.Approval = append(out.Approval, s.Approval[i])
		}
		if s.Retrieved != nil {
			out.Retrieved = append(out.Retrieved, s.Retrieved[i])
		}
	}
	return out
}

// run is one check under way.
type run struct {
	s    *ingest.Series
	c    Config
	n    int
	flag []ingest.Flag
	test []string
	ok   []bool    // may be compared with
	v    []float64 // the values, or their logarithms: see Config.LogFloor
}

// rank orders the flags of readings that have a value.
func rank(f ingest.Flag) int {
	switch f {
	case ingest.Fail:
		return 3
	case ingest.Suspect:
		return 2
	case ingest.Pass:
		return 1
	default:
		return 0
	}
}

// set records the verdict of a test on reading i.
func (r *run) set(i int, f ingest.Flag, test string) {
	if r.flag[i] == ingest.Missing || rank(f) <= rank(r.flag[i]) {
		return
	}
	r.flag[i] = f
	if f == ingest.Suspect || f == ingest.Fail {
		r.test[i] = test
	}
}

// gaps is QARTOD test 1: data have not arrived as expected if NOW - TIM_STMP >
// TIM_INC. Inside a record the same limit holds from reading to reading.
func gaps(s *ingest.Series, limit time.Duration, now time.Time) (out []Gap, late bool) {
	if limit <= 0 || s.Len() == 0 {
		return nil, false
	}
	last := -1
	for i, v := range s.Value {
		if math.IsNaN(v) {
			continue
		}
		if last >= 0 && s.Time[i]-s.Time[last] > limit.Microseconds() {
			out = append(out, Gap{From: s.At(last), To: s.At(i)})
		}
		last = i
	}
	if last >= 0 && !now.IsZero() && now.Sub(s.At(last)) > limit {
		return append(out, Gap{From: s.At(last)}), true
	}
	return out, false
}

// grossRange is QARTOD test 4.
func (r *run) grossRange() {
	if r.c.Sensor == everything && r.c.User == everything || r.c.Sensor == (Range{}) && r.c.User == (Range{}) {
		return
	}
	for i, v := range r.s.Value {
		switch {
		case !r.c.Sensor.holds(v):
			r.set(i, ingest.Fail, TestGrossRange)
		case !r.c.User.holds(v):
			r.set(i, ingest.Suspect, TestGrossRange)
		default:
			r.set(i, ingest.Pass, TestGrossRange)
		}
	}
}

// spikes is QARTOD's test of the value n-1 against its neighbours n-2 and n:
//
//	SPK_REF = (v[n-2] + v[n]) / 2,  height = |v[n-1] - SPK_REF|
//
// with two changes that the manual invites where it warns that its test may
// fail good readings beside a bad one. First, half the step from n-2 to n is
// taken off the height, as in the spike test of GTSPP (IOC Manuals and Guides
// 22, test 2.7); between equal neighbours nothing changes, and on a step, or
// beside a spike, the height is 0. Second, neighbours must be readings that
// have not failed the gross range and lie within Gap.
func (r *run) spikes() {
	if r.c.SpikeHigh <= 0 {
		return
	}
	limit := r.c.Gap.Microseconds()
	a, b := -1, -1 // the two good readings before
	for i, v := range r.v {
		if !r.ok[i] {
			continue
		}
		if a >= 0 && r.s.Time[i]-r.s.Time[b] <= limit && r.s.Time[b]-r.s.Time[a] <= limit {
			va, vb := r.v[a], r.v[b]
			height := math.Abs(vb-(va+v)/2) - math.Abs(v-va)/2
			switch {
			case height > r.c.SpikeHigh:
				r.set(b, ingest.Fail, TestSpike)
			case height > r.c.SpikeLow:
				r.set(b, ingest.Suspect, TestSpike)
			default:
				r.set(b, ingest.Pass, TestSpike)
			}
		}
		a, b = b, i
	}
}

// rate is QARTOD's rate of change: suspect if
//
//	|v[n] - v[n-1]| > RateFloor + RateSD * SD
//
// with SD the standard deviation over the RateSpan before n. The manual has no
// fail flag for it.
func (r *run) rate() {
	if r.c.RateSpan <= 0 {
		return
	}
	const fewest = 5 // fewer readings have no standard deviation worth the name
	limit, span := r.c.Gap.Microseconds(), r.c.RateSpan.Microseconds()
	prev, start, n := -1, 0, 0
	var sum, squares, shift float64 // of v - shift, so that little is lost to rounding
	for i, v := range r.v {
		if !r.ok[i] {
			continue
		}
		for ; start < i && r.s.Time[start] < r.s.Time[i]-span; start++ {
			if r.ok[start] {
				d := r.v[start] - shift
				sum, squares, n = sum-d, squares-d*d, n-1
			}
		}
		if n == 0 {
			sum, squares, shift = 0, 0, v
		}
		if prev >= 0 && n >= fewest && r.s.Time[i]-r.s.Time[prev] <= limit {
			m := sum / float64(n)
			sd := math.Sqrt(math.Max(0, (squares-float64(n)*m*m)/float64(n-1)))
			if math.Abs(v-r.v[prev]) > r.c.RateFloor+r.c.RateSD*sd {
				r.set(i, ingest.Suspect, TestRate)
			} else {
				r.set(i, ingest.Pass, TestRate)
			}
		}
		d := v - shift
		sum, squares, n = sum+d, squares+d*d, n+1
		prev = i
	}
}

// flat is QARTOD's flat line: reading n is flagged if
//
//	|v[n] - v[n-i]| < EPS  for i = 1 .. REP_CNT
//
// and, beyond the manual, if these readings reach back long enough: a cold
// river read every 15 minutes to a tenth of a degree repeats itself honestly.
func (r *run) flat() {
	if r.c.FlatSuspect <= 0 || r.c.FlatEPS <= 0 {
		return
	}
	most, longest := max(r.c.FlatSuspect, r.c.FlatFail), max(r.c.FlatSuspectSpan, r.c.FlatFailSpan)
	limit := r.c.Gap.Microseconds()
	eps := r.c.FlatEPS
	prev, start, run := -1, 0, 0 // run: readings before i, back to start, that all lie within eps of it
	lo, hi := 0.0, 0.0           // of the run and its last reading
	for i, v := range r.s.Value {
		if !r.ok[i] {
			continue
		}
		had := prev >= 0
		if had && r.s.Time[i]-r.s.Time[prev] <= limit && hi-v < eps && v-lo < eps {
			run, lo, hi = run+1, math.Min(lo, v), math.Max(hi, v)
		} else {
			start, run, lo, hi = i, 0, v, v
		}
		prev = i
		// The run may reach further back than the last one did, and after a
		// break it must be found anew; beyond the longest limit nothing is to be known.
		for j := start - 1; j >= 0 && (run < most || r.s.Time[i]-r.s.Time[start] < longest.Microseconds()); j-- {
			if !r.ok[j] {
				continue
			}
			x := r.s.Value[j]
			if r.s.Time[start]-r.s.Time[j] > limit || math.Abs(x-v) >= eps {
				break
			}
			start, run = j, run+1
			lo, hi = math.Min(lo, x), math.Max(hi, x)
		}
		if r.c.FlatExempt.holds(v) {
			continue
		}
		span := time.Duration(r.s.Time[i]-r.s.Time[start]) * time.Microsecond
		switch {
		case r.c.FlatFail > 0 && run >= r.c.FlatFail && span >= r.c.FlatFailSpan:
			r.set(i, ingest.Fail, TestFlatLine)
		case run >= r.c.FlatSuspect && span >= r.c.FlatSuspectSpan:
			r.set(i, ingest.Suspect, TestFlatLine)
		case had:
			r.set(i, ingest.Pass, TestFlatLine)
		}
	}
}
