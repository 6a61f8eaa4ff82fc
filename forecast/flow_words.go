package forecast

import (
	"fmt"
	"strings"

	"example.org/eclose/model/wading"
)

func unitsFor(us bool) wading.Units {
	if us {
		return wading.US
	}
	return wading.Metric
}

// flowLeads are the days ahead of which a forecast's flow is shown in words.
var flowLeads = []int{1, 3, 7, 14}

// Lines puts the flow ahead in sentences, in a reader's units: the flow of the last day
// and what that is for fishing, the days ahead, the chance of fishable flow and of a rise
// that may colour the water. It returns none for a nil forecast.
func (f *FlowAhead) Lines(u wading.Units) []string {
	if f == nil {
		return nil
	}
	var out []string
	now := ""
	if f.NowM3s > 0 {
		now = fmt.Sprintf("%s on the last full day, %s", u.Flow(f.NowM3s), f.Class(f.NowM3s).Words())
	}
	if len(f.Days) == 0 {
		out = append(out, "Flow: "+join(now, "flow ahead "+f.SourceWords())+".")
		return append(append(out, f.colourLines()...), notCaution)
	}
	if t := f.Trend(); t != "" {
		now = join(now, string(t))
	}
	out = append(out, "Flow: "+now+".")
	var ahead []string
	for _, lead := range flowLeads {
		if lead <= len(f.Days) {
			d := f.Days[lead-1]
			ahead = append(ahead, fmt.Sprintf("%s %s (%s to %s)", d.Date.Short(), u.Alone().Flow(d.P50), number(u, d.P10), number(u, d.P90)))
		}
	}
	out = append(out, "Flow ahead, daily mean and 80% range: "+strings.Join(ahead, "; ")+"; "+f.SourceWords()+".")
	if f.HighM3s > 0 {
		out = append(out, fmt.Sprintf("Chance of a flow within your fishable range (%s to %s): %s.", u.Flow(f.LowM3s), u.Flow(f.HighM3s), f.byLead(func(d FlowDay) float64 { return *d.Fishable })))
	}
	out = append(out, f.colourLines()...)
	for _, s := range f.Services {
		if t := s.scoreWords(); t != "" {
			out = append(out, t)
		}
	}
	return append(out, notCaution)
}

// notCaution stands wherever a flow ahead does.
const notCaution = "A modelled flow is not a caution level: look at the caution, the local notices and the river before you go in."

// scoreWords says how a service's forecasts did here; "" where too few were kept.
func (s FlowReach) scoreWords() string {
	var parts []string
	for _, x := range s.Scores {
		parts = append(parts, fmt.Sprintf("%d of %d days at %s ahead", x.Within, x.Of, days(x.Lead)))
	}
	if parts == nil {
		return ""
	}
	return fmt.Sprintf("The %s was within 20%% here on %s.", s.Name, strings.Join(parts, ", "))
}

func days(n int) string {
	if n == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%d days", n)
}

// FishableByDay lists the chance of a flow within the owner's range day by day; "" without
// a range or a forecast.
func (f *FlowAhead) FishableByDay(from Date, days int, u wading.Units) string {
	var list []DayText
	for d := from; d < from+Date(days); d++ {
		if x, ok := f.On(d); ok && x.Fishable != nil {
			list = append(list, DayText{d, Percent(*x.Fishable)})
		}
	}
	if list == nil {
		return ""
	}
	return fmt.Sprintf("Chance of a flow within the fishable range (%s to %s): %s. %s", u.Flow(f.LowM3s), u.Flow(f.HighM3s), strings.Join(DayRuns(list, " "), ", "), notCaution)
}

// number is a flow in the reader's unit without its name, where several stand in a row.
func number(u wading.Units, m3s float64) string {
	s, _, _ := strings.Cut(u.Alone().Flow(m3s), " ")
	return s
}

func join(parts ...string) string {
	var some []string
	for _, p := range parts {
		if p != "" {
			some = append(some, p)
		}
	}
	return strings.Join(some, ", ")
}

func (f *FlowAhead) byLead(of func(FlowDay) float64) string {
	var s []string
	for _, lead := range flowLeads {
		if lead <= len(f.Days) {
			s = append(s, fmt.Sprintf("%s %s", f.Days[lead-1].Date.Short(), Percent(of(f.Days[lead-1]))))
		}
	}
	return strings.Join(s, ", ")
}

// colourDays is how many days ahead a rise is spoken of. Our own default.
const colourDays = 7

// coloured is the greatest chance of a sharp rise on one of the coming days: no more is
// claimed of several days together.
func (f *FlowAhead) coloured() float64 {
	p := 0.0
	for _, d := range f.Days[:min(colourDays, len(f.Days))] {
		p = max(p, d.Rise)
	}
	return p
}

// FishableOver is the mean chance over some days that the flow lies within the owner's
// range; false where the owner has named none or a day is not forecast.
func (f *FlowAhead) FishableOver(from, to Date) (float64, bool) {
	sum := 0.0
	for d := from; d <= to; d++ {
		day, ok := f.On(d)
		if !ok || day.Fishable == nil {
			return 0, false
		}
		sum += *day.Fishable
	}
	return sum / float64(to-from+1), true
}

// AboveOver is the mean chance over some days that the flow is at or above a flow, m3/s;
// false where a day is not forecast.
func (f *FlowAhead) AboveOver(q float64, from, to Date) (float64, bool) {
	sum := 0.0
	for d := from; d <= to; d++ {
		day, ok := f.On(d)
		if !ok {
			return 0, false
		}
		sum += day.ChanceAbove(q)
	}
	return sum / float64(to-from+1), true
}
