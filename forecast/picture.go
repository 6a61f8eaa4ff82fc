package forecast

import (
	"fmt"
	"math"
	"sort"

	"example.org/eclose/forecast/chart"
)

// SeasonPicture is the drawing of an outlook's groups from a day on, for so
// many days: those whose season falls into them, in the order in which they open.
func (o *Outlook) SeasonPicture(from Date, days int, fishableOnly bool) chart.Season {
	s := chart.Season{
		Title: fmt.Sprintf("%s: hatches and egg-laying", o.RiverName),
		Day0:  from.Time(), Days: days, Today: int(o.IssueDate() - from),
	}
	type row struct {
		line  chart.Line
		start Date
	}
	var rows []row
	at := map[string]int{}
	for i := range o.Stages {
		st := &o.Stages[i]
		t := st.Trace(from, days)
		if t == nil {
			continue
		}
		i, seen := at[st.Group]
		if !seen {
			i = len(rows)
			at[st.Group] = i
			rows = append(rows, row{line: chart.Line{Name: st.Name, Muted: [2]bool{true, true}}, start: st.Window.Start.P50})
		}
		l := &rows[i].line
		k := 0
		if st.Stage == EggLaying {
			k = 1
			l.EggLaying = *t
		} else {
			l.Emergence = *t
		}
		l.Muted[k] = !st.Fishable
		if st.Fishable && l.Note == "" {
			rows[i].start = st.Window.Start.P50
			l.Note = fmt.Sprintf("%s %s to %s, peak %s; %s", st.Stage, short(st.Window.Start.P50), short(st.Window.End.P50), short(st.Window.Peak.P50), st.Grade.Word())
			if st.AllYear {
				l.Note = fmt.Sprintf("%s all year; %s", st.Stage, st.Grade.Word())
			}
		}
	}
	sort.SliceStable(rows, func(i, j int) bool { return rows[i].start < rows[j].start })
	for _, r := range rows {
		if fishableOnly && r.line.Muted[0] && r.line.Muted[1] {
			continue
		}
		s.Lines = append(s.Lines, r.line)
	}
	return s
}

// Trace cuts a stage to the days of a drawing; nil if nothing of its window
// falls into them.
func (s *StageOutlook) Trace(from Date, days int) *chart.Trace {
	if s.Window.Peak.P50 == 0 || s.Window.End.P90 < from || s.Window.Start.P10 > from+Date(days) {
		return nil
	}
	t := &chart.Trace{Chance: make([]float64, days), Calendar: make([]float64, days)}
	if p := s.Window.Peak; !s.AllYear {
		t.Best = [3]int{int(p.P10 - from), int(p.P50 - from), int(p.P90 - from)}
	}
	for d := range days {
		if x, ok := s.On(from + Date(d)); ok {
			t.Chance[d], t.Calendar[d] = x.P, x.PCalendar
		}
	}
	return t
}

// WaterPicture is the drawing of an outlook's water temperature from a day on.
func (o *Outlook) WaterPicture(from Date, days int, fahrenheit bool) chart.Water {
	w := chart.Water{
		Title: fmt.Sprintf("%s: water temperature, daily mean", o.RiverName),
		Day0:  from.Time(), Today: int(o.IssueDate() - from), Fahrenheit: fahrenheit,
	}
	columns := []*[]float64{&w.Low, &w.Mid, &w.High, &w.Observed, &w.Normal}
	for _, c := range columns {
		*c = make([]float64, days)
		for d := range *c {
			(*c)[d] = math.NaN()
		}
	}
	issue := o.IssueDate()
	for _, x := range o.Water {
		d := int(x.Date - from)
		if d < 0 || d >= days {
			continue
		}
		if x.Observed != nil {
			w.Observed[d] = *x.Observed
		}
		if x.Climatology != nil {
			w.Normal[d] = *x.Climatology
		}
		if x.Date >= issue {
			w.Low[d], w.Mid[d], w.High[d] = x.P10, x.P50, x.P90
		}
	}
	return w
}
