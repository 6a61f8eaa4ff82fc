package archive_test

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/klauspost/compress/zstd"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/series"
)

var issue = time.Date(2026, 5, 18, 12, 0, 0, 123000, time.UTC)

func outlook(at time.Time, p float64) *forecast.Outlook {
	normal := 8.25
	o := &forecast.Outlook{
		River: "wend", RiverName: "Wend", Zone: "America/Los_Angeles", IssuedAt: at, DataCutoff: at.Add(-time.Hour), ModelVersion: "1",
		Members: 200, Seasons: 8, Notes: []forecast.Remark{{Code: forecast.OldReading, Days: 3}},
		Water: []forecast.WaterDay{{Date: forecast.DateOf(at), P10: 7, P50: 8, P90: 9.12, Climatology: &normal}},
	}
	for _, s := range forecast.Stages {
		x := forecast.StageOutlook{Group: "march-brown", Name: "March brown", Stage: s, Fishable: true}
		days := make([]forecast.Day, 365)
		for d := range days {
			days[d] = forecast.Day{Date: forecast.DateOf(at) + forecast.Date(d), P: p / float64(d+1), PCalendar: 1.0 / 3}
		}
		x.Days = forecast.DaysOf(days)
		x.Window.Peak.P50 = forecast.DateOf(at) + 3
		o.Stages = append(o.Stages, x)
	}
	return o
}

func open(t *testing.T, d *db.DB) (*archive.Archive, string) {
	t.Helper()
	dir := t.TempDir()
	f, err := series.OpenFiles(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	return archive.New(d, f), dir
}

func TestWhatWasIssuedComesBackAsItWas(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		a, _ := open(t, d)
		var want []*forecast.Outlook
		for day := range 3 {
			o := outlook(issue.AddDate(0, 0, day), 0.7)
			want = append(want, o)
			for range 2 { // saving again does nothing
				if err := a.Save(t.Context(), o, issue); err != nil {
					t.Fatal(err)
				}
			}
		}
		got, err := a.Load(t.Context(), "wend", issue.AddDate(0, 0, 1), "1")
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want[1], got); diff != "" {
			t.Error(diff)
		}
		got, err = a.Latest(t.Context(), "wend", issue.AddDate(0, 0, 2).Add(-time.Microsecond))
		if err != nil || !got.IssuedAt.Equal(want[1].IssuedAt) {
			t.Errorf("latest as of a microsecond before the third: %v, %v", got, err)
		}
		heads, err := a.List(t.Context(), "wend", issue, issue.AddDate(0, 0, 2))
		if err != nil || len(heads) != 2 || heads[0].RiverName != "Wend" || !heads[0].Issued.Equal(issue) {
			t.Errorf("%v, %v", heads, err)
		}
		if ok, err := a.Issued(t.Context(), "wend", issue, "2"); ok || err != nil {
			t.Errorf("another model version: %v, %v", ok, err)
		}
	})
}

func TestAnIssuedOutlookNeverChanges(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		a, _ := open(t, d)
		if err := a.Save(t.Context(), outlook(issue, 0.7), issue); err != nil {
			t.Fatal(err)
		}
		if err := a.Save(t.Context(), outlook(issue, 0.71), issue); !errors.Is(err, archive.ErrChanged) {
			t.Errorf("other content gives %v", err)
		}
		got, err := a.Load(t.Context(), "wend", issue, "1")
		if err != nil || got.Stages[0].Days.At(0).P != 0.7 {
			t.Errorf("the refused one left its mark: %v", err)
		}
	})
}

func TestAFileWithoutARowWasNotIssued(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		a, _ := open(t, d)
		s, err := a.Put(t.Context(), outlook(issue, 0.7))
		if err != nil {
			t.Fatal(err)
		}
		stop := errors.New("killed here")
		if err := d.Tx(t.Context(), func(tx *db.Tx) error {
			return errors.Join(a.Record(t.Context(), tx, s, issue), stop)
		}); !errors.Is(err, stop) {
			t.Fatal(err)
		}
		if _, err := a.Latest(t.Context(), "wend", issue); !errors.Is(err, archive.ErrNotFound) {
			t.Errorf("it is found: %v", err)
		}
	})
}

func TestADamagedFileIsRefused(t *testing.T) {
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	a, dir := open(t, d)
	if err := a.Save(t.Context(), outlook(issue, 0.7), issue); err != nil {
		t.Fatal(err)
	}
	files, _ := filepath.Glob(filepath.Join(dir, "outlooks", "wend", "2026", "*.outlook.gz"))
	if len(files) != 1 {
		t.Fatalf("files: %v", files)
	}
	good, err := os.ReadFile(files[0])
	if err != nil {
		t.Fatal(err)
	}
	for i := 0; i < len(good); i += 1 + len(good)/50 {
		bad := append([]byte(nil), good...)
		bad[i] ^= 0x10
		if err := os.WriteFile(files[0], bad, 0o600); err != nil {
			t.Fatal(err)
		}
		// Four bytes of the frame are a checksum of its own, which nothing needs.
		if got, err := a.Latest(t.Context(), "wend", issue); err == nil {
			if diff := cmp.Diff(outlook(issue, 0.7), got); diff != "" {
				t.Errorf("bit flipped in byte %d of %d goes unnoticed", i, len(good))
			}
		}
	}
	t.Logf("%d bytes for %d days", len(good), 2*365)
}

func TestAnOutlookOfAnOlderVersionIsStillRead(t *testing.T) {
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	a, dir := open(t, d)
	want := outlook(issue, 0.7)
	text, err := json.Marshal(want)
	if err != nil {
		t.Fatal(err)
	}
	pack, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	name := "outlooks/wend/2026/old.json.zst"
	if err := os.MkdirAll(filepath.Join(dir, filepath.Dir(name)), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, name), pack.EncodeAll(text, nil), 0o600); err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(text)
	if err := d.Tx(t.Context(), func(tx *db.Tx) error {
		return db.AddOutlook(t.Context(), tx, db.Outlook{River: "wend", Issued: issue, ModelVersion: "1", CutOff: want.DataCutoff,
			SHA256: hex.EncodeToString(sum[:]), Body: "{}", Artefact: name})
	}); err != nil {
		t.Fatal(err)
	}
	got, err := a.Load(t.Context(), "wend", issue, "1")
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}
