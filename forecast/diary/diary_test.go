package diary

import (
	"bytes"
	"errors"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
)

var now = time.Date(2026, 10, 1, 12, 0, 0, 0, time.UTC)

func day(s string) time.Time {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		panic(err)
	}
	return t
}

func sighting() Sighting {
	temp := 8.5
	return Sighting{
		Day: day("2026-09-20"), River: "wend", Group: "large-orange-fall-caddis", Stage: EggLaying, Amount: Few,
		Hours: 1.5, WaterC: &temp, Notes: "at dusk, \"clumsy\"", Observer: "K",
	}
}

// store returns a diary whose clock moves a second with each look.
func store(d *db.DB) *Store {
	clock := now
	return &Store{DB: d, Now: func() time.Time { clock = clock.Add(time.Second); return clock }}
}

func TestACorrectionKeepsWhatStoodBefore(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		ctx, s := t.Context(), store(d)
		first, err := s.Add(ctx, sighting())
		if err != nil {
			t.Fatal(err)
		}
		second := first
		second.Amount = Many
		if second, err = s.Revise(ctx, second); err != nil || second.Revision != 2 {
			t.Fatalf("revision %d, err %v", second.Revision, err)
		}
		if again, err := s.Revise(ctx, second); err != nil || again.Revision != 2 {
			t.Errorf("revising to the same: revision %d, err %v", again.Revision, err)
		}
		if err := s.Withdraw(ctx, first.ID); err != nil {
			t.Fatal(err)
		}
		h, err := s.History(ctx, first.ID)
		if err != nil || len(h) != 3 || !h[2].Withdrawn {
			t.Fatalf("history %+v, err %v", h, err)
		}
		for name, c := range map[string]struct {
			asOf time.Time
			want []Sighting
		}{
			"now":                        {time.Time{}, []Sighting{}},
			"after the correction":       {second.Recorded, []Sighting{second}},
			"before the correction":      {first.Recorded, []Sighting{first}},
			"before it was put down":     {now, []Sighting{}},
			"after it was all withdrawn": {h[2].Recorded, []Sighting{}},
		} {
			got, err := s.List(ctx, Filter{AsOf: c.asOf})
			if diff := cmp.Diff(c.want, got); diff != "" || err != nil {
				t.Errorf("%s: %s %v", name, diff, err)
			}
		}
		if err := s.Withdraw(ctx, "nobody"); !errors.Is(err, db.ErrNotFound) {
			t.Errorf("withdrawing what is not there: %v", err)
		}
	})
}

func TestListFiltersByRiverGroupStageAndDate(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		ctx, s := t.Context(), store(d)
		a, b := sighting(), sighting()
		b.River, b.Day, b.Group, b.Stage, b.Amount, b.WaterC = "garrow", day("2026-09-21"), "blue-winged-olive", Emergence, None, nil
		for _, x := range []*Sighting{&a, &b} {
			var err error
			if *x, err = s.Add(ctx, *x); err != nil {
				t.Fatal(err)
			}
		}
		for name, c := range map[string]struct {
			f    Filter
			want []Sighting
		}{
			"no filter, nothing seen counts":     {Filter{}, []Sighting{a, b}},
			"by river":                           {Filter{River: "garrow"}, []Sighting{b}},
			"by group":                           {Filter{Group: a.Group}, []Sighting{a}},
			"by stage":                           {Filter{Stage: Emergence}, []Sighting{b}},
			"from a date, inclusive":             {Filter{From: b.Day}, []Sighting{b}},
			"to a date, exclusive":               {Filter{To: b.Day}, []Sighting{a}},
			"a river without sightings is empty": {Filter{River: "little-ash"}, []Sighting{}},
		} {
			got, err := s.List(ctx, c.f)
			if diff := cmp.Diff(c.want, got); diff != "" || err != nil {
				t.Errorf("%s: %s %v", name, diff, err)
			}
		}
	})
}

func TestImportingAFileAgainChangesOnlyWhatChangedInIt(t *testing.T) {
	const head = "date,river,group,stage,amount,hours,observer\n"
	const two = "2026-09-20,wend,caddis,egg-laying,none,2,K\n2026-09-20,wend,caddis,egg-laying,few,1,K\n"
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		ctx, s := t.Context(), store(d)
		for _, c := range []struct {
			name, csv string
			want      Imported
		}{
			{"first time, two watches of one evening", head + two, Imported{Added: 2}},
			{"the same again", head + two, Imported{Unchanged: 2}},
			{"one cell changed and a line more", head + strings.Replace(two, "few", "many", 1) + "2026-09-21,wend,caddis,emergence,few,1,K\n", Imported{Added: 1, Revised: 1, Unchanged: 1}},
		} {
			xs, err := ReadCSV(strings.NewReader(c.csv), Reading{File: "f.csv", Now: now})
			if err != nil {
				t.Fatal(err)
			}
			got, err := s.Import(ctx, xs)
			if err != nil || got != c.want {
				t.Errorf("%s: %+v, err %v, want %+v", c.name, got, err, c.want)
			}
		}
		// One bad sighting refuses the whole import.
		bad := sighting()
		bad.Hours = 0
		if _, err := s.Import(ctx, []Sighting{sighting(), bad}); err == nil {
			t.Error("an import with a fault was taken")
		}
		if all, _ := s.List(ctx, Filter{}); len(all) != 3 {
			t.Errorf("%d sightings, want 3", len(all))
		}
	})
}

func TestExportReadsBackTheSame(t *testing.T) {
	a, b := sighting(), sighting()
	a.ID, b.ID, b.WaterC, b.Notes, b.Observer = "a1", "b2", nil, "two\nlines; =1+1", ""
	want := []Sighting{a, b}
	var buf bytes.Buffer
	if err := WriteCSV(&buf, want); err != nil {
		t.Fatal(err)
	}
	got, err := ReadCSV(&buf, Reading{File: "f.csv", Now: now})
	if diff := cmp.Diff(want, got); diff != "" || err != nil {
		t.Error(diff, err)
	}
}

func TestFaultsOfAFileNameLineAndField(t *testing.T) {
	const head = "date,group,stage,amount,hours,water_temp_c\n"
	for name, c := range map[string]struct {
		csv  string
		want []string
	}{
		"an empty file":           {"", []string{"f.csv: empty file"}},
		"an unknown column":       {"date,bug\n", []string{`f.csv, line 1: unknown column "bug"`}},
		"a column twice":          {"date,date\n", []string{"line 1", "twice"}},
		"a missing column":        {"date,group,stage,hours\n", []string{`line 1: column "amount" is missing`}},
		"both temperature units":  {"date,group,stage,amount,hours,water_temp_c,water_temp_f\n", []string{"keep one"}},
		"a date in another order": {head + "30.06.2026,bwo,emergence,few,1,\n", []string{`f.csv, line 2: date: "30.06.2026"`}},
		"a date to come":          {head + "2026-12-01,bwo,emergence,few,1,\n", []string{"line 2: date: 2026-12-01 is in the future"}},
		"two faults on two lines": {head + "2026-06-01,bwo,hatching,few,1,\n2026-06-01,bwo,emergence,lots,1,\n",
			[]string{`line 2: stage: "hatching"`, `line 3: amount: "lots"`}},
		"two faults on one line":      {head + "2026-06-01,bwo,emergence,few,0,55\n", []string{"line 2: hours: 0", "line 2: water temperature: 55.0 °C"}},
		"hours that are no number":    {head + "2026-06-01,bwo,emergence,few,two,\n", []string{`line 2: hours: "two" is not a number`}},
		"hours that are not a number": {head + "2026-06-01,bwo,emergence,few,NaN,\n", []string{`line 2: hours: NaN`}},
		"a short line":                {head + "2026-06-01,bwo\n2026-06-01,bwo,emergence,few,x,\n", []string{"line 2: wrong number of fields", "line 3: hours"}},
		"a stray quote":               {head + "\n2026-06-01,b\"wo,emergence,few,1,\n", []string{"line 3", "bare"}},
		"a line after one with two":   {head + "2026-06-01,\"b\nwo\",emergence,few,1,\n", []string{`line 2: group: "b\nwo" contains non-text characters`}},
		"an id that is not ours":      {"id," + head + "../x,2026-06-01,bwo,emergence,few,1,\n", []string{"line 2: id:"}},
	} {
		_, err := ReadCSV(strings.NewReader(c.csv), Reading{File: "f.csv", River: "wend", Now: now})
		if err == nil {
			t.Errorf("%s: no error", name)
			continue
		}
		for _, w := range c.want {
			if !strings.Contains(err.Error(), w) {
				t.Errorf("%s: %q is missing from: %v", name, w, err)
			}
		}
		if strings.Contains(name, "no number") && strings.Count(err.Error(), "hours") != 1 {
			t.Errorf("%s: told twice: %v", name, err)
		}
	}
}

func TestAFileFromASpreadsheetIsRead(t *testing.T) {
	csv := "\ufeffDate, Group, Stage, Amount, Hours, Water_temp_F\r\n2026-06-01, Blue Dun, Emergence, FEW, 2, 50\r\n"
	got, err := ReadCSV(strings.NewReader(csv), Reading{File: "f.csv", River: "wend", Observer: "K", Now: now,
		Group: func(s string) (string, error) { return "blue-winged-olive", nil }})
	ten := 10.0
	want := []Sighting{{Day: day("2026-06-01"), River: "wend", Group: "blue-winged-olive", Stage: Emergence, Amount: Few, Hours: 2, WaterC: &ten, Observer: "K"}}
	if diff := cmp.Diff(want, got, cmpopts.EquateApprox(0, 1e-9)); diff != "" || err != nil {
		t.Error(diff, err)
	}
}

func FuzzReadCSV(f *testing.F) {
	f.Add("date,river,group,stage,amount,hours,water_temp_c,notes,observer,id\n2026-06-01,wend,bwo,emergence,none,2,9.5,\"a \"\"b\"\"\nc\",K,ab12\n")
	f.Add("\ufeffdate,group,stage,amount,hours\n2026-06-01,bwo,egg-laying,many,1e1\n")
	f.Add("date,group\n\"")
	f.Fuzz(func(t *testing.T, csv string) {
		xs, err := ReadCSV(strings.NewReader(csv), Reading{File: "f", River: "wend", Now: now})
		if err != nil {
			return
		}
		for i, x := range xs {
			if err := x.Check(now); err != nil {
				t.Fatalf("read but faulty: %v", err)
			}
			xs[i].Notes = tidy(x.Notes)
		}
		var buf bytes.Buffer
		if err := WriteCSV(&buf, xs); err != nil {
			t.Fatal(err)
		}
		again, err := ReadCSV(&buf, Reading{File: "f", River: "wend", Now: now})
		if diff := cmp.Diff(xs, again, cmpopts.EquateEmpty()); diff != "" || err != nil {
			t.Fatal(diff, err)
		}
	})
}
