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

// StageResult is one stage of one group, one value a day. The activities are
// filled only when River.Activity asks, and empty otherwise.
type StageResult struct {
	P, PCalendar           []float64
	Window, WindowCalendar Window
	Activity               [3][]float64 // share of the season: 10, 50, 90 % points over members
	ActivityCalendar       []float64    // mean share by the calendar alone
}

// GroupResult is both stages of one group.
type GroupResult [stages]StageResult

// Result is what one river gets, one GroupResult for each of its groups. It can
// be used again for the next river, and grows only when that one is larger.
type Result struct {
	Groups []GroupResult
	store  []float64
}

// size makes room for what in asks and clears it.
func (r *Result) size(in *River) {
	days, columns := in.Days, 2
	if in.Activity {
		columns = 6
	}
	r.store = grow(r.store, len(in.Groups)*int(stages)*columns*days)
	clear(r.store)
	r.Groups = grow(r.Groups, len(in.Groups))
	rest := r.store
	take := func() []float64 {
		v := rest[:days:days]
		rest = rest[days:]
		return v
	}
	for k := range r.Groups {
		for s := range r.Groups[k] {
			to := StageResult{P: take(), PCalendar: take()}
			if in.Activity {
				to.Activity = [3][]float64{take(), take(), take()}
				to.ActivityCalendar = take()
			}
			r.Groups[k][s] = to
		}
	}
}
