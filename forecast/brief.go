package forecast

import (
	"unique"
	"unsafe"
)

// briefFlow is how many days of flow a brief outlook keeps: trips ask for 60 days from
// the issue, pages for two weeks from today, and the outlook may be weeks old by then.
// Our own default.
const briefFlow = 120

// briefBack is how many days before the issue a brief outlook still has chances: a plan
// looks back by a standard deviation of the median date besides. Our own default.
const briefBack = 14

// Brief returns what lists of rivers, plans, calendars and verdicts need of an outlook, in a
// third of its memory, of which it shares the hours of stages only: chances and water from the
// day of issue on, every window, and the flow of briefFlow days. It leaves out what stands on a
// river's own pages: the days before, shares of the season, water measured and that of past
// seasons, reasons, notes, degree-days and the sightings entered.
func (o *Outlook) Brief() *Outlook {
	b := *o
	b.Heat, b.Notes, b.Entered = nil, nil, nil
	b.Zone, b.ModelVersion = shared(o.Zone), shared(o.ModelVersion)
	b.Water = o.waterAhead()
	if o.Flow != nil {
		f := *o.Flow
		f.Days = flowAhead(o.Flow.Days)
		b.Flow = &f
	}
	issue := o.IssueDate()
	b.Stages = make([]StageOutlook, len(o.Stages))
	for i := range o.Stages {
		s := o.Stages[i]
		s.Group, s.Name, s.Stage = shared(s.Group), shared(s.Name), shared(s.Stage)
		s.Grade, s.Basis, s.Hours.BySun = shared(s.Grade), shared(s.Basis), shared(s.Hours.BySun)
		s.Reasons, s.Records, s.MovedBy = nil, nil, nil
		s.Days = s.Days.chances(issue - briefBack - s.spread())
		b.Stages[i] = s
	}
	return &b
}

// spread is the width of the median date's 80 % range in days, more than two standard deviations.
func (s *StageOutlook) spread() Date { return max(0, s.Window.Peak.P90-s.Window.Peak.P10) }

// shared is a value in the memory of an equal one: rivers have most of theirs in common.
func shared[T comparable](v T) T { return unique.Make(v).Value() }

// waterAhead is the water from the day of issue on, without what was measured.
func (o *Outlook) waterAhead() []WaterDay {
	issue, days := o.IssueDate(), o.Water
	for len(days) > 0 && days[0].Date < issue {
		days = days[1:]
	}
	out := make([]WaterDay, len(days))
	for i, d := range days {
		d.Observed, d.Climatology = nil, nil
		out[i] = d
	}
	return out
}

// flowAhead is the flow of the first briefFlow days.
func flowAhead(days []FlowDay) []FlowDay {
	out := make([]FlowDay, min(len(days), briefFlow))
	copy(out, days)
	for i, d := range out {
		if d.Fishable != nil {
			p := *d.Fishable
			out[i].Fishable = &p
		}
	}
	return out
}

// Size is about how many bytes an outlook takes in memory.
func (o *Outlook) Size() int {
	const pointed = 8 // a number behind a pointer
	n := int(unsafe.Sizeof(*o)) + cap(o.Water)*(int(unsafe.Sizeof(WaterDay{}))+2*pointed)
	if o.Flow != nil {
		n += int(unsafe.Sizeof(*o.Flow)) + cap(o.Flow.Days)*(int(unsafe.Sizeof(FlowDay{}))+pointed)
	}
	n += cap(o.Stages) * int(unsafe.Sizeof(StageOutlook{}))
	for i := range o.Stages {
		s := &o.Stages[i]
		n += 2*cap(s.Days.all) + len(s.Days.near) + len(s.Group) + len(s.Name) + cap(s.Hours.Spans)*int(unsafe.Sizeof(Span{})) + len(s.Hours.BySun) + len(s.Grade) + len(s.Basis)
		n += (cap(s.Reasons) + cap(s.MovedBy)) * int(unsafe.Sizeof(Remark{}))
	}
	return n
}
