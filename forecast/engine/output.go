package engine

// Stage indexes the two stages of a Result.
type Stage int

// The stages.
const (
	Emergence Stage = iota
	EggLaying
	stages
)

// Range holds the 10, 50 and 90 % points of a day over the members.
type Range struct{ P10, P50, P90 int }

// NoDay stands in a Range for a day that does not come within the horizon.
const NoDay = -1

// Window is when a stage's activity starts (10 % has passed), peaks (half) and
// ends (90 %). Members whose season does not fall within the horizon are left
// out, and Seen says how many were not.
type Window struct {
	Start, Peak, End Range
	Seen             int
}

// StageResult is one stage of one group. P and PCalendar have one value a day.
type StageResult struct {
	P, PCalendar           []float64
	Window, WindowCalendar Window
}

// GroupResult is both stages of one group.
type GroupResult [stages]StageResult

// Result is what one river gets, one GroupResult for each of its groups. It can
// be used again for the next river, and grows only when that one is larger.
type Result struct {
	Groups []GroupResult
	store  []float64
}

// size makes room for groups x days and clears it.
func (r *Result) size(groups, days int) {
	need := groups * int(stages) * 2 * days
	if cap(r.store) < need {
		r.store = make([]float64, need)
	}
	r.store = r.store[:need]
	clear(r.store)
	if cap(r.Groups) < groups {
		r.Groups = make([]GroupResult, groups)
	}
	r.Groups = r.Groups[:groups]
	rest := r.store
	for k := range r.Groups {
		for s := range r.Groups[k] {
			r.Groups[k][s] = StageResult{P: rest[:days:days], PCalendar: rest[days : 2*days : 2*days]}
			rest = rest[2*days:]
		}
	}
}
