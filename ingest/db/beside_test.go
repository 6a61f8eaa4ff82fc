package db_test

import (
	"context"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
)

// server opens a new database as eclose serve does.
func server(t *testing.T) (url string, d *db.DB) {
	t.Helper()
	url = dbtest.SQLiteURL(t)
	d, err := db.OpenToServe(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return url, d
}

func opened(t *testing.T, open func(context.Context, string) (*db.DB, error), url string) *db.DB {
	t.Helper()
	d, err := open(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}

func put(ctx context.Context, q db.Querier, name string) error {
	return db.PutArtefact(ctx, q, db.Artefact{Name: name, SHA256: "00", Made: noon})
}

func names(t *testing.T, d *db.DB) (out []string) {
	t.Helper()
	rows, err := d.SQL.QueryContext(t.Context(), "SELECT name FROM artefact ORDER BY name")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	for rows.Next() {
		var name string
		if err := rows.Scan(&name); err != nil {
			t.Fatal(err)
		}
		out = append(out, name)
	}
	return out
}

func TestAReaderSeesWhatTheServerWroteAndWaitsForNobody(t *testing.T) {
	url, d := server(t)
	r := opened(t, db.OpenReader, url)
	if err := d.Tx(t.Context(), func(tx *db.Tx) error { // reading while it writes
		if err := put(t.Context(), tx, "a"); err != nil {
			return err
		}
		if got := names(t, r); len(got) != 0 {
			t.Errorf("read before the commit: %v", got)
		}
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	if got := names(t, r); len(got) != 1 {
		t.Errorf("after the commit: %v", got)
	}
	if err := put(t.Context(), r.SQL, "b"); err == nil {
		t.Error("a reader wrote")
	}
}

func TestAReaderMakesNoDatabase(t *testing.T) {
	url := dbtest.SQLiteURL(t)
	if _, err := db.OpenReader(t.Context(), url); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("error %v", err)
	}
	if found, _ := filepath.Glob(url + "*"); len(found) != 0 {
		t.Errorf("it left %v", found)
	}
}

func TestASecondCommandWritesThroughTheServer(t *testing.T) {
	url, d := server(t)
	w := opened(t, db.OpenWriter, url)
	ctx := t.Context()
	if err := w.Tx(ctx, func(tx *db.Tx) error { return put(ctx, tx, "kept") }); err != nil {
		t.Fatal(err)
	}
	boom := errors.New("boom")
	if err := w.Tx(ctx, func(tx *db.Tx) error { return errors.Join(put(ctx, tx, "undone"), boom) }); !errors.Is(err, boom) {
		t.Error(err)
	}
	if got := names(t, d); len(got) != 1 || got[0] != "kept" {
		t.Errorf("%v", got)
	}
	if err := put(ctx, w.SQL, "alone"); err != nil { // outside a transaction
		t.Error(err)
	}
	if _, err := w.SQL.ExecContext(ctx, "INSERT INTO nothing VALUES (1)"); err == nil || !strings.Contains(err.Error(), "nothing") {
		t.Errorf("a wrong statement: %v", err)
	}
	if got := names(t, w); len(got) != 2 { // the connection is of use after an error
		t.Errorf("%v", got)
	}
}

// Every kind of value passes unchanged, and more rows than go into one answer.
func TestValuesPassTheServerUnchanged(t *testing.T) {
	url, _ := server(t)
	w := opened(t, db.OpenWriter, url)
	for _, v := range []any{nil, int64(math.MinInt64), 0.1, "ß\x00x", []byte{0, 1, 255}, int64(0), ""} {
		var got any
		if err := w.SQL.QueryRowContext(t.Context(), "SELECT $1", v).Scan(&got); err != nil || fmt.Sprintf("%T %v", got, got) != fmt.Sprintf("%T %v", v, v) {
			t.Errorf("%T %v came back as %T %v, %v", v, v, got, got, err)
		}
	}
	rows, err := w.SQL.QueryContext(t.Context(), "WITH RECURSIVE n(i) AS (SELECT 1 UNION ALL SELECT i + 1 FROM n WHERE i < 1501) SELECT i FROM n")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	sum, n := 0, 0
	for rows.Next() {
		var i int
		if err := rows.Scan(&i); err != nil {
			t.Fatal(err)
		}
		sum, n = sum+i, n+1
		if n == 700 { // leaving early must not confuse the next question
			break
		}
	}
	rows.Close()
	if sum != 700*701/2 || rows.Err() != nil {
		t.Errorf("%d rows, sum %d, %v", n, sum, rows.Err())
	}
	var one int
	if err := w.SQL.QueryRowContext(t.Context(), "SELECT 41 + 1").Scan(&one); err != nil || one != 42 {
		t.Errorf("%d, %v", one, err)
	}
}

func TestAGuestThatDiesLeavesNothingHalfDone(t *testing.T) {
	url, d := server(t)
	w := opened(t, db.OpenWriter, url)
	tx, err := w.SQL.BeginTx(t.Context(), nil)
	if err != nil {
		t.Fatal(err)
	}
	if err := put(t.Context(), tx, "half"); err != nil {
		t.Fatal(err)
	}
	dying, die := context.WithCancel(t.Context())
	die()
	if _, err := tx.ExecContext(dying, "SELECT 1"); err == nil {
		t.Fatal("a cancelled statement succeeded")
	}
	_ = tx.Rollback()
	if err := put(t.Context(), d.SQL, "next"); err != nil { // waits until the guest is gone
		t.Fatal(err)
	}
	if got := names(t, d); len(got) != 1 || got[0] != "next" {
		t.Errorf("%v", got)
	}
}

func TestTheServerLeavesNothingBehindAndTheNextOneOpens(t *testing.T) {
	url, d := server(t)
	if _, err := os.Stat(url + ".sock"); err != nil {
		t.Error(err)
	}
	if _, err := db.OpenToServe(t.Context(), url); !errors.Is(err, db.ErrInUse) {
		t.Errorf("a second server: %v", err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(url + ".sock"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("the socket is still there: %v", err)
	}
	w := opened(t, db.OpenWriter, url) // directly
	if err := put(t.Context(), w.SQL, "direct"); err != nil {
		t.Error(err)
	}
}

func TestALongPathHasASocketToo(t *testing.T) {
	url := filepath.Join(t.TempDir(), strings.Repeat("long-folder/", 12), "eclose.db")
	d, err := db.OpenToServe(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	w := opened(t, db.OpenWriter, url)
	if err := put(t.Context(), w.SQL, "a"); err != nil {
		t.Error(err)
	}
}

func TestNoFileOfTheDatabaseIsForOthers(t *testing.T) {
	url := dbtest.SQLiteURL(t)
	if err := os.WriteFile(url, nil, 0o644); err != nil { // as an earlier version made it
		t.Fatal(err)
	}
	d, err := db.OpenToServe(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	if _, err := d.Key(t.Context(), "links", noon); err != nil {
		t.Fatal(err)
	}
	if err := db.Snapshot(t.Context(), url, url+".copy"); err != nil {
		t.Fatal(err)
	}
	found, err := filepath.Glob(url + "*")
	if err != nil || len(found) < 6 { // database, log, index, lock, socket and key
		t.Errorf("%v, %v", found, err)
	}
	for _, f := range found {
		info, err := os.Stat(f)
		if err != nil {
			t.Fatal(err)
		}
		if info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s is %v", f, info.Mode())
		}
	}
}

func TestASchemaOfANewerVersionIsRefused(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		_, knows, err := d.SchemaVersion(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		if _, err := d.SQL.Exec("INSERT INTO goose_db_version (version_id, is_applied) VALUES ($1, $2)", knows+1, true); err != nil {
			t.Fatal(err)
		}
		if err := d.Migrate(t.Context()); !errors.Is(err, db.ErrNewer) {
			t.Errorf("migrate: %v", err)
		}
		if d.Dialect == db.Postgres {
			return // the other ways of opening migrate there
		}
		if _, err := db.OpenReader(t.Context(), d.Name()); !errors.Is(err, db.ErrNewer) {
			t.Errorf("read: %v", err)
		}
		if err := d.Close(); err != nil {
			t.Fatal(err)
		}
		if _, err := db.OpenToServe(t.Context(), d.Name()); !errors.Is(err, db.ErrNewer) {
			t.Errorf("serve: %v", err)
		}
	})
}

// A database of an earlier version holds the key itself: it moves out, and
// links in mails that were sent go on to work.
func TestTheKeyOfTheLinksMovesOutOfTheDatabase(t *testing.T) {
	url := dbtest.SQLiteURL(t)
	d, err := db.OpenMigrated(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	old := strings.Repeat("ab", 32)
	if _, err := d.SQL.Exec("INSERT INTO secret (name, value, made_at) VALUES ('links', $1, 1)", old); err != nil {
		t.Fatal(err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	d = opened(t, db.OpenToServe, url)
	var n int
	if err := d.SQL.QueryRow("SELECT COUNT(*) FROM secret").Scan(&n); err != nil || n != 0 {
		t.Errorf("%d keys are left in the database, %v", n, err)
	}
	for _, x := range []*db.DB{d, opened(t, db.OpenReader, url), opened(t, db.OpenWriter, url)} {
		if key, err := x.Key(t.Context(), "links", time.Now()); err != nil || hex.EncodeToString(key) != old {
			t.Errorf("%x, %v", key, err)
		}
	}
	if forms, err := d.Key(t.Context(), "forms", time.Now()); err != nil || hex.EncodeToString(forms) == old {
		t.Errorf("the key of the forms is that of the links, %v", err)
	}
}
