package forecast

import (
	"context"
	"testing"
	"time"
)

// beckRecord is what is known of the beck at an issue.
func beckRecord(t *testing.T, issue time.Time) Record {
	t.Helper()
	rec, err := Gather(context.Background(), inventStore(t, issue, issue.Add(-time.Hour), 3, 0, 4), beck, issue)
	if err != nil {
		t.Fatal(err)
	}
	return rec
}
