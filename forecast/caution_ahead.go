package forecast

import (
	"fmt"

	"example.org/eclose/model/wading"
)

// readingReach is how many days ahead a day may lie for today's reading and caution to
// be told beside it: nobody wades next week by today's flow. Our own default.
const readingReach = 3

// ReadingReaches reports whether today's reading and caution say something of a day.
func ReadingReaches(today, day Date) bool { return day <= today+readingReach }

// LevelDay is the chance of each caution level by the flow of a day ahead. All of it is
// modelled, from the flow alone: thunder, cold and what a dam will do are not in it.
type LevelDay struct {
	Date   Date       `json:"date"`
	Chance [4]float64 `json:"chance"` // of the levels 0 to 3; they add up to 1
}

// AtLeast is the chance of a level or a higher one.
func (d LevelDay) AtLeast(l wading.Level) float64 {
	p := 0.0
	for k := int(l); k < len(d.Chance); k++ {
		p += d.Chance[k]
	}
	return p
}

// LevelsAhead turns the flow ahead into chances of caution levels by the flows from
// which they begin, from today on. Today is never lower than now, the level that the
// readings ask for: nothing modelled takes back what is measured. It returns nil where
// there are no limits, no flow ahead or no level now, since then nothing is known.
func LevelsAhead(f *FlowAhead, today Date, limits *wading.Limits, now wading.Level, nowKnown bool, days int) []LevelDay {
	if f == nil || limits == nil || !nowKnown {
		return nil
	}
	var out []LevelDay
	for date := today; date < today+Date(days); date++ {
		d, ok := f.On(date)
		if !ok {
			break
		}
		care := d.ChanceAbove(limits.CareM3s)
		better := min(care, d.ChanceAbove(limits.BetterNotM3s))
		keep := min(better, d.ChanceAbove(limits.KeepOutM3s))
		x := LevelDay{d.Date, [4]float64{1 - care, care - better, better - keep, keep}}
		if date == today {
			for k := range int(now) {
				x.Chance[now] += x.Chance[k]
				x.Chance[k] = 0
			}
		}
		out = append(out, x)
	}
	return out
}

// LevelWords tells the chances of caution levels, days of the same chances in one
// sentence. It never calls a level likely to be low.
func LevelWords(days []LevelDay) []string {
	texts := make([]DayText, len(days))
	for i, d := range days {
		texts[i] = DayText{d.Date, fmt.Sprintf("%s chance of \"%s\" or more, %s of \"%s\"",
			Percent(d.AtLeast(wading.BetterNot)), wading.BetterNot.Words(), Percent(d.Chance[wading.KeepOut]), wading.KeepOut.Words())}
	}
	return DayRuns(texts, ": ")
}
