package jobs_test

import (
	"errors"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db/dbtest"
)

func TestOneProcessHoldsALock(t *testing.T) {
	t.Parallel()
	url := dbtest.PostgresURL(t)
	a, b := dbtest.Open(t, url), dbtest.Open(t, url)
	const number = 77
	first, err := jobs.Hold(t.Context(), a, number)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := jobs.Hold(t.Context(), b, number); !errors.Is(err, jobs.ErrHeld) {
		t.Errorf("the second got it: %v", err)
	}
	first.Release()
	first.Release()
	second, err := jobs.Hold(t.Context(), b, number)
	for end := time.Now().Add(15 * time.Second); errors.Is(err, jobs.ErrHeld) && time.Now().Before(end); time.Sleep(50 * time.Millisecond) {
		second, err = jobs.Hold(t.Context(), b, number) // the server takes a moment to end a connection
	}
	if err != nil {
		t.Fatal(err)
	}
	defer second.Release()
	// The server ends the connection that holds it.
	if _, err := a.SQL.Exec("SELECT pg_terminate_backend(pid) FROM pg_locks WHERE locktype = 'advisory' AND objid = 77 AND classid = (hashtext('eclose ' || current_schema())::bigint & 4294967295)::oid"); err != nil {
		t.Fatal(err)
	}
	select {
	case <-second.Lost():
	case <-time.After(15 * time.Second):
		t.Error("the loss went unnoticed")
	}
}
