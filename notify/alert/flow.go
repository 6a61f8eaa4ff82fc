package alert

import (
	"slices"
	"time"
)

// The times of the caution's rules; our own defaults, except that confirming
// fast and clearing slowly is what grown alerting systems do.
const (
	confirmLow    = time.Hour        // levels 1 and 2 must hold so long
	confirmAlone  = time.Hour        // a level 3 that no further reading contradicts counts after
	clearHigh     = 2 * time.Hour    // level 3 must be away so long,
	clearHighN    = 4                // and so many readings
	clearLow      = 3 * time.Hour    // other levels
	clearFlapping = 12 * time.Hour   // after quick changes
	flapChanges   = 4                // more changes than this
	flapWithin    = 24 * time.Hour   // in so long are quick changes
	NoDataAfter   = 3 * time.Hour    // without a reading we say so
	coolDown      = 6 * time.Hour    // between two mails on one river's caution, unless it rises
	restate       = 24 * time.Hour   // a level 3 that goes on is sent again
	clockSkew     = 10 * time.Minute // a reading may seem to come from the future
)

// Streak is a run of readings that agree.
type Streak struct {
	N     int       `json:"n"`
	Since time.Time `json:"since"`
	Last  time.Time `json:"last"`
}

func (s *Streak) add(at time.Time) {
	if s.N == 0 {
		s.Since = at
	}
	s.N++
	s.Last = at
}

// Change is one change of level.
type Change struct {
	At    time.Time `json:"at"`
	Level int       `json:"level"` // that held before or since, the higher
}

// Flow is what is known of one river's caution: the level that holds, with
// hysteresis, and the streaks that would change it. It is a pure function of
// the readings and the times it was looked at.
type Flow struct {
	Level   int       `json:"level"`
	Raw     int       `json:"raw"`      // of the last reading, confirmed or not
	LastAt  time.Time `json:"last_at"`  // last reading
	KnownAt time.Time `json:"known_at"` // last reading that gave the whole level

	Warned []KnownWarning `json:"warned,omitempty"` // official warnings

	Up       [4]Streak `json:"up"`       // readings at or above a level
	Down     Streak    `json:"down"`     // readings below the level that holds
	DownMax  int       `json:"down_max"` // the highest among them
	Changes  []Change  `json:"changes"`  // of the last day
	Flapping bool      `json:"flapping"`
	NoData   bool      `json:"no_data"`
	Doubted  bool      `json:"doubted"` // the last reading was doubted
	News     string    `json:"news"`    // facts of the reading that last changed something
	Latest   *Reading  `json:"latest"`
}

// Inhibits says whether good news of the river must wait: a level of 2 or more
// holds, or was just read and is not confirmed yet, or the last reading was not
// believed.
func (f *Flow) Inhibits() bool { return f.Doubted || max(f.Level, f.Raw) >= 2 }

// Read takes in a reading and says whether the level, or the way in which it is
// reported, changed. A reading not newer than the last does nothing.
func (f *Flow) Read(r Reading) (changed bool) {
	if !r.At.After(f.LastAt) {
		return false
	}
	f.LastAt, f.Doubted = r.At, r.Doubted
	if r.Known || r.Level > f.Raw {
		f.Raw = r.Level
	}
	if r.Known {
		f.KnownAt = r.At
		f.NoData = false
	}
	for k := 1; k <= 3; k++ {
		switch {
		case r.Level >= k:
			f.Up[k].add(r.At)
		case r.Known: // an unknown reading neither confirms nor clears
			f.Up[k] = Streak{}
		}
	}
	for k := 3; k > f.Level; k-- {
		s := f.Up[k]
		if s.N >= 2 && (k == 3 || r.FastRise || r.At.Sub(s.Since) >= confirmLow) {
			return f.change(r.At, k)
		}
	}
	return f.down(r)
}

func (f *Flow) down(r Reading) (changed bool) {
	hold := max(r.Hold, r.Level)
	switch {
	case hold >= f.Level:
		if r.Known || r.Level >= f.Level {
			f.Down = Streak{}
		}
		return false
	case !r.Known:
		return false
	}
	if f.Down.N == 0 || r.At.Sub(f.Down.Last) > NoDataAfter {
		f.Down, f.DownMax = Streak{}, 0 // what happened in a gap nobody saw
	}
	f.Down.add(r.At)
	f.DownMax = max(f.DownMax, hold)
	n, long := 2, clearLow
	if f.Level == 3 {
		n, long = clearHighN, clearHigh
	}
	if f.Flapping {
		long = clearFlapping
	}
	if f.Down.N < n || r.At.Sub(f.Down.Since) < long {
		return false
	}
	if f.Flapping { // calm at last: what was before is over
		f.Flapping, f.Changes = false, nil
	}
	return f.change(r.At, f.DownMax)
}

// change sets the level, or holds the higher one where changes come quickly.
func (f *Flow) change(at time.Time, level int) bool {
	f.Changes = slices.DeleteFunc(f.Changes, func(c Change) bool { return at.Sub(c.At) >= flapWithin })
	f.Changes = append(f.Changes, Change{at, max(level, f.Level)})
	f.Level, f.Down, f.DownMax = level, Streak{}, 0
	if !f.Flapping && len(f.Changes) > flapChanges {
		f.Flapping = true
	}
	if f.Flapping {
		for _, c := range f.Changes {
			f.Level = max(f.Level, c.Level)
		}
	}
	return true
}

// Wait takes in that time has passed. Silence confirms a lone reading of level
// 3, leaves us without data, and clears nothing.
func (f *Flow) Wait(now time.Time) (changed bool) {
	if f.Level < 3 && f.Up[3].N > 0 && now.Sub(f.Up[3].Since) >= confirmAlone {
		changed = f.change(f.LastAt, 3)
	}
	if !f.NoData && !f.KnownAt.IsZero() && now.Sub(f.KnownAt) > NoDataAfter {
		f.NoData = true
		changed = true
	}
	return changed
}
