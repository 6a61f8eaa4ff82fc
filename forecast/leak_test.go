package forecast

import (
	"context"
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
)

// issued is the outlook of the beck in bytes.
func issued(t *testing.T, store Reader, at time.Time) string {
	t.Helper()
	o, err := Issue(context.Background(), store, beck, catalogue(t), at, Options{Members: 20})
	if err != nil {
		t.Fatal(err)
	}
	b, err := json.Marshal(o)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// disturb changes the store in one way that nobody could have known at the
// issue, and says which.
func disturb(t *testing.T, store *series.Store, issue, retrieved time.Time, rng *rand.Rand) string {
	t.Helper()
	ctx := context.Background()
	key := []ingest.Key{beckWater, beckFlow, beckAir}[rng.IntN(3)]
	asOf := retrieved.Before(issue)
	later := issue
	if !asOf {
		later = retrieved
	}
	later = later.Add(time.Duration(1+rng.IntN(20*24*60)) * time.Minute)
	wild := func(n int) []float64 {
		v := make([]float64, n)
		for i := range v {
			if v[i] = 40 * rng.Float64(); rng.IntN(20) == 0 {
				v[i] = math.NaN()
			}
		}
		return v
	}
	put := func(s ingest.Series) {
		if _, err := store.Put(ctx, s, later); err != nil {
			t.Fatal(err)
		}
	}
	first := issue.Truncate(time.Hour).Add(time.Hour) // the first full hour after the issue
	kinds := 4
	if !asOf {
		kinds = 2
	}
	switch rng.IntN(kinds) {
	case 0:
		put(inventSeries(key, first, time.Hour, wild(1+rng.IntN(500))))
		return "readings after the issue of " + key.String()
	case 1:
		from := first.Add(time.Duration(rng.IntN(200)) * time.Hour)
		s := inventSeries(key, from, time.Hour, wild(1+rng.IntN(100)))
		put(s)
		for i := range s.Flag {
			s.Flag[i] = []ingest.Flag{ingest.Suspect, ingest.Fail, ingest.NotEvaluated}[rng.IntN(3)]
		}
		s.FlagTest, s.Retrieved = make([]string, len(s.Flag)), make([]int64, len(s.Flag))
		for i := range s.Retrieved {
			s.Retrieved[i] = later.UnixMicro()
		}
		if _, err := store.SetFlags(ctx, s); err != nil {
			t.Fatal(err)
		}
		return "flags of readings after the issue of " + key.String()
	case 2:
		from := first.Add(-time.Duration(1+rng.IntN(600*24)) * time.Hour)
		put(inventSeries(key, from, time.Hour, wild(1+rng.IntN(300))))
		return "revisions that came after the issue of " + key.String()
	default:
		for m := 1; m <= 5; m++ {
			put(inventSeries(beckMember(m), issue.Truncate(24*time.Hour), time.Hour, wild(240)))
		}
		return "a weather forecast that came after the issue"
	}
}

func TestNothingAfterTheIssueChangesAByteOfTheOutlook(t *testing.T) {
	issue := time.Date(2026, 5, 18, 18, 20, 0, 0, time.UTC)
	for _, c := range []struct {
		name      string
		retrieved time.Time
	}{
		{"readings kept as they came", issue.Add(-time.Hour)},
		{"a history fetched years later", issue.AddDate(2, 0, 0)},
	} {
		t.Run(c.name, func(t *testing.T) {
			store := inventStore(t, issue, c.retrieved, 3, 5, 4)
			before := issued(t, store, issue)
			rng := rand.New(rand.NewPCG(8, 15))
			for range 16 {
				what := disturb(t, store, issue, c.retrieved, rng)
				if got := issued(t, store, issue); got != before {
					t.Fatalf("%s changed the outlook", what)
				}
			}
			// The test itself must be able to fail: the same in the time before
			// the issue does change the outlook.
			if _, err := store.Put(context.Background(), inventSeries(beckWater, issue.Truncate(time.Hour).Add(-96*time.Hour), time.Hour, make([]float64, 72)), c.retrieved); err != nil {
				t.Fatal(err)
			}
			if issued(t, store, issue) == before {
				t.Error("three days of other water before the issue changed nothing: the test sees nothing")
			}
		})
	}
}
