package forecast

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast/diary"
)

var midMay = time.Date(2025, 5, 20, 12, 0, 0, 0, time.UTC)

// saw is a sighting of two hours at the beck.
func saw(day, group string, stage Stage, a diary.Amount) Sighting {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err)
	}
	return Sighting{River: beck.Slug, Group: group, Stage: stage, Day: DateOf(t), Amount: a, Hours: 2}
}

// peaks are the median dates of an outlook's stages, by group and stage.
func peaks(t *testing.T, rec Record, r River, sightings ...Sighting) map[string]StageOutlook {
	t.Helper()
	o, err := rec.Outlook(r, catalogue(t), Options{Members: 200, Sightings: sightings})
	if err != nil {
		t.Fatal(err)
	}
	out := map[string]StageOutlook{}
	for _, s := range o.Stages {
		out[s.Group+" "+string(s.Stage)] = s
	}
	return out
}

const drake = "western-green-drake emergence"

func TestOneSightingOfAnyGroupMovesTheOutlook(t *testing.T) {
	rec := beckRecord(t, midMay)
	r := beck
	r.Groups = []string{"western-green-drake", "salmonfly"}
	plain := peaks(t, rec, r)[drake]
	usual := peaks(t, rec, r)["salmonfly emergence"].Calendar.Peak.P50.Time()
	day := func(n int) string { return usual.AddDate(0, 0, n).Format(time.DateOnly) }
	for _, x := range []struct {
		name  string
		seen  Sighting
		later bool
	}{
		{"many of another, early", saw("2025-05-12", "salmonfly", Emergence, diary.Many), false},
		{"many of the same, early", saw("2025-05-15", "western-green-drake", Emergence, diary.Many), false},
	} {
		got := peaks(t, rec, r, x.seen)[drake]
		moved := int(got.Window.Peak.P50 - plain.Window.Peak.P50)
		if moved > 0 != x.later || moved == 0 {
			t.Errorf("%s moved the drake by %d days (salmonfly usually %s)", x.name, moved, day(0))
		}
		if len(got.MovedBy) != 1 || (got.MovedBy[0].Days > 0) != x.later || got.MovedBy[0].Sightings != 1 {
			t.Errorf("%s: moved by %+v", x.name, got.MovedBy)
		}
		if math.Abs(got.MovedBy[0].Days) >= leastMove && !strings.Contains(fmt.Sprint(got.Reasons), "1 sighting") {
			t.Errorf("%s: reasons %q", x.name, got.Reasons)
		}
		if got.Calendar.Peak.P50 != plain.Calendar.Peak.P50 {
			t.Errorf("%s: the calendar moved", x.name)
		}
	}
	// "None yet" where some were due makes it later.
	late := beckRecord(t, plain.Window.Peak.P50.Time().Add(12*time.Hour))
	before := peaks(t, late, r)[drake]
	var none []Sighting
	for d := range 5 {
		none = append(none, saw((late.Issue-Date(9-2*d)).Time().Format(time.DateOnly), "western-green-drake", Emergence, diary.None))
	}
	if got := peaks(t, late, r, none...)[drake]; got.Window.Peak.P50 <= before.Window.Peak.P50 {
		t.Errorf("none seen by its usual peak: %s, before %s", got.Window.Peak.P50, before.Window.Peak.P50)
	}
}

// What is written of days from the issue on, or written down after it, was not
// known.
func TestSightingsAfterTheIssueMoveNothing(t *testing.T) {
	rec := beckRecord(t, midMay)
	r := beck
	r.Groups = []string{"western-green-drake"}
	plain := peaks(t, rec, r)[drake]
	known := saw("2025-05-19", "western-green-drake", Emergence, diary.Many)
	for name, change := range map[string]func(*Sighting){
		"of the day of issue":          func(s *Sighting) { s.Day = rec.Issue },
		"of the week after":            func(s *Sighting) { s.Day = rec.Issue + 7 },
		"written down after the issue": func(s *Sighting) { s.Recorded = rec.IssuedAt.Add(time.Minute) },
		"of a river far away":          func(s *Sighting) { s.River = "another" },
	} {
		s := known
		change(&s)
		if got := peaks(t, rec, r, s)[drake]; got.Window != plain.Window {
			t.Errorf("a sighting %s moved the window", name)
		}
	}
	if got := peaks(t, rec, r, known)[drake]; got.Window == plain.Window {
		t.Error("a sighting of the day before moved nothing: the test sees nothing")
	}
}

func TestARiverNearByMovesTheOutlookAndOneFarAwayDoesNot(t *testing.T) {
	rec := beckRecord(t, midMay)
	r := beck
	r.Groups = []string{"western-green-drake"}
	plain := peaks(t, rec, r)[drake]
	seen := saw("2025-05-10", "western-green-drake", Emergence, diary.Many)
	seen.River = "garrow"
	move := func(km float64) float64 {
		near := River{Slug: "garrow", Name: "Garrow", Region: beck.Region, Zone: beck.Zone, Lat: beck.Lat + km/111, Lon: beck.Lon}
		r.Near = []River{r, near}
		got := peaks(t, rec, r, seen)[drake]
		if len(got.MovedBy) == 1 && got.MovedBy[0].River != "Garrow" {
			t.Errorf("moved by %+v", got.MovedBy)
		}
		if reasons := fmt.Sprint(got.Reasons); km < 100 && !strings.Contains(reasons, "because Garrow reported hatching of western green drake on 10 May") {
			t.Errorf("reasons %q", reasons)
		}
		return float64(got.Window.Peak.P50 - plain.Window.Peak.P50)
	}
	near, far, beyond := move(10), move(150), move(3000)
	if !(near < 0 && far <= 0 && near <= far && beyond == 0) {
		t.Errorf("many on 10 May move it by %g days from 10 km, %g from 150 km and %g from 3000 km", near, far, beyond)
	}
}

func TestPastSeasonsOfTheDiaryMoveTheUsualDate(t *testing.T) {
	rec := beckRecord(t, time.Date(2025, 11, 20, 12, 0, 0, 0, time.UTC))
	r := beck
	r.Groups = []string{"western-green-drake"}
	plain := peaks(t, rec, r)[drake]
	var diaryOf []Sighting
	for _, year := range []string{"2024", "2025"} {
		for d := 130; d <= 230; d += 4 {
			a := diary.None
			if d >= 142 && d <= 158 {
				a = diary.Many
			}
			first, _ := time.Parse(time.DateOnly, year+"-01-01")
			diaryOf = append(diaryOf, saw(first.AddDate(0, 0, d).Format(time.DateOnly), "western-green-drake", Emergence, a))
		}
	}
	got := peaks(t, rec, r, diaryOf...)[drake]
	seen := float64(date1(2026) + 150)
	was, is := float64(plain.Window.Peak.P50)-seen, float64(got.Window.Peak.P50)-seen
	if math.Abs(is) > 0.6*math.Abs(was) || math.Abs(is) > 15 {
		t.Errorf("seen about 31 May in two years: forecast %+.0f days off, %+.0f without the diary", is, was)
	}
	wide := func(s StageOutlook) Date { return s.Window.Peak.P90 - s.Window.Peak.P10 }
	if wide(got) >= wide(plain) {
		t.Errorf("the peak is known to %d days with two seasons seen, %d without", wide(got), wide(plain))
	}
	if got.Grade != "sightings:2" || (got.Calendar.Peak.P50 < plain.Calendar.Peak.P50) != (was > 0) {
		t.Errorf("grade %q, calendar %s, before %s", got.Grade, got.Calendar.Peak.P50, plain.Calendar.Peak.P50)
	}
}
