package diary

import (
	"errors"
	"fmt"
	"testing"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
)

// One author writes thirty reports in 24 hours and no more; another still may, and so
// may the first a day later.
func TestOneAuthorWritesThirtyReportsADay(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		now := time.Date(2026, 6, 6, 12, 0, 0, 0, time.UTC)
		s := &Store{DB: d, Now: func() time.Time { return now }}
		n := 0
		write := func(author string) error {
			n++
			_, err := s.Report(t.Context(), Report{Link: fmt.Sprint("link ", n), Expires: now.Add(time.Hour), Sighting: Sighting{
				Day: time.Date(2026, 5, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, n%30), River: fmt.Sprint("river-", n/30), Group: "trico", Stage: "emergence", Amount: None, Hours: 2, Author: author}})
			return err
		}
		for i := range 30 {
			if err := write("ann"); err != nil {
				t.Fatalf("report %d: %v", i+1, err)
			}
		}
		if err := write("ann"); !errors.Is(err, ErrTooMany) {
			t.Errorf("the 31st: %v", err)
		}
		if err := write("bob"); err != nil {
			t.Errorf("somebody else: %v", err)
		}
		now = now.Add(24*time.Hour + time.Second)
		if err := write("ann"); err != nil {
			t.Errorf("a day later: %v", err)
		}
	})
}
