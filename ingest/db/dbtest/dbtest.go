// Package dbtest gives tests an empty, migrated database of each dialect.
//
// A *testing.T enters; a *db.DB leaves, closed again when the test ends. It
// must not know any domain: the conformance suites that run on it live beside
// the code they prove.
package dbtest

import (
	"context"
	"crypto/rand"
	"database/sql"
	"encoding/hex"
	"net/url"
	"os"
	"path/filepath"
	"testing"

	"example.org/eclose/ingest/db"
)

// env names the PostgreSQL server that tests may use.
const env = "ECLOSE_POSTGRES"

// Each runs test on SQLite and on PostgreSQL. Without a server the second is
// skipped, saying so; where ECLOSE_CI=1 it fails instead.
func Each(t *testing.T, test func(t *testing.T, d *db.DB)) {
	t.Helper()
	t.Run("sqlite", func(t *testing.T) { test(t, Open(t, SQLiteURL(t))) })
	t.Run("postgres", func(t *testing.T) { test(t, Open(t, PostgresURL(t))) })
}

// Open opens and migrates url and closes it when the test ends.
func Open(t testing.TB, url string) *db.DB {
	t.Helper()
	d, err := db.OpenMigrated(t.Context(), url)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := d.Close(); err != nil {
			t.Error(err)
		}
	})
	return d
}

// SQLiteURL names a new file that is removed with the test.
func SQLiteURL(t testing.TB) string { return filepath.Join(t.TempDir(), "eclose.db") }

// PostgresURL names a new, empty schema on the test server, dropped with the
// test.
func PostgresURL(t testing.TB) string {
	t.Helper()
	server := os.Getenv(env)
	if server == "" {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf("%s is not set, and in CI the PostgreSQL half may not be skipped; .ci/postgres starts a server and prints its URL", env)
		}
		t.Skipf("%s is not set: skipping the PostgreSQL half; .ci/postgres starts a server and prints its URL", env)
	}
	var b [8]byte
	_, _ = rand.Read(b[:]) // never fails: see crypto/rand
	schema := "test_" + hex.EncodeToString(b[:])
	s, err := sql.Open("pgx", server)
	if err != nil {
		t.Fatalf("opening %s: %v", env, err)
	}
	if _, err := s.ExecContext(t.Context(), "CREATE SCHEMA "+schema); err != nil {
		t.Fatalf("making a schema on %s: %v", env, err)
	}
	t.Cleanup(func() {
		if _, err := s.ExecContext(context.Background(), "DROP SCHEMA "+schema+" CASCADE"); err != nil {
			t.Errorf("dropping the schema of this test: %v", err)
		}
		_ = s.Close()
	})
	u, err := url.Parse(server)
	if err != nil {
		t.Fatalf("%s: %v", env, err)
	}
	q := u.Query()
	q.Set("search_path", schema)
	u.RawQuery = q.Encode()
	return u.String()
}
