package trip

import (
	"fmt"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/model/wading"
)

// flowReach is how many days ahead the forecast of the flow decides; beyond, past seasons
// are counted. Our own default: the leads up to which the forecast had the lower Brier score
// for high water (model/flow/RESULTS.md#far-ahead).
const flowReach = 60

// flowOdds is the chance that the flow spoils a day: by the forecast where all days lie
// within its reach, else from past seasons. A day is spoiled by a flow at or above that
// which is better not waded, or outside what the owner calls fishable.
func flowOdds(r River, from, to forecast.Date, u wading.Units) Odds {
	past := FlowOdds(r.Flows, from, to, u)
	f := r.Outlook.Flow
	if f == nil || to >= r.Outlook.IssueDate()+flowReach {
		return past
	}
	fishable, named := f.FishableOver(from, to)
	over, limited := 0.0, r.Flows != nil && r.Flows.Limits != nil
	if limited {
		over, limited = f.AboveOver(r.Flows.Limits.BetterNotM3s, from, to)
	}
	if !named && !limited {
		return past
	}
	o := Odds{Known: true, P: over}
	var words []string
	if named {
		o.P = max(o.P, 1-fishable)
		words = append(words, fmt.Sprintf("%s chance a day of a flow within your fishable range, %s to %s", forecast.Percent(fishable), u.Flow(f.LowM3s), u.Flow(f.HighM3s)))
	}
	if limited {
		words = append(words, fmt.Sprintf("%s chance a day of %s or more (better not to wade)", forecast.Percent(over), u.Flow(r.Flows.Limits.BetterNotM3s)))
	}
	o.Words = strings.Join(words, "; ") + ", forecast"
	return o
}

// FishableDay is the chance of a flow within the owner's range on a day.
type FishableDay struct {
	Date   forecast.Date `json:"date"`
	Chance float64       `json:"chance"`
}

// fishableByDay lists the days of a stay whose flow is forecast; none where the owner
// has named no range.
func fishableByDay(r River, from, to forecast.Date) (out []FishableDay) {
	for d := from; d <= to && d < r.Outlook.IssueDate()+flowReach; d++ {
		if x, ok := r.Outlook.Flow.On(d); ok && x.Fishable != nil {
			out = append(out, FishableDay{d, *x.Fishable})
		}
	}
	return out
}

// FishableWords is the chance of fishable flow by day in a sentence; "" where it is not
// known. It says nothing about wading.
func (s Stay) FishableWords() string {
	if len(s.Fishable) == 0 {
		return ""
	}
	var days []forecast.DayText
	for _, d := range s.Fishable {
		days = append(days, forecast.DayText{Date: d.Date, Text: forecast.Percent(d.Chance)})
	}
	return "Within your fishable range by day: " + strings.Join(forecast.DayRuns(days, " "), ", ") + ". It says nothing about wading"
}
