package rivers

import (
	"testing"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/forecast/records"
	"example.org/eclose/model/insects"
)

// openRecords are invented records of the region in past seasons and in that of 2021;
// those from a day on lie so many days later, and so do what was published from it on.
func openRecords(t *testing.T, p *Plan, from forecast.Date, later int) *records.Open {
	t.Helper()
	region := insects.Region(p.Rivers[0].Region)
	if region == "" {
		region, _ = insects.RegionOf(p.Rivers[0].Lat, p.Rivers[0].Lon)
	}
	o := &records.Open{}
	for k, key := range groups {
		g, _ := p.Catalogue.Group(key)
		w, ok := g.Window(region, insects.EggLaying)
		if !ok {
			t.Fatalf("%s has no window in %s", key, region)
		}
		for year := 2016; year <= 2021; year++ {
			for i := range 30 {
				d := date(year, 1, 1) + forecast.Date(w.Median+(i*7+k*3+year)%71-35)
				x := records.Dated{Group: key, Stage: records.EggLaying, Region: region, Day: d, LatDeg: p.Rivers[0].Lat, LonDeg: p.Rivers[0].Lon,
					Published: d.Time().AddDate(0, 0, 1), Stored: p.Now}
				if year < 2021 && i%10 == 0 {
					x.Published = date(2021, 6, 1+i/2).Time() // told only years later
				}
				if d >= from || !x.Published.Before((from + 1).Time()) {
					x.Day += forecast.Date(later)
					x.Published = x.Published.AddDate(0, 0, later)
				}
				o.Records = append(o.Records, x)
			}
		}
	}
	for d := date(2015, 1, 1); d < date(2022, 1, 1); d++ {
		n := 20
		if d >= from {
			n += later * int(d%7)
		}
		o.Effort = append(o.Effort, records.Looked{Region: region, Day: d, N: n})
	}
	return o
}

// Readings, sightings and open records from a day on are replaced: no case that was issued
// before that day may change, and cases issued in the week after it must. A cut-off
// a week too late, or a lead scored by a later outlook, fails the first; a cut-off a
// week too early the second.
func TestNothingAfterAnIssueMovesWhatItSays(t *testing.T) {
	p, src := small(t)
	p.First, p.Last, p.Every, p.Rivers = 2021, 2021, 7, p.Rivers[:1]
	p.Leads = []int{0, 7, 30}
	from := date(2021, 5, 25)
	for d := date(2021, 4, 20); d < date(2021, 7, 20); d++ {
		amount := diary.None
		if d > date(2021, 5, 10) {
			amount = diary.Many
		}
		for _, g := range groups {
			p.Sightings = append(p.Sightings, forecast.Sighting{River: p.Rivers[0].Slug, Group: g, Stage: forecast.Emergence, Day: d, Hours: 2, Amount: amount})
		}
	}
	type key struct {
		group, day string
		lead       int
	}
	cases := func(p Plan, src Source) map[key]Case {
		out := map[key]Case{}
		for c := range run(t, p, src).AllCases() {
			out[key{c.Group, c.Day.String(), c.Lead}] = c
		}
		return out
	}
	p.Open = openRecords(t, &p, from, 0)
	want := cases(p, src)
	wateredDown, otherwise := cases(p, later{src, from}), p
	otherwise.Sightings = nil
	for _, s := range p.Sightings {
		if s.Day >= from {
			s.Amount = diary.None
		}
		otherwise.Sightings = append(otherwise.Sightings, s)
	}
	diverted := cases(otherwise, src)
	recorded := p
	recorded.Open = openRecords(t, &p, from, 12)
	for name, got := range map[string]map[key]Case{"readings": wateredDown, "sightings": diverted, "open records": cases(recorded, src)} {
		before, moved := 0, 0
		for k, c := range want {
			x, ok := got[k]
			if !ok {
				t.Fatalf("%s: no case of %+v", name, k)
			}
			// The day that a case belongs to is its sighting's less the lead, whatever
			// the case itself says.
			issue := c.Day - forecast.Date(c.Lead)
			switch same := x.P == c.P && x.Calendar == c.Calendar && x.Plain == c.Plain; {
			case issue <= from:
				before++
				if !same {
					t.Errorf("%s from %s on moved what was said on %s of %s on %s: %.4f, now %.4f", name, from, issue, k.group, k.day, c.P, x.P)
				}
			case issue <= from+7 && !same:
				moved++
			}
		}
		if before < 100 || moved == 0 {
			t.Errorf("%s: %d cases before %s compared, %d of the week after moved", name, before, from, moved)
		}
	}
}
