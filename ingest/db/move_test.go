package db_test

import (
	"math"
	"os"
	"runtime"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
)

// fill puts rows into every kind of column: text with the order that collations
// differ in, numbers at their bounds, a missing number.
func fill(t *testing.T, d *db.DB) {
	t.Helper()
	at := time.Date(2026, 5, 18, 12, 0, 0, 123456000, time.UTC)
	for _, river := range []string{"wend", "Wend", "w-end", "wénd", "w end", "ß", "", "a,b\n\"c\""} {
		if err := db.AddOutlook(t.Context(), d.SQL, db.Outlook{River: river, Issued: at, ModelVersion: "1", Artefact: river, SHA256: "x", Body: `{"a": 1}`}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := d.Key(t.Context(), "links", at); err != nil {
		t.Fatal(err)
	}
	for i, v := range []any{nil, 0.1, math.MaxFloat64, -1e-300, 11.25} {
		if _, err := d.SQL.Exec(`INSERT INTO sighting (id, revision, day, river, grp, stage, amount, hours, water_c, notes, observer, withdrawn, recorded_at)
			VALUES ($1, 1, '2026-05-01', 'wend', 'g', 'emergence', 'few', 2.5, $2, '', '', 0, $3)`, string(rune('a'+i)), v, int64(math.MaxInt64)-int64(i)); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := d.SQL.Exec(`INSERT INTO person (id, address, folded, state, zone, units, quiet_from, quiet_to, wake_for_3, per_day, wording, confirmed_at, confirmed_from, paused_until, suppressed)
		VALUES ('p', 'A@example.org', 'a@example.org', 'active', 'UTC', 'us', 0, 0, 1, 6, '1', 1, 'n', 0, '')`); err != nil {
		t.Fatal(err)
	}
	if _, err := d.SQL.Exec(`INSERT INTO subscription (id, person_id, river, group_list, stage_list, threshold, horizon_days, cadence, cautions, created_at)
		VALUES ('s', 'p', 'wend', '', '', 0.5, 14, 'now', 1, 1)`); err != nil {
		t.Fatal(err)
	}
	// A table that a migration renamed.
	if _, err := d.SQL.Exec(`INSERT INTO published_caution (river, level, known, published_at) VALUES ('wend', 2, 1, 1)`); err != nil {
		t.Fatal(err)
	}
}

func TestMoveCopiesEveryRowOfEveryTable(t *testing.T) {
	to := dbtest.Open(t, dbtest.PostgresURL(t))
	from := dbtest.Open(t, dbtest.SQLiteURL(t))
	fill(t, from)
	if _, err := to.Key(t.Context(), "links", time.Now()); err != nil { // a process was started there before
		t.Fatal(err)
	}
	rows := map[string]int{}
	if err := db.Move(t.Context(), from, to, time.Now(), func(m db.Moved) { rows[m.Table] = m.Rows }); err != nil {
		t.Fatal(err)
	}
	if rows["outlook"] != 8 || rows["sighting"] != 5 || rows["subscription"] != 1 || rows["published_caution"] != 1 || len(rows) < 16 {
		t.Errorf("%v", rows)
	}
	a, _ := from.Key(t.Context(), "links", time.Now())
	b, _ := to.Key(t.Context(), "links", time.Now())
	if string(a) != string(b) || len(a) != 32 {
		t.Error("the key of the links differs: old unsubscribe links would be dead")
	}
	if err := db.Move(t.Context(), from, to, time.Now(), nil); err == nil || !strings.Contains(err.Error(), "empty database") {
		t.Errorf("a second move: %v", err)
	}
}

func TestASnapshotIsWholeWhileTheDatabaseIsInUse(t *testing.T) {
	url := dbtest.SQLiteURL(t)
	d := dbtest.Open(t, url)
	fill(t, d)
	into := url + ".copy"
	if err := db.Snapshot(t.Context(), url, into); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(into); err != nil || runtime.GOOS != "windows" && info.Mode().Perm() != 0o600 {
		t.Errorf("the copy is not its owner's alone: %v, %v", info, err)
	}
	c := dbtest.Open(t, into)
	var n int
	if err := c.SQL.QueryRow("SELECT COUNT(*) FROM sighting").Scan(&n); err != nil || n != 5 {
		t.Errorf("%d, %v", n, err)
	}
	if err := db.Snapshot(t.Context(), url, into); err == nil {
		t.Error("a file was written over")
	}
	if err := db.Snapshot(t.Context(), url+"x", into+"2"); err == nil {
		t.Error("a database that is not there was copied")
	}
}
