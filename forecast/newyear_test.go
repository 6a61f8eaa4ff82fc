package forecast

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
)

// outlookOf issues the beck's outlook on a date, for a river like it elsewhere.
func outlookOf(t *testing.T, store *series.Store, r River, at time.Time) (*Outlook, Record) {
	t.Helper()
	rec, err := Gather(t.Context(), store, r, at)
	if err != nil {
		t.Fatal(err)
	}
	o, err := rec.Outlook(r, catalogue(t), Options{Members: 50})
	if err != nil {
		t.Fatal(err)
	}
	return o, rec
}

// southernStore is five years of the beck with its summers in January.
func southernStore(t *testing.T, issue time.Time, seed uint64) *series.Store {
	t.Helper()
	store, err := series.Open(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() }) // a test's folder
	from := time.Date(issue.Year()-5, 1, 1, 0, 0, 0, 0, time.UTC)
	air, water, flow := inventHours(rand.New(rand.NewPCG(seed, 1)), from.AddDate(0, 6, 0), int(issue.Sub(from).Hours()))
	for k, v := range map[ingest.Key][]float64{beckAir: air, beckWater: water, beckFlow: flow} {
		if _, err := store.Put(t.Context(), inventSeries(k, from, time.Hour, v), issue); err != nil {
			t.Fatal(err)
		}
	}
	return store
}

func stageIn(t *testing.T, o *Outlook, group string, stage Stage) *StageOutlook {
	t.Helper()
	k := slices.IndexFunc(o.Stages, func(s StageOutlook) bool { return s.Group == group && s.Stage == stage })
	if k < 0 {
		t.Fatalf("%s of %s is not forecast", stage, group)
	}
	return &o.Stages[k]
}

func TestAWinterSeasonIsOneOverNewYear(t *testing.T) {
	at := time.Date(2026, 12, 20, 18, 0, 0, 0, time.UTC)
	store := inventStore(t, at.AddDate(0, 0, 40), at, 5, 0, 3)
	r := beck
	r.Groups = []string{"midge-winter"}
	before, _ := outlookOf(t, store, r, at)
	after, _ := outlookOf(t, store, r, at.AddDate(0, 0, 30))
	a, b := stageIn(t, before, "midge-winter", Emergence), stageIn(t, after, "midge-winter", Emergence)
	for what, s := range map[string]*StageOutlook{"in December": a, "in January": b} {
		w := s.Calendar
		if w.Start.P50.Time().Month() < time.October || w.Start.P50.Time().Year() != 2026 || w.End.P50.Time().Year() != 2027 || w.Peak.P50.Time().Month() > time.February {
			t.Errorf("%s the season runs from %s by %s to %s", what, w.Start.P50, w.Peak.P50, w.End.P50)
		}
	}
	if shift := int(a.Calendar.Peak.P50 - b.Calendar.Peak.P50); shift < -2 || shift > 2 {
		t.Errorf("the calendar's peak moves by %d days over New Year", shift)
	}
	eve, _ := a.On(DateOf(time.Date(2026, 12, 31, 0, 0, 0, 0, time.UTC)))
	day, _ := a.On(eve.Date + 1)
	if math.Abs(eve.PCalendar-day.PCalendar) > 0.02 || eve.PCalendar < 0.2 {
		t.Errorf("the chance goes from %.2f on 31 December to %.2f the day after", eve.PCalendar, day.PCalendar)
	}
}

func TestAMidgeThatIsThereAllYearIsThereInWinter(t *testing.T) {
	at := time.Date(2026, 2, 3, 18, 0, 0, 0, time.UTC)
	store := inventStore(t, at, at, 5, 0, 4)
	r := beck
	r.Groups = []string{"midge-year-round"}
	o, _ := outlookOf(t, store, r, at)
	s := stageIn(t, o, "midge-year-round", Emergence)
	if !s.AllYear || s.Window.End.P50-s.Window.Start.P50 != 364 {
		t.Errorf("all year %t, window %s to %s", s.AllYear, s.Window.Start.P50, s.Window.End.P50)
	}
	for _, date := range []Date{o.IssueDate(), DateOf(time.Date(2026, 7, 15, 0, 0, 0, 0, time.UTC)), DateOf(time.Date(2026, 11, 20, 0, 0, 0, 0, time.UTC))} {
		if d, ok := s.On(date); !ok || d.PCalendar < 0.4 || d.PCalendar > 0.8 {
			t.Errorf("on %s: chance %.2f", date, d.PCalendar)
		}
	}
	if words := fmt.Sprint(s.Reasons); !strings.Contains(words, "all year") {
		t.Errorf("reasons %q", words)
	}
}

func TestSouthOfTheEquatorTheYearBeginsInJuly(t *testing.T) {
	r := beck
	r.Region, r.Lat, r.Lon, r.Zone = "nz-south", -45.2, 168.4, "Pacific/Auckland"
	for _, at := range []time.Time{time.Date(2025, 11, 20, 18, 0, 0, 0, time.UTC), time.Date(2026, 1, 20, 18, 0, 0, 0, time.UTC)} {
		store := southernStore(t, at, 5)
		o, _ := outlookOf(t, store, r, at)
		if got := o.YearStart().String(); got != "2025-07-01" || o.Water[0].Date != o.YearStart() || o.Heat[0].Since != o.YearStart() {
			t.Errorf("issued %s: the year begins %s, water %s, heat %s", at.Format(time.DateOnly), got, o.Water[0].Date, o.Heat[0].Since)
		}
		g := stageIn(t, o, "nz-pycnocentrodes", Emergence)
		w := g.Calendar
		if w.Start.P50.String() < "2025-10-01" || w.Peak.P50.String() < "2025-12-01" || w.End.P50.String() > "2026-04-15" || w.End.P50 <= w.Start.P50 {
			t.Errorf("issued %s: season %s, %s, %s", at.Format(time.DateOnly), w.Start.P50, w.Peak.P50, w.End.P50)
		}
		for _, s := range o.Stages {
			if g, ok := catalogue(t).Group(s.Group); !ok || !slices.Contains(g.Regions(), insects.NZSouth) {
				t.Errorf("%s is forecast in New Zealand", s.Group)
			}
		}
	}
}

func TestARegionOfTheOtherHemisphereIsRefused(t *testing.T) {
	r := beck
	r.Lat = -45.2
	if _, err := r.region(); err == nil || !strings.Contains(err.Error(), "hemisphere") {
		t.Errorf("got %v", err)
	}
}

func TestInsectsOfLakesStandOnNoRiversList(t *testing.T) {
	c := catalogue(t)
	r := River{Slug: "chalk", Region: "uk-lowland", Lat: 51.2, Lon: -1.5}
	all, err := chosen(r, c, insects.UKLowland)
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range all {
		if g.Habitat == insects.Still {
			t.Errorf("%s is an insect of lakes and ponds", g.Key)
		}
	}
	if len(all) < 40 {
		t.Errorf("only %d groups", len(all))
	}
	r.Groups = []string{"pond-olive"}
	if asked, err := chosen(r, c, insects.UKLowland); err != nil || len(asked) != 1 {
		t.Errorf("asked for by name: %d, %v", len(asked), err)
	}
}

func TestThePriorKnowsTheRiversHeight(t *testing.T) {
	c := catalogue(t)
	g, _ := c.Group("olive-upright")
	low, high := 150.0, 550.0
	w := &water{}
	for i := range w.climatology {
		w.climatology[i] = math.NaN()
	}
	r := River{Region: "british-upland", Lat: 55}
	r.ElevationM = &low
	a, _ := paramsAt(g, insects.BritishUpland, w.place(Record{}, r))
	r.ElevationM = &high
	b, _ := paramsAt(g, insects.BritishUpland, w.place(Record{}, r))
	if d := b.MedianDOY - a.MedianDOY; d < 12 || d > 14 {
		t.Errorf("400 m up moves the date by %.1f days", d)
	}
	r.ElevationM = nil
	u, _ := paramsAt(g, insects.BritishUpland, w.place(Record{}, r))
	if u.MedianDOY != a.MedianDOY || u.MedianSD <= a.MedianSD {
		t.Errorf("height unknown: day %.1f sd %.1f, where it is known %.1f sd %.1f", u.MedianDOY, u.MedianSD, a.MedianDOY, a.MedianSD)
	}
	if got, _ := paramsAt(g, insects.BritishUpland, w.place(Record{ElevationM: &high}, r)); got.MedianDOY != b.MedianDOY {
		t.Errorf("the gauge's height is not used")
	}
}
