package series

import (
	"sync"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series/seriestest"
)

// On shared storage there is no lock: two stores on one bucket stand for two
// processes that write the same series at once.
func TestTwoWritersOnSharedStorageLoseNothingOfEachOther(t *testing.T) {
	t.Run("in memory", func(t *testing.T) {
		a := newMemStore()
		twoWriters(t, a, &Store{url: "mem://", bucket: a.bucket, indexes: map[string]*index{}, writers: map[string]*sync.Mutex{}})
	})
	t.Run("on S3", func(t *testing.T) {
		url := seriestest.S3(t)
		twoWriters(t, mustOpen(t, url), mustOpen(t, url))
	})
}

func twoWriters(t *testing.T, a, b *Store) {
	const rounds = 15
	var both sync.WaitGroup
	for w, s := range []*Store{a, b} {
		both.Go(func() {
			for n := range rounds {
				at := day(2026, 1, 1).Add(time.Duration(2*n+w) * time.Hour)
				c, err := s.Put(t.Context(), regular(wendTemperature, at, time.Hour, float64(2*n+w)), day(2026, 2, 1))
				if err != nil || c.Added != 1 {
					t.Errorf("writer %d, answer %d: %+v, %v", w, n, c, err)
				}
			}
		})
	}
	both.Wait()
	got := mustRead(t, a, wendTemperature, Query{})
	if got.Len() != 2*rounds {
		t.Fatalf("%d readings, want %d", got.Len(), 2*rounds)
	}
	for i, v := range got.Value {
		if v != float64(i) {
			t.Fatalf("reading %d is %g", i, v)
		}
	}
	mustVerify(t, a)
}

// A store that is used by many goroutines at once, as a service does.
func TestManyGoroutinesMayUseOneStore(t *testing.T) {
	backends(t, func(t *testing.T, open func() *Store) {
		s := open()
		var all sync.WaitGroup
		for g := range 4 {
			all.Go(func() {
				key := wendTemperature
				if g%2 == 1 {
					key.Variable = ingest.AirTemperature
				}
				for n := range 8 {
					at := day(2026, 1, 1+g).Add(time.Duration(n) * time.Hour)
					mustPutIn(t, s, regular(key, at, time.Hour, float64(n)))
					if _, err := s.Read(t.Context(), key, Query{}); err != nil {
						t.Error(err)
					}
				}
			})
		}
		all.Wait()
		if got := mustRead(t, s, wendTemperature, Query{}); got.Len() != 16 {
			t.Errorf("%d readings, want 16", got.Len())
		}
		mustVerify(t, s)
	})
}

// mustPutIn is mustPut for goroutines, which may not end the test.
func mustPutIn(t *testing.T, s *Store, one ingest.Series) {
	t.Helper()
	if c, err := s.Put(t.Context(), one, day(2026, 2, 1)); err != nil || c.Added != one.Len() {
		t.Errorf("%+v, %v", c, err)
	}
}
