package trip

import (
	"fmt"
	"math"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
)

// confidence says how much stands behind the first choice.
func (t *Trip) confidence() []string {
	s, o := t.First, t.First.outlook
	var out []string
	if n := len(s.Best()); n > 0 {
		out = append(out, fmt.Sprintf("The likeliest single one has %s a day, whatever the others do.", forecast.Percent(s.AtLeast)))
	}
	known, all := 0.0, 0.0
	for _, l := range s.Likely {
		all += l.Chance
		switch l.Grade.Grade() {
		case forecast.Sighted, insects.Measured, insects.Published, insects.PartPublished:
			known += l.Chance
		default: // worked out, assumed or practice
		}
	}
	switch share := known / math.Max(all, 1e-9); {
	case share < 0.05:
		out = append(out, "None of this rests on values measured or published for these insects: all are estimates from calendar dates, or common practice. Your own sightings would improve it.")
	default:
		out = append(out, fmt.Sprintf("About %.0f%% of what is expected rests on values measured here or published; the rest on calendar dates or common practice.", 100*share))
	}
	out = append(out, fmt.Sprintf("Past seasons of water temperature at %s: %d. Weather ahead: %s. The stay starts %s after this forecast.",
		s.RiverName, o.Seasons, o.WeatherSource.Words(), count(int(s.From-o.IssueDate()), "day")))
	return out
}

// risks says what would overturn the first choice.
func (t *Trip) risks() []string {
	var out []string
	s := t.First
	for i, l := range s.Likely {
		if i == 3 || l.Chance < 0.1 {
			break
		}
		w := l.stage.Window
		if w.Peak.P50 == 0 {
			continue
		}
		var parts []string
		if w.End.P10 < s.To {
			parts = append(parts, fmt.Sprintf("over by %s in an early season", w.End.P10.Short()))
		}
		if w.Start.P90 > s.From {
			parts = append(parts, fmt.Sprintf("not before %s in a late season", w.Start.P90.Short()))
		}
		if len(parts) > 0 {
			out = append(out, fmt.Sprintf("%s, %s: %s.", forecast.UpperFirst(l.Name), l.Stage, strings.Join(parts, "; ")))
		}
	}
	switch {
	case !s.Flow.Known:
		out = append(out, "Flow: "+s.Flow.Words+". Ask locally before you book.")
	case s.Flow.P >= 0.1:
		out = append(out, "Flow: "+s.Flow.Words+".")
	}
	if !s.Warm.Known || s.Warm.P >= 0.1 {
		out = append(out, "Warm water: "+s.Warm.Words+".")
	}
	if b := t.Second; b != nil && t.Draw {
		out = append(out, fmt.Sprintf("The second choice, %s from %s, is as good as the first on what is known; choose by flow, travel and company.", b.RiverName, b.From.Short()))
	}
	if t.LookAgain > s.outlook.IssueDate() {
		out = append(out, fmt.Sprintf("Check again on %s, when the weather forecast reaches the stay.", t.LookAgain.Short()))
	} else {
		out = append(out, "The weather forecast already covers the stay: check daily before you go, above all the flow.")
	}
	return out
}

func count(n int, what string) string {
	switch {
	case n == 1:
		return "1 " + what
	case strings.HasSuffix(what, "y") && !strings.HasSuffix(what, "ay"):
		return fmt.Sprintf("%d %sies", n, strings.TrimSuffix(what, "y"))
	}
	return fmt.Sprintf("%d %ss", n, what)
}
