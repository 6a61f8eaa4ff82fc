package forecast

import (
	"slices"
	"time"

	"example.org/eclose/forecast/diary"
	"example.org/eclose/model/phenology"
)

// Sighting is what somebody saw, or did not see, of a stage of a group on a day.
type Sighting struct {
	River, Group string
	Stage        Stage
	Day          Date
	Amount       diary.Amount
	Hours        float64   // watched
	Recorded     time.Time // when it was written down; zero where that does not matter
}

// Seen tells whether more than stray numbers were seen.
func (s Sighting) Seen() bool { return s.Amount != diary.None }

// SightingsOf are the sightings of a diary that were not withdrawn.
func SightingsOf(entries []diary.Sighting) []Sighting {
	out := make([]Sighting, 0, len(entries))
	for _, x := range entries {
		if !x.Withdrawn && !x.Held {
			out = append(out, Sighting{x.River, x.Group, Stage(x.Stage), DateOf(x.Day), x.Amount, x.Hours, x.Recorded})
		}
	}
	return out
}

// known are the sightings that an issue may use: of days before the issue, or of
// its day if they were written down by then.
func (rec Record) known(sightings []Sighting) []Sighting {
	return slices.DeleteFunc(slices.Clone(sightings), func(s Sighting) bool {
		if s.Recorded.IsZero() {
			return s.Day >= rec.Issue
		}
		return s.Day > rec.Issue || s.Recorded.After(rec.IssuedAt)
	})
}

// The diary's words in the words of the model.
var (
	amounts     = map[diary.Amount]phenology.Amount{diary.None: phenology.None, diary.Few: phenology.Few, diary.Many: phenology.Many}
	stageNumber = map[Stage]phenology.Stage{Emergence: phenology.Emergence, EggLaying: phenology.EggLaying}
)
