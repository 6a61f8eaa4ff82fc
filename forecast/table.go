package forecast

import (
	"cmp"
	"fmt"
	"io"
	"sort"
	"strconv"
	"strings"
)

// TableOptions choose what WriteTable shows.
type TableOptions struct {
	Days       int  // windows that begin within so many days of the issue, or are open; 0 for all
	Unfishable bool // also stages that are no event on the water
	Fahrenheit bool
}

// WriteTable prints an outlook for a terminal of 80 columns. Each stage takes
// three lines: the chance a week ahead and the grade; the dates with their
// ranges; the hours of the day and how far the calendar's date is off.
func (o *Outlook) WriteTable(w io.Writer, opt TableOptions) error {
	p := printer{w: w}
	issue := o.IssueDate()
	p.line("%s: forecast issued %s", o.RiverName, o.IssuedAt.UTC().Format("2 January 2006 15:04 UTC"))
	p.line("%s", wrap(fmt.Sprintf("Latest reading %s. Based on %d past seasons of water temperature here. Water temperature: %s. Weather ahead: %s.",
		o.DataCutoff.UTC().Format("2 Jan 15:04 UTC"), o.Seasons, o.WaterSource.Words(), o.WeatherSource.Words()), 80, ""))
	if d, ok := o.WaterOn(issue); ok {
		mid, low, high := temperature(d.P50, opt.Fahrenheit), temperature(d.P10, opt.Fahrenheit), temperature(d.P90, opt.Fahrenheit)
		between := ""
		if low != high {
			between = fmt.Sprintf(" (80%% range %s to %s)", low, high)
		}
		p.line("Water today (daily mean): %s%s.", mid, between)
	}
	for _, s := range o.Flow.Lines(unitsFor(opt.Fahrenheit)) {
		p.line("%s", wrap(s, 80, ""))
	}
	if d := o.Departure; d != nil {
		p.line("%s", wrap(fmt.Sprintf("Note: %s.", d.Words(o.Seasons, opt.Fahrenheit)), 80, ""))
	}
	for _, h := range o.Heat {
		p.line("%s", h.words(opt.Fahrenheit))
	}
	for _, n := range o.Notes {
		p.line("%s", wrap("Note: "+n.String(), 80, "  "))
	}
	shown := o.shown(opt)
	if len(shown) == 0 {
		p.line("\nNothing is in season in this period.")
	} else {
		p.line("\n%-33s %-10s  %9s %9s  %s", "group", "stage", "in 7 days", "calendar", "evidence")
		p.line("  %-24s %-24s %s", "start", "peak", "end")
		p.line("  hours; peak compared with the calendar; compared with this river's average")
		p.line("%s", strings.Repeat("-", 80))
		for _, s := range shown {
			p.stage(s, issue)
		}
		p.line("\n%s", wrap("start, peak, end: dates by which 10, 50 and 90% of the season's activity has passed, each with its 80% range. "+
			"hours: local time, on the peak day. "+
			"here: compared with this river's average; the calendar is regional. "+
			"in 7 days: chance that a competent observer, watching suitable water for two hours at the right time of day, sees more than a few stray insects. "+
			"calendar: the same from calendar dates only. evidence: where the group's values come from; prior means estimated from calendar dates.", 80, ""))
	}
	p.line("\n%s", wrap(StandingCaution, 80, ""))
	return p.err
}

// words is a heat sum in the reader's degrees.
func (h HeatSum) words(fahrenheit bool) string {
	unit, scale, base := "°C", 1.0, h.BaseC
	if fahrenheit {
		unit, scale, base = "°F", 1.8, h.BaseC*1.8+32
	}
	s := fmt.Sprintf("Degree-days above %.0f %s since %s: %.0f", base, unit, h.SinceWords(), h.SumCDays*scale)
	if h.Climatology > 0 {
		s += fmt.Sprintf(" (average by this date %.0f)", h.Climatology*scale)
	}
	if h.Measured < h.Days {
		s += fmt.Sprintf("; %d of %d days measured", h.Measured, h.Days)
	}
	return s + "."
}

// IssueDate is the local date of the issue.
func (o *Outlook) IssueDate() Date { return DateOf(inZone(o.IssuedAt, o.Zone)) }

// WaterOn finds the water temperature of a date.
func (o *Outlook) WaterOn(d Date) (WaterDay, bool) {
	for _, w := range o.Water {
		if w.Date == d {
			return w, true
		}
	}
	return WaterDay{}, false
}

// On finds a stage's day.
func (s *StageOutlook) On(d Date) (Day, bool) {
	return s.Days.On(d)
}

func (o *Outlook) shown(opt TableOptions) []StageOutlook {
	issue := o.IssueDate()
	var out []StageOutlook
	for _, s := range o.Stages {
		if !s.Fishable && !opt.Unfishable || s.Window.Peak.P50 == 0 {
			continue
		}
		if opt.Days > 0 && (s.Window.End.P90 < issue || s.Window.Start.P10 > issue+Date(opt.Days)) {
			continue
		}
		out = append(out, s)
	}
	// By date; those without a season last.
	sort.SliceStable(out, func(i, j int) bool {
		if a, b := out[i].AllYear, out[j].AllYear; a != b {
			return b
		}
		return out[i].Window.Peak.P50 < out[j].Window.Peak.P50
	})
	return out
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

func (p *printer) stage(s StageOutlook, issue Date) {
	week, calendar := "-", "-"
	if d, ok := s.On(issue + 7); ok {
		week, calendar = Percent(d.P), Percent(d.PCalendar)
	}
	name := Truncate(s.Name, 33)
	if !s.Fishable {
		name = Truncate(s.Name, 18) + " (not fishable)"
	}
	p.line("%-33s %-10s  %9s %9s  %s", name, s.Stage, week, calendar, s.Grade.Word())
	if s.AllYear {
		p.line("  all year")
		p.line("  %s", cmp.Or(s.Hours.String(), "hours unknown"))
		return
	}
	p.line("  %s", strings.TrimRight(fmt.Sprintf("%-24s %-24s %s", s.Window.Start.Words(), s.Window.Peak.Words(), s.Window.End.Words()), " "))
	p.line("  %s", wrap(cmp.Or(s.Hours.String(), "hours unknown")+"; "+s.Why(), 78, "  "))
}

// Words is the date with its range, as short as it can be said.
func (r Range) Words() string {
	if r.P50 == 0 {
		return "-"
	}
	return short(r.P50) + " (" + r.Spread() + ")"
}

// Spread is the range without the date.
func (r Range) Spread() string {
	from := short(r.P10)
	if a := r.P10.Time(); a.Month() == r.P90.Time().Month() {
		from = strconv.Itoa(a.Day())
	}
	return from + "-" + short(r.P90)
}

func short(d Date) string { return d.Short() }

func temperature(c float64, fahrenheit bool) string {
	if fahrenheit {
		return fmt.Sprintf("%.0f °F", c*9/5+32)
	}
	return fmt.Sprintf("%.0f °C", c)
}

// Truncate returns the first n characters of s, the last an ellipsis where s is longer.
func Truncate(s string, n int) string {
	if r := []rune(s); len(r) > n {
		return string(r[:n-1]) + "…"
	}
	return s
}

// UpperFirst returns s with an upper-case first letter.
func UpperFirst(s string) string {
	for i, r := range s {
		return strings.ToUpper(string(r)) + s[i+len(string(r)):]
	}
	return s
}

// wrap breaks a text into lines of at most n columns; lines after the first
// begin with indent.
func wrap(s string, n int, indent string) string {
	var b strings.Builder
	width := 0
	for i, word := range strings.Fields(s) {
		l := len([]rune(word))
		switch {
		case i == 0:
		case width+1+l > n:
			b.WriteString("\n" + indent)
			width = len(indent)
		default:
			b.WriteByte(' ')
			width++
		}
		b.WriteString(word)
		width += l
	}
	return b.String()
}
