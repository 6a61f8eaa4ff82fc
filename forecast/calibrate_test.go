package forecast

import (
	"context"
	"encoding/json"
	"math"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/db"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/phenology"
)

// seen is a sighting of the beck, two hours of watching.
func seen(day, group, stage string, a diary.Amount) diary.Sighting {
	t, err := time.Parse(time.DateOnly, day)
	if err != nil {
		panic(err)
	}
	return diary.Sighting{Day: t, River: beck.Slug, Group: group, Stage: stage, Amount: a, Hours: 2}
}

// drakes is a diary of two seasons of the beck in which the western green drake
// came on and about the given days of the year, and at no other time.
func drakes(days ...int) []diary.Sighting {
	var out []diary.Sighting
	for _, year := range []int{2024, 2025} {
		for d := 130; d <= 230; d += 5 {
			a := diary.None
			for _, on := range days {
				if d-on >= -2 && d-on <= 2 {
					a = diary.Many
				}
			}
			date := time.Date(year, 1, d, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
			out = append(out, seen(date, "western-green-drake", diary.Emergence, a))
		}
	}
	return out
}

// learnt teaches the beck, with three seasons of water or without any.
func learnt(t *testing.T, rec Record, sightings []diary.Sighting) Calibrations {
	t.Helper()
	l, not, err := rec.Calibrate(beck, catalogue(t), sightings)
	if err != nil || len(not) > 0 {
		t.Fatalf("not learnt: %v, error %v", not, err)
	}
	return l
}

// beckRecord is what is known of the beck at an issue.
func beckRecord(t *testing.T, issue time.Time) Record {
	t.Helper()
	rec, err := Gather(context.Background(), inventStore(t, issue, issue.Add(-time.Hour), 3, 0, 4), beck, issue)
	if err != nil {
		t.Fatal(err)
	}
	return rec
}

var lateAutumn = time.Date(2025, 11, 20, 12, 0, 0, 0, time.UTC)

func TestSightingsMoveTheOutlookTheirWay(t *testing.T) {
	rec := beckRecord(t, lateAutumn)
	bare := rec
	bare.Water = nil // no thermometer: the calendar alone is moved
	for _, c := range []struct {
		name string
		rec  Record
	}{{"with water", rec}, {"without water", bare}} {
		t.Run(c.name, func(t *testing.T) {
			none := learnt(t, c.rec, nil)
			if len(none) != 0 {
				t.Fatalf("an empty diary taught %v", none)
			}
			early, late := learnt(t, c.rec, drakes(155, 160, 165)), learnt(t, c.rec, drakes(205, 210, 215))
			e, l := early["western-green-drake"], late["western-green-drake"]
			if e.MovedDays > -8 || l.MovedDays < 8 {
				t.Errorf("the early diary moved the middle by %.1f days, the late one by %.1f", e.MovedDays, l.MovedDays)
			}
			for _, x := range []Calibration{e, l} {
				if x.Seasons != 2 || len(x.Shifts) != 1 || x.Shifts[0].Stage != Emergence || x.Shifts[0].Sightings != len(drakes()) {
					t.Fatalf("%+v", x)
				}
				if s := x.Shifts[0]; math.Abs(s.After[1]-s.Before[1]-x.MovedDays) > 1e-6 || !(s.After[0] < s.After[1] && s.After[1] < s.After[2]) {
					t.Errorf("windows %v and %v, moved %.1f", s.Before, s.After, x.MovedDays)
				}
			}
			// What was seen on about day 160 (from 1 January as 1) is where it now peaks.
			if p := e.Shifts[0].After[1]; math.Abs(p-159.5) > 8 {
				t.Errorf("seen about day 160, believed to peak on day %.0f", p+1)
			}
		})
	}
	// The outlook itself moves, and only the group that was watched for.
	peak := func(o *Outlook, group string) Date {
		for _, s := range o.Stages {
			if s.Group == group && s.Stage == Emergence {
				return s.Window.Peak.P50
			}
		}
		t.Fatalf("no %s", group)
		return 0
	}
	c := catalogue(t)
	before, err := rec.Outlook(beck, c, Options{Members: 40})
	if err != nil {
		t.Fatal(err)
	}
	after, err := rec.Outlook(beck, c, Options{Members: 40, Posterior: learnt(t, rec, drakes(155, 160, 165)).Apply})
	if err != nil {
		t.Fatal(err)
	}
	if moved := peak(after, "western-green-drake") - peak(before, "western-green-drake"); moved > -8 {
		t.Errorf("the outlook's peak moved by %d days", moved)
	}
	for i, s := range after.Stages {
		drake := s.Group == "western-green-drake"
		if told := strings.Contains(s.Grade, "sightings here (2 seasons)"); told != drake {
			t.Errorf("%s: grade %q", s.Group, s.Grade)
		}
		if s.Group == before.Stages[i].Group && !drake && s.Window != before.Stages[i].Window {
			t.Errorf("%s moved though nobody watched for it", s.Group)
		}
	}
}

func TestHavingSeenNothingCounts(t *testing.T) {
	rec := beckRecord(t, lateAutumn)
	p := learnt(t, rec, drakes())["western-green-drake"]
	all := drakes()
	g, _ := catalogue(t).Group("western-green-drake")
	w := &water{climatology: climatology(rec.Day0, rec.Water)}
	prior, _ := w.prior(g, insects.Rockies, w.place(rec, beck))
	if p.PeakChance > 0.6*prior.PeakChance {
		t.Errorf("42 times nothing: the chance on the peak day goes from %.2f to %.2f", prior.PeakChance, p.PeakChance)
	}
	// Nothing in the first half of the season makes it later; the same with the
	// second half earlier.
	middle := int(prior.Median(rec.wholeYear(2025, w.climatology))) + 1
	var first, second []diary.Sighting
	for _, s := range all {
		if d := s.Day.YearDay(); d < middle && d > middle-30 {
			first = append(first, s)
		} else if d > middle && d < middle+30 {
			second = append(second, s)
		}
	}
	if a, b := learnt(t, rec, first)["western-green-drake"].MovedDays, learnt(t, rec, second)["western-green-drake"].MovedDays; !(a > 1 && b < -1) {
		t.Errorf("nothing before the middle moved it by %.1f days, nothing after it by %.1f", a, b)
	}
}

func TestWhatIsNotOfThisRiverOrNotYetTeachesNothing(t *testing.T) {
	rec := beckRecord(t, time.Date(2025, 5, 1, 12, 0, 0, 0, time.UTC))
	want, err := json.Marshal(learnt(t, rec, drakes(160)[:21]))
	if err != nil {
		t.Fatal(err)
	}
	more := append(drakes(160), seen("2024-06-01", "western-green-drake", diary.Emergence, diary.Many), seen("2024-06-02", "western-green-drake", diary.Emergence, diary.Many))
	more[len(more)-1].River = "other"
	more[len(more)-2].Withdrawn = true
	got, err := json.Marshal(learnt(t, rec, more)) // those of 2025 come after the issue
	if err != nil || string(got) != string(want) {
		t.Errorf("learnt\n%s\nwant\n%s, %v", got, want, err)
	}
}

func TestWhatCannotBeLearntIsNamed(t *testing.T) {
	rec := beckRecord(t, lateAutumn)
	l, not, err := rec.Calibrate(beck, catalogue(t), append(drakes(160),
		seen("2024-06-01", "grene drake", diary.Emergence, diary.Few), seen("2024-06-02", "grene drake", diary.Emergence, diary.Few),
		seen("2024-06-01", "hexagenia", diary.Emergence, diary.Few)))
	if err != nil || len(l) != 1 {
		t.Fatalf("%d groups, %v", len(l), err)
	}
	if len(not) != 2 || not[1].Group != "hexagenia" || not[0].Group != "grene drake" || not[0].Sightings != 2 || not[0].Why == "" {
		t.Errorf("not learnt: %+v", not)
	}
	elsewhere := beck
	elsewhere.Region, elsewhere.Lat, elsewhere.Lon = "", -40, 170
	if _, _, err := rec.Calibrate(elsewhere, catalogue(t), drakes(160)); err == nil {
		t.Error("a river outside the catalogue's regions was taught")
	}
}

func TestSightingsOfAGroupWithBroodsGoToTheBrood(t *testing.T) {
	rec := beckRecord(t, lateAutumn)
	c := catalogue(t)
	g, ok := c.Group("callibaetis-first")
	if !ok || g.ParentKey == "" {
		t.Skip("the catalogue has no such brood any more")
	}
	w := &water{climatology: climatology(rec.Day0, rec.Water)}
	first, _ := w.prior(g, insects.Rockies, w.place(rec, beck))
	day := time.Date(2025, 1, int(first.MedianDOY), 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
	l := learnt(t, rec, []diary.Sighting{seen(day, g.ParentKey, diary.Emergence, diary.Many)})
	if _, ok := l[g.Key]; !ok || len(l) != 1 {
		t.Errorf("learnt of %v", l)
	}
}

// Winter midges fly over New Year: one seen in December belongs to the season
// whose middle lies in February, not to the one that ended in spring.
func TestADecemberSightingBelongsToTheComingSeason(t *testing.T) {
	rec := beckRecord(t, time.Date(2025, 12, 28, 12, 0, 0, 0, time.UTC))
	var xs []diary.Sighting
	for _, d := range []string{"2023-12-12", "2023-12-16", "2024-12-12", "2024-12-16", "2025-12-14"} {
		xs = append(xs, seen(d, "midge-winter", diary.Emergence, diary.Many))
	}
	l := learnt(t, rec, xs)["midge-winter"]
	if l.Seasons != 3 || l.MovedDays > 0 || l.MovedDays < -60 {
		t.Errorf("five Decembers' sightings: %d seasons, moved %.1f days", l.Seasons, l.MovedDays)
	}
}

func TestLessonsAreKeptByVersionAndNotKnownBeforeTheirTime(t *testing.T) {
	ctx := context.Background()
	d, err := db.OpenMigrated(ctx, "sqlite://"+filepath.Join(t.TempDir(), "e.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.Close() })
	day := func(n int) time.Time { return time.Date(2026, 3, n, 12, 0, 0, 0, time.UTC) }
	keep := func(n int, body string) {
		t.Helper()
		if _, err := db.AddCalibration(ctx, d.SQL, db.Calibration{River: "beck", Made: day(n), ModelVersion: ModelVersion, Body: body}); err != nil {
			t.Fatal(err)
		}
	}
	for n, moved := range []float64{10: -3, 20: -5} {
		if moved != 0 {
			body, err := json.Marshal(Calibrations{"drake": {MovedDays: moved}})
			if err != nil {
				t.Fatal(err)
			}
			keep(n, string(body))
		}
	}
	for _, c := range []struct {
		river string
		at    time.Time
		want  float64
	}{{"beck", day(9), 0}, {"beck", day(10), -3}, {"beck", day(19), -3}, {"beck", day(21), -5}, {"other", day(21), 0}} {
		l, err := CalibrationsAsOf(ctx, d.SQL, c.river, c.at)
		if err != nil || l["drake"].MovedDays != c.want || (c.want == 0) != (l == nil) {
			t.Errorf("%s on %s: %v, %v, want %v", c.river, c.at.Format(time.DateOnly), l, err, c.want)
		}
	}
	keep(22, "{")
	if _, err := CalibrationsAsOf(ctx, d.SQL, "beck", day(23)); err == nil || !strings.Contains(err.Error(), "version 3") {
		t.Errorf("a damaged version: %v", err)
	}
}

func TestAGroupWithoutLessonsKeepsItsPrior(t *testing.T) {
	g, _ := catalogue(t).Group("salmonfly")
	p, ok := phenology.FromGroup(g, insects.Rockies)
	if !ok {
		t.Fatal("no salmonfly")
	}
	l := Calibrations{"western-green-drake": {DD50: 1}}
	if l.Apply("salmonfly", p) != p || Calibrations(nil).Apply("salmonfly", p) != p {
		t.Error("a group that nobody watched for changed")
	}
}
