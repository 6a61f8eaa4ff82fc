package trip

import (
	"fmt"
	"io"
	"strings"

	"example.org/eclose/forecast"
)

// weeksShown is how many weeks a table lists.
const weeksShown = 12

// WriteTable prints a trip on paper or terminal of 80 columns.
func (t *Trip) WriteTable(w io.Writer) error {
	p := printer{w: w}
	p.text("", fmt.Sprintf("Trip of %[3]s between %[1]s and %[2]s; forecasts issued %[4]s.", t.Ask.From, t.Ask.To, count(t.Ask.Days, "day"), t.IssuedAt.UTC().Format("2 January 2006 15:04 UTC")))
	if len(t.Ask.Groups) > 0 {
		p.text("", "Only "+strings.Join(t.Ask.Groups, ", ")+".")
	}
	p.stay("First choice", t.First)
	if t.Second != nil {
		p.stay("Second choice", *t.Second)
	}
	p.line("\nHow sure")
	for _, s := range t.Confidence {
		p.text("- ", s)
	}
	p.line("\nWhat could change it")
	for _, s := range t.Risks {
		p.text("- ", s)
	}
	p.line("\n%-14s %-18s %8s %8s %8s %8s %8s", "River", "Week", "chance", "calendar", "stages", "flow", "warm")
	for i, s := range t.Weeks {
		if i == weeksShown {
			p.line("%s more", count(len(t.Weeks)-weeksShown, "week"))
			break
		}
		p.line("%-14s %-18s %8s %8s %8.1f %8s %8s", cut(s.RiverName, 14), span(s), forecast.Percent(s.Chance), forecast.Percent(s.Calendar), s.Stages, s.Flow.short(), s.Warm.short())
	}
	p.text("", "chance: of at least one hatch or egg-laying flight a day, averaged over the stay; calendar: the same, calendar only; stages: expected number a day; "+
		"flow: chance of a flow at or above the better-not-to-wade flow, or outside your fishable range: forecast for the next 30 days, share of past days beyond; warm: chance of an hour too warm for trout. "+
		"Best first: something to see, and neither flow nor warm water spoils the day. Unknown chances count as 50%.")
	p.line("\nTying list for %s, %s (ready by %s)", t.First.RiverName, span(t.First), t.BoxReady.Short())
	for _, f := range t.Tying {
		p.line("[ ] %-46s by %-7s %6s", cut(fmt.Sprintf("%s, %s", f.Name, f.Stage), 46), f.NeededBy.Short(), forecast.Percent(f.Chance))
		p.text("    ", fmt.Sprintf("%s: %s; %s. %s.", f.Imitation, f.HookWords(), orUnknown(f.Colours), upper(orUnknown(f.Presentation))))
		if f.Hours != "" {
			p.text("    ", "At "+f.Hours+".")
		}
	}
	if len(t.Tying) == 0 {
		p.line("Nothing is likely enough to tie for.")
	} else {
		p.text("", "Hook sizes, colours and presentation are "+t.Tying[0].Source+"; the number of flies is our own default.")
	}
	p.line("")
	p.text("", t.Caution)
	return p.err
}

func (p *printer) stay(head string, s Stay) {
	p.line("\n%s: %s, %s", head, s.RiverName, span(s))
	p.text("  ", fmt.Sprintf("Chance of at least one hatch or egg-laying flight a day: %s, %s. Expected a day: %.1f (calendar %.1f).", forecast.Percent(s.Chance), forecast.Likelihood(s.Chance), s.Stages, s.StagesCalendar))
	for i, l := range s.Likely {
		if i == shown {
			break
		}
		p.line("  %5s  %s, %s", forecast.Percent(l.Chance), l.Name, l.Stage)
	}
	p.text("  ", "Flow: "+s.Flow.Words+".")
	p.text("  ", "Warm water: "+s.Warm.Words+".")
}

func (o Odds) short() string {
	if !o.Known {
		return "unknown"
	}
	return forecast.Percent(o.P)
}

func span(s Stay) string { return s.From.Short() + " to " + s.To.Short() }

func orUnknown(s string) string {
	if s == "" {
		return "unknown"
	}
	return s
}

func upper(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

func cut(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return s
}

type printer struct {
	w   io.Writer
	err error
}

func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

// text prints a sentence in lines of 80 columns; lines after the first are
// indented as far as the head is long.
func (p *printer) text(head, s string) {
	indent := strings.Repeat(" ", len(head))
	line := head
	for i, word := range strings.Fields(s) {
		if i > 0 && len([]rune(line))+1+len([]rune(word)) > 80 {
			p.line("%s", line)
			line = indent + word
			continue
		}
		if i > 0 {
			line += " "
		}
		line += word
	}
	p.line("%s", line)
}
