package verdict

import (
	"cmp"
	"fmt"
	"io"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/wading"
)

const columns = 80

// daysShown is how many days the table of days has: two weeks fit 80 columns.
const daysShown = 14

// WriteText writes the verdict for a terminal of 80 columns: the answer in five lines,
// then each river in at most 40.
func (v Verdict) WriteText(w io.Writer) error {
	p := &printer{w: w}
	if len(v.Rivers) != 1 {
		for _, l := range v.Lines() {
			p.text(l, "  ")
		}
		for _, r := range v.Rivers {
			if r.Caution == nil || !r.Caution.Known || r.Caution.Level >= wading.BetterNot {
				p.text(r.Name+" today: "+r.Level()+".", "  ")
			}
		}
	}
	for _, r := range v.Rivers {
		p.river(v, r)
	}
	p.line("")
	p.text("^ hatches  v lays eggs  . under 20%  ? 20% or more  # more likely than not  un. unknown", "")
	p.text("%: chance in two hours at the right time on suitable water of more than a few; cal: the same by the calendar alone.", "  ")
	p.text(forecast.StandingCaution, "")
	return p.err
}

// Level is today's caution in a few words.
func (r River) Level() string {
	switch c := r.Caution; {
	case c == nil || !c.Known && c.Level == wading.Quiet:
		return "caution unknown, treat the river as too high until you have seen it"
	case !c.Known:
		return "caution unknown, but at least " + c.Level.Words()
	default:
		return c.Level.Words()
	}
}

func (p *printer) river(v Verdict, r River) {
	zone := forecast.ZoneOf(r.outlook.Zone)
	head := v.Now.In(zone).Format("Mon 2 Jan 2006, 15:04 MST")
	if !r.Reading.IsZero() {
		head += "; newest reading " + r.Reading.In(zone).Format("2 Jan 15:04")
	} else {
		head += "; no reading in the last 10 days"
	}
	p.line("\n%-14s %s", strings.ToUpper(r.Name), head)
	if len(v.Rivers) == 1 {
		for _, l := range v.Lines() {
			p.text(l, "  ")
		}
	} else {
		p.text(r.Heading(), "  ")
		if r.Best != nil && r.Matters && !r.Stale {
			p.text(r.Best.Sure(), "  ")
			p.text("Flow: "+r.Best.Flow.Words+".", "  ")
		}
	}
	p.text(r.CautionLine(v.units), "  ")
	if s := r.outlook.Flow.Silence(); s != "" {
		p.text(s, "  ")
	}
	if r.Stale {
		return
	}
	if len(r.Today) > 0 {
		p.line("%-25s %-13s %4s %4s  %s", "Today", "hours", "%", "cal", "fly")
		for _, c := range r.Today {
			p.row("%-25s %-13s %4s %4s  %s", mark(c)+forecast.Truncate(c.Name, 23), cmp.Or(c.Hours.Short(), "unknown"), number(c.P), number(c.Calendar), forecast.Truncate(c.Fly.Words(), 29))
		}
	}
	p.days(r)
	if len(r.Next) > 0 {
		p.line("%-25s %-6s %-6s %-6s %3s  %-13s %s", "Next", "from", "best", "to", "%", "calendar", "evidence")
		for _, c := range r.Next {
			p.row("%-25s %-6s %-6s %-6s %3s  %-13s %s", mark(c)+forecast.Truncate(c.Name, 23), c.From.Short(), c.Best.Short(), c.To.Short(), number(c.P), c.ShiftWords(), forecast.Truncate(evidence(c), 12))
		}
	}
}

func evidence(c Catch) string {
	if c.Grade.Grade() == forecast.Sighted {
		return "here"
	}
	return c.Grade.Word()
}

// days prints the chances of the coming days in a row, with marks where flow or warm
// water is likely to spoil them.
func (p *printer) days(r River) {
	days := r.Days[:min(len(r.Days), daysShown)]
	if len(days) == 0 {
		return
	}
	row := func(name string, cell func(trip.Day) string) {
		var s strings.Builder
		fmt.Fprintf(&s, "%-13s", name)
		for _, d := range days {
			fmt.Fprintf(&s, "%4s", cell(d))
		}
		p.line("%s", s.String())
	}
	row(days[0].Date.Time().Format("January"), func(d trip.Day) string { return d.Date.Time().Format("2") })
	row("chance, %", func(d trip.Day) string { return number(d.Chance) })
	row("too high", func(d trip.Day) string { return riskMark(d.Flow) })
	row("too warm", func(d trip.Day) string { return riskMark(d.Warm) })
}

// riskMark is the texture of a risk; unknown is none of them.
func riskMark(o trip.Odds) string {
	switch {
	case !o.Known:
		return "un."
	case o.P > 0.5:
		return "#"
	case o.P >= 0.2:
		return "?"
	}
	return "."
}

func mark(c Catch) string {
	if c.Stage == forecast.EggLaying {
		return "v "
	}
	return "^ "
}

// number is a chance in whole percent without its sign, never 0 or 100.
func number(p float64) string { return strings.TrimSuffix(forecast.Percent(p), "%") }

type printer struct {
	w   io.Writer
	err error
}

func (p *printer) line(format string, args ...any) {
	if p.err == nil {
		_, p.err = fmt.Fprintf(p.w, format+"\n", args...)
	}
}

// row is line without blanks at its end.
func (p *printer) row(format string, args ...any) {
	p.line("%s", strings.TrimRight(fmt.Sprintf(format, args...), " "))
}

// text prints a sentence in lines of 80 columns; lines after the first begin with indent.
func (p *printer) text(s, indent string) {
	line := ""
	for word := range strings.FieldsSeq(s) {
		switch {
		case line == "":
			line = word
		case len([]rune(line))+1+len([]rune(word)) > columns:
			p.line("%s", line)
			line = indent + word
		default:
			line += " " + word
		}
	}
	p.line("%s", line)
}
