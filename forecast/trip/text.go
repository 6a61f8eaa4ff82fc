package trip

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strings"

	"example.org/eclose/forecast"
)

// gridWeeks is how many weeks a row of the grid has, and gridMost how many are shown in all.
const gridWeeks, gridMost = 5, 10

// WriteTable prints a trip on paper or terminal of 80 columns, the answer first.
func (t *Trip) WriteTable(w io.Writer) error {
	p := &printer{w: w}
	p.text("", t.Headline())
	if len(t.First.Best()) == 0 {
		for _, s := range t.seasons() {
			p.text("", s)
		}
		p.text("", t.Caution)
		return p.err
	}
	p.line("")
	for _, s := range t.why() {
		p.text("Why      ", s)
	}
	for _, l := range t.First.Best() {
		p.line("         %s %-24s %-13s %4s  best %s", mark(l.Stage), forecast.Truncate(l.Name, 24), cmp.Or(l.Hours.Short(), l.Hours.BySun, "unknown"), forecast.Percent(l.Chance), weekday(bestDay(l, t.First)))
	}
	p.text("Flow     ", t.First.Flow.Words)
	if w := t.First.FishableWords(); w != "" {
		p.text("         ", w+".")
	}
	p.text("Warm     ", t.First.Warm.Words)
	for _, x := range []struct {
		name string
		s    *Stay
	}{{"A week earlier", t.Earlier}, {"A week later", t.Later}} {
		if x.s != nil {
			p.text(x.name+": ", t.First.beside(*x.s))
		}
	}
	if s := t.Second; s != nil {
		p.line("")
		p.text("Second   ", fmt.Sprintf("%s, %s", s.RiverName, Span(s.From, s.To)))
		costs, gains := t.First.against(*s)
		p.text("Costs    ", costs)
		p.text("Gains    ", gains)
	}
	p.grid(t)
	p.tying(t)
	p.line("")
	for _, s := range t.Confidence {
		p.text("How sure ", s)
	}
	for _, s := range t.Risks {
		p.text("Changes  ", s)
	}
	p.line("")
	p.text("", t.Caution)
	return p.err
}

// Headline is the answer in one sentence; an imperative only where t.Invite is set.
func (t *Trip) Headline() string {
	where := fmt.Sprintf("%s, %s", t.First.RiverName, Span(t.First.From, t.First.To))
	switch {
	case len(t.First.Best()) == 0:
		return fmt.Sprintf("Nothing that you asked for is likely from %s to %s.", t.Ask.From.Short(), t.Ask.To.Short())
	case t.Draw:
		return fmt.Sprintf("Too close to call: %s, or %s, %s.", where, t.Second.RiverName, Span(t.Second.From, t.Second.To))
	case t.Invite:
		return "Go to " + where + "."
	}
	return "Best: " + where + "."
}

// seasons says when what was asked for is at its best at the river of the first choice.
func (t *Trip) seasons() []string {
	var out []string
	for i := range t.First.outlook.Stages {
		st := &t.First.outlook.Stages[i]
		if w := st.Window; t.Ask.cares(st) && len(t.Ask.Groups) > 0 && w.Peak.P50 != 0 {
			out = append(out, fmt.Sprintf("%s: %s to %s at %s.", forecast.UpperFirst(What(st.Name, st.Stage, false)), w.Start.P50.Short(), w.End.P50.Short(), t.First.RiverName))
		}
	}
	return out
}

func (t *Trip) why() []string {
	s := t.First
	return []string{fmt.Sprintf("%s: on such a day %s that you see at least one of these (calendar %s). Expected a day: %.1f hatches and egg-laying flights to travel for (calendar %.1f).",
		forecast.UpperFirst(forecast.Likelihood(s.Chance)), forecast.Percent(s.Chance), forecast.Percent(s.Calendar), s.Stages, s.StagesCalendar)}
}

// beside compares another stay by the values in which it differs.
func (s Stay) beside(o Stay) string {
	out := fmt.Sprintf("%s instead of %s, %.1f a day instead of %.1f", forecast.Percent(o.Chance), forecast.Percent(s.Chance), o.Stages, s.Stages)
	if o.Flow.Known && s.Flow.Known && (o.Flow.P >= s.Flow.P+0.05 || o.Flow.P <= s.Flow.P-0.05) {
		out += fmt.Sprintf("; too high %s instead of %s", forecast.Percent(o.Flow.P), forecast.Percent(s.Flow.P))
	}
	return out
}

// against says what it costs and what it gains to take o in the place of s.
func (s Stay) against(o Stay) (costs, gains string) {
	var c, g []string
	for _, l := range s.Best() {
		if k := slices.IndexFunc(o.Likely, func(x Likely) bool { return x.Group == l.Group && x.Stage == l.Stage }); k < 0 || o.Likely[k].Chance < l.Chance/2 {
			c = append(c, "the "+l.Name)
		}
	}
	for _, l := range o.Best() {
		if k := slices.IndexFunc(s.Likely, func(x Likely) bool { return x.Group == l.Group && x.Stage == l.Stage }); k < 0 || s.Likely[k].Chance < l.Chance/2 {
			g = append(g, "the "+l.Name)
		}
	}
	put := func(better bool, words string) {
		if better {
			g = append(g, words)
		} else {
			c = append(c, words)
		}
	}
	if d := o.Chance - s.Chance; d >= 0.02 || d <= -0.02 {
		put(d > 0, fmt.Sprintf("%s instead of %s", forecast.Percent(o.Chance), forecast.Percent(s.Chance)))
	}
	if d := o.Stages - s.Stages; d >= 0.1 || d <= -0.1 {
		put(d > 0, fmt.Sprintf("%.1f hatches and egg-laying flights a day", max(d, -d)))
	}
	for _, x := range []struct {
		name string
		s, o Odds
	}{{"too high", s.Flow, o.Flow}, {"too warm", s.Warm, o.Warm}} {
		if d := x.o.P - x.s.P; x.s.Known && x.o.Known && (d >= 0.02 || d <= -0.02) {
			put(d < 0, fmt.Sprintf("%s on %s of days instead of %s", x.name, forecast.Percent(x.o.P), forecast.Percent(x.s.P)))
		}
	}
	if d := int(s.From - o.From); d != 0 {
		put(d > 0, count(max(d, -d), "day")+map[bool]string{true: " sooner", false: " later"}[d > 0])
	}
	return either(c), either(g)
}

func either(list []string) string {
	if len(list) == 0 {
		return "nothing that is known"
	}
	return strings.Join(list, "; ")
}

// grid prints the weeks in the order of time, a block of rows for each river.
func (p *printer) grid(t *Trip) {
	var froms []forecast.Date
	var rivers []string
	by := map[string]map[forecast.Date]Stay{}
	for _, s := range t.Weeks {
		if by[s.RiverName] == nil {
			by[s.RiverName] = map[forecast.Date]Stay{}
			rivers = append(rivers, s.RiverName) // the river of the best week first
		}
		by[s.RiverName][s.From] = s
		if !slices.Contains(froms, s.From) {
			froms = append(froms, s.From)
		}
	}
	slices.Sort(froms)
	left := 0
	if len(froms) > gridMost {
		at := max(0, slices.IndexFunc(froms, func(d forecast.Date) bool { return d+6 >= t.First.From })-gridMost/2)
		at = min(at, len(froms)-gridMost)
		left = len(froms) - gridMost
		froms = froms[at : at+gridMost]
	}
	for ; len(froms) > 0; froms = froms[min(gridWeeks, len(froms)):] {
		block := froms[:min(gridWeeks, len(froms))]
		var head strings.Builder
		fmt.Fprintf(&head, "%-15s", "Week by week")
		for _, d := range block {
			fmt.Fprintf(&head, "%13s", shortSpan(d, weekEnd(t, d)))
		}
		p.line("\n%s", head.String())
		for _, r := range rivers {
			for k, what := range []string{"any", "high", "warm"} {
				name := ""
				if k == 0 {
					name = forecast.Truncate(r, 10)
				}
				var row strings.Builder
				fmt.Fprintf(&row, "%-10s %-4s", name, what)
				for _, d := range block {
					fmt.Fprintf(&row, "%13s", cell(t, by[r], d, what))
				}
				p.line("%s", strings.TrimRight(row.String(), " "))
			}
		}
	}
	if left > 0 {
		p.line("%s more.", count(left, "week"))
	}
	p.text("", "any: at least one of the week's best three. high: at or above the better-not-to-wade flow, or outside your fishable range. warm: an hour too warm for trout. [first choice] (second choice) ! more days than not")
}

func weekEnd(t *Trip, from forecast.Date) forecast.Date { return min(from+6, t.Ask.To) }

func cell(t *Trip, weeks map[forecast.Date]Stay, from forecast.Date, what string) string {
	s, ok := weeks[from]
	switch {
	case !ok:
		return "-"
	case what == "high":
		return s.Flow.short()
	case what == "warm":
		return s.Warm.short()
	}
	text := forecast.Percent(s.Chance)
	within := func(x Stay) bool { return x.River == s.River && x.From >= s.From && x.From <= s.To }
	switch {
	case within(t.First):
		return "[" + text + "]"
	case t.Second != nil && within(*t.Second):
		return "(" + text + ")"
	}
	return text
}

func (p *printer) tying(t *Trip) {
	if len(t.Tying) == 0 {
		p.line("\nNothing is likely enough to tie for.")
		return
	}
	head := fmt.Sprintf("Tie %s by %s", count(t.ToTie(), "fly"), weekday(t.BoxReady))
	if t.ToTie() == 0 {
		head = "The box holds all of it"
	}
	p.line("\n%-48s %5s %7s %7s", head, "take", "in box", "to tie")
	for _, f := range t.Tying {
		tick, left := " ", fmt.Sprint(f.ToTie())
		if f.ToTie() == 0 {
			tick, left = "x", "-"
		}
		name, more := f.Name+" "+f.sizes(), ""
		if len([]rune(name)) > tyingColumns { // a name is not cut for its sizes: they go below
			name, more = forecast.Truncate(f.Name, tyingColumns), "Sizes "+f.sizes()+". "
		}
		p.line("[%s] %-*s %5d %7d %7s", tick, tyingColumns, name, f.Take, f.InBox, left)
		p.text("    ", more+"For "+strings.Join(f.For, "; ")+". "+forecast.UpperFirst(cmp.Or(f.Materials, "unknown"))+".")
	}
	p.text("", "Hook sizes, colours and materials are common practice, no source; the number of flies is our own default.")
}

// tyingColumns is the width of a fly's name with its sizes.
const tyingColumns = 44

// sizes are the hooks of a line: "12, 14 (2), 16".
func (f Fly) sizes() string {
	var parts []string
	for _, h := range f.Hooks {
		s := fmt.Sprint(h.Size)
		if h.Count > 1 {
			s += fmt.Sprintf(" (%d)", h.Count)
		}
		parts = append(parts, s)
	}
	if len(parts) == 0 {
		return "size unknown"
	}
	return strings.Join(parts, ", ")
}

func (o Odds) short() string {
	switch {
	case !o.Known:
		return "unknown"
	case o.P > 0.5:
		return forecast.Percent(o.P) + " !"
	}
	return forecast.Percent(o.P)
}

// Span is some days for people: "Mon 22 to Thu 25 Jun".
func Span(from, to forecast.Date) string {
	a, b := from.Time(), to.Time()
	switch {
	case from == to:
		return weekday(from)
	case a.Month() == b.Month():
		return a.Format("Mon 2") + " to " + weekday(to)
	}
	return weekday(from) + " to " + b.Format("Mon 2 Jan")
}

func weekday(d forecast.Date) string { return d.Time().Format("Mon 2 Jan") }

func shortSpan(from, to forecast.Date) string {
	a, b := from.Time(), to.Time()
	if a.Month() == b.Month() {
		return fmt.Sprintf("%d-%d %s", a.Day(), b.Day(), b.Format("Jan"))
	}
	return a.Format("2 Jan") + "-" + b.Format("2 Jan")
}

func mark(s forecast.Stage) string {
	if s == forecast.EggLaying {
		return "v"
	}
	return "^"
}

// bestDay is the likeliest day of a stage during a stay.
func bestDay(l Likely, s Stay) forecast.Date {
	best, p := s.From, -1.0
	for d := s.From; d <= s.To; d++ {
		if x, ok := l.stage.On(d); ok && x.P > p {
			best, p = d, x.P
		}
	}
	return best
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
