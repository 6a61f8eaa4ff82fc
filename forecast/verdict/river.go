package verdict

import (
	"cmp"
	"maps"
	"slices"
	"sort"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/wading"
)

func riverOf(q Question, r trip.River, groups trip.Groups) River {
	o := r.Outlook
	today := dateAt(o, q.Now)
	v := River{River: o.River, Name: o.RiverName, IssuedAt: o.IssuedAt, Reading: o.DataCutoff, Caution: r.Caution, Invite: r.Invites(),
		Stale: q.Now.Sub(o.IssuedAt) > staleAfter, outlook: o, flows: r.Flows}
	ask := trip.Ask{From: today, To: today + forecast.Date(q.Days) - 1, Days: 1, Groups: q.Groups, Units: q.Units}
	a := trip.LookAhead(ask, r, groups)
	if a == nil {
		return v
	}
	b := builder{o: o, groups: groups, today: today}
	v.Days = a.Days
	if a.Best != nil {
		v.Best = &Choice{Stay: *a.Best, Invite: v.Invite}
		for _, l := range a.Best.Best() {
			v.Best.Catches = append(v.Best.Catches, b.catch(l))
		}
		v.Matters = a.Matters(a.Best)
		v.Shut = shut(a.Best.Flow) || shut(a.Best.Warm)
	}
	v.Today, v.TodayChance = b.rest(q, a)
	for _, l := range a.Next[:min(len(a.Next), nextShown)] {
		v.Next = append(v.Next, b.catch(l))
	}
	sort.SliceStable(v.Next, func(i, j int) bool {
		x, y := v.Next[i], v.Next[j]
		return cmp.Or(cmp.Compare(x.From, y.From), cmp.Compare(x.Best, y.Best)) < 0
	})
	return v
}

// shut reports whether odds more likely than not spoil a day. Unknown odds do not: they
// are shown.
func shut(o trip.Odds) bool { return o.Known && o.P >= shutFrom }

// builder makes the rows of one river.
type builder struct {
	o      *forecast.Outlook
	groups trip.Groups
	today  forecast.Date
}

func (b builder) catch(l trip.Likely) Catch {
	s := l.Outlook()
	g, _ := b.groups(l.Group)
	c := Catch{Group: l.Group, Name: l.Name, Stage: l.Stage, P: l.Chance, Calendar: l.Calendar, Hours: l.Hours,
		Fly: trip.PatternOf(g, l.Stage), Grade: l.Grade, From: s.Window.Start.P50, To: s.Window.End.P50, Best: l.BestDay}
	if c.Best == 0 {
		c.Best = likeliest(s, b.today)
	}
	if s.Calendar.Peak.P50 != 0 && s.Window.Peak.P50 != 0 {
		c.Shift = int(s.Window.Peak.P50 - s.Calendar.Peak.P50)
	}
	if c.Best != 0 {
		c.Dark = forecast.DarkestOf(l.Hours, c.Best, b.o.Zone, b.o.Lat, b.o.Lon)
	}
	return c
}

// likeliest is the day from a date on on which a stage is likeliest; 0 if there is none.
func likeliest(s *forecast.StageOutlook, from forecast.Date) (best forecast.Date) {
	p := 0.0
	for _, d := range s.Days.All() {
		if d.Date >= from && d.P > p {
			best, p = d.Date, d.P
		}
	}
	return best
}

// rest are the stages of today whose hours are not over, in the order of the day, and
// the chance that at least one of them shows. Hours in part over begin now.
func (b builder) rest(q Question, a *trip.Prospect) ([]Catch, float64) {
	s := a.Stay(b.today, b.today)
	if s == nil {
		return nil, 0
	}
	now := q.Now.In(forecast.ZoneOf(b.o.Zone))
	minute := now.Hour()*60 + now.Minute()
	var out []Catch
	for _, l := range s.Likely {
		// What is there all year is shown where nothing else is, and once.
		if l.Chance < todayFrom || len(out) == todayShown || l.Background() && len(out) > 0 {
			continue
		}
		c := b.catch(l)
		c.Hours.Spans = slices.DeleteFunc(slices.Clone(c.Hours.Spans), func(x forecast.Span) bool { return x.To <= minute })
		if len(l.Hours.Spans) > 0 && len(c.Hours.Spans) == 0 {
			continue
		}
		c.Dark = forecast.DarkestOf(c.Hours, b.today, b.o.Zone, b.o.Lat, b.o.Lon)
		out = append(out, c)
	}
	best, none := byGroup(out), 1.0
	for _, g := range slices.Sorted(maps.Keys(best)) { // in order: the last bit of a product depends on it
		none *= 1 - best[g]
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].Hours.First() < out[j].Hours.First() })
	return out, 1 - none
}

func byGroup(catches []Catch) map[string]float64 {
	best := map[string]float64{}
	for _, c := range catches {
		best[c.Group] = max(best[c.Group], c.P)
	}
	return best
}

// Limits are the flows from which the caution's levels begin; nil if unknown.
func (r River) Limits() *wading.Limits {
	switch {
	case r.Caution != nil && r.Caution.Limits != nil:
		return r.Caution.Limits
	case r.flows != nil:
		return r.flows.Limits
	}
	return nil
}
