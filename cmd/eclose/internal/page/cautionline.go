package page

import (
	"fmt"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/flow"
	"example.org/eclose/model/wading"
)

// cautionLine is a river's caution as long as a page of many things may have it:
// the level in words, and the reading beside the river's own limit.
type cautionLine struct {
	Strong bool // level 2 or 3, or unknown
	Lead   string
	Text   []string // sentences
	Until  time.Time
	Known  bool
	Valid  string // until when it counts; empty for what is not of now
	Past   string // what a copy says instead of Lead once Until is past
}

// cautionNow words the caution of today.
func cautionNow(st *State, c wading.Caution, u wading.Units, regulated bool) cautionLine {
	l := cautionLine{Strong: !c.Known || c.Level >= wading.BetterNot, Known: c.Known, Until: c.Until, Valid: c.Validity()}
	switch {
	case c.Known && c.Level == wading.Quiet:
		l.Lead = "Nothing at this gauge calls for more than the usual care"
	case c.Known:
		l.Lead = forecast.UpperFirst(c.Level.Words())
	case c.Level > wading.Quiet:
		l.Lead = fmt.Sprintf("Caution level unknown, but at least %d: %s", c.Level, c.Level.Words())
	default:
		l.Lead = "Caution level unknown: treat the river as too high until you have seen it"
	}
	least := ""
	if c.Level > wading.Quiet {
		least = fmt.Sprintf(", but at least %d (%s)", c.Level, c.Level.Words())
	}
	l.Past = "Caution level unknown" + least + ": this copy is out of date. Treat the river as too high until you have seen it."
	l.Text = append(l.Text, flowSentence(st, c, u))
	shown := map[string]bool{"level.record": true, "level.flow": true, "usgs.percentile_class": true}
	for _, r := range c.Reasons { // worst first; the flow is shown above
		if !shown[r.Code] && (r.Level > wading.Quiet || strings.HasPrefix(r.Code, "warning.")) && len(l.Text) < 4 {
			l.Text = append(l.Text, forecast.UpperFirst(r.Text(u)))
		}
	}
	if regulated && c.Level < wading.KeepOut {
		l.Text = append(l.Text, "Below a dam: it can rise without warning")
	}
	return l
}

// flowSentence sets the flow beside the limit of this river that matters now, with the
// time at which it was read: the page may be a copy.
func flowSentence(st *State, c wading.Caution, u wading.Units) string {
	q := c.Flow
	switch {
	case !q.Present && c.Stage.Present:
		return "Gauge height " + u.Length(c.Stage.Value) + ", " + c.ReadAt(c.Stage) + "; no current flow reading"
	case !q.Present:
		return "No current flow reading"
	}
	s := "Flow " + u.Flow(q.Value)
	if st != nil && st.Outlook != nil {
		switch st.Outlook.Flow.Trend() {
		case flow.Rising:
			s += ", forecast to rise"
		case flow.Falling:
			s += ", forecast to fall"
		default: // steady says nothing
		}
	}
	return s + beside(q.Value, c.Limits, u) + "; " + c.ReadAt(q)
}

// beside says how a flow stands to the nearest of a river's limits.
func beside(q float64, l *wading.Limits, u wading.Units) string {
	switch {
	case l == nil:
		return "; no limit of this river is known"
	case q >= l.KeepOutM3s:
		return ", over its keep-out line of " + u.Flow(l.KeepOutM3s)
	case q >= l.BetterNotM3s:
		return ", over its better-not line of " + u.Flow(l.BetterNotM3s)
	case q >= l.CareM3s:
		return ", over its care line of " + u.Flow(l.CareM3s)
	}
	return ", below its care line of " + u.Flow(l.CareM3s)
}

// highUntil tells on which day ahead a flow at or above "better not to wade" is
// no longer more likely than not; "" where the forecast does not tell.
func highUntil(st *State, today forecast.Date) string {
	if st == nil || st.Outlook == nil || st.Caution.Limits == nil {
		return ""
	}
	f := st.Outlook.Flow
	for d := today; d < today+stripDays; d++ {
		x, ok := f.On(d)
		if !ok {
			return ""
		}
		if x.ChanceAbove(st.Caution.Limits.BetterNotM3s) < 0.5 {
			if d == today {
				return ""
			}
			return "until about " + weekday(d)
		}
	}
	return "for the next two weeks"
}

func weekday(d forecast.Date) string { return d.Time().Format("Mon 2 Jan") }

// cautionAhead is the caution of days that lie ahead: as far as today's reading reaches
// that reading and its trend, beyond that one line of past seasons or of the forecast,
// and when the real flow will be known.
func cautionAhead(st *State, c cautionLine, odds string, from, today forecast.Date) cautionLine {
	if forecast.ReadingReaches(today, from) {
		return c
	}
	l := cautionLine{Lead: "Flow on these days", Text: []string{forecast.UpperFirst(odds), "Read the gauge again the evening before"}}
	if st != nil && st.Outlook == nil {
		l.Text = l.Text[1:]
	}
	return l
}
