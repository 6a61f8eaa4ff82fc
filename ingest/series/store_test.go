package series

import (
	"context"
	"math"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series/seriestest"
)

// wendTemperature is the key of an invented gauge on the River Wend.
var wendTemperature = ingest.Key{Feed: "csv", Site: "wend-1", Variable: ingest.WaterTemperature, Statistic: ingest.Instant}

var nanEqual = cmpopts.EquateNaNs()

// backends are the kinds of bucket that every test of behaviour runs on.
func backends(t *testing.T, test func(t *testing.T, open func() *Store)) {
	t.Run("on a folder", func(t *testing.T) {
		dir := t.TempDir()
		test(t, func() *Store { return mustOpen(t, "file://"+dir) })
	})
	t.Run("in memory", func(t *testing.T) {
		s := newMemStore()
		// Memory is gone when it is closed: opening again is the same store.
		test(t, func() *Store { return s })
	})
	t.Run("on S3", func(t *testing.T) {
		url := seriestest.S3(t)
		test(t, func() *Store { return mustOpen(t, url) })
	})
}

func mustOpen(t testing.TB, url string, opts ...Option) *Store {
	t.Helper()
	s, err := Open(t.Context(), url, opts...)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func mustPut(t testing.TB, s *Store, one ingest.Series, at time.Time) Change {
	t.Helper()
	c, err := s.Put(t.Context(), one, at)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func mustRead(t testing.TB, s *Store, key ingest.Key, q Query) ingest.Series {
	t.Helper()
	got, err := s.Read(t.Context(), key, q)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

func mustDigest(t testing.TB, s *Store) string {
	t.Helper()
	d, err := s.Digest(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func mustVerify(t testing.TB, s *Store) Report {
	t.Helper()
	r, err := s.Verify(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range r.Damaged {
		t.Errorf("verify: %v", d)
	}
	return r
}

func day(y, m, d int) time.Time { return time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC) }

// regular makes a series with a fixed step.
func regular(key ingest.Key, from time.Time, step time.Duration, values ...float64) ingest.Series {
	s := ingest.Series{Key: key, Place: ingest.SiteInfo{Name: "Wend at Low Bridge", Lat: 54.5, Lon: -2.5, Elevation: math.NaN(), Zone: "Europe/London"}, SourceUnit: "degC"}
	for i, v := range values {
		s.Time = append(s.Time, from.Add(time.Duration(i)*step).UnixMicro())
		s.Value = append(s.Value, v)
	}
	return s
}

func TestARevisedReadingReplacesTheOldOneWhichStaysReadableAsOfItsTime(t *testing.T) {
	backends(t, func(t *testing.T, open func() *Store) {
		s := open()
		first := regular(wendTemperature, day(2025, 12, 31).Add(22*time.Hour), time.Hour, 4.1, 4.2, 4.3, math.NaN())
		first.Approval = []ingest.Approval{1, 1, 1, 1}
		if got, want := mustPut(t, s, first, day(2026, 1, 1)), (Change{Added: 4}); got != want {
			t.Errorf("first answer: %+v, want %+v", got, want)
		}
		revised := regular(wendTemperature, day(2025, 12, 31).Add(23*time.Hour), time.Hour, 4.2, 3.9, 3.8, 3.7)
		revised.Approval = []ingest.Approval{2, 1, 1, 1}
		if got, want := mustPut(t, s, revised, day(2026, 1, 5)), (Change{Added: 1, Revised: 3}); got != want {
			t.Errorf("revised answer: %+v, want %+v", got, want)
		}
		s = open0(t, s, open)

		now := mustRead(t, s, wendTemperature, Query{})
		if want := []float64{4.1, 4.2, 3.9, 3.8, 3.7}; !cmp.Equal(now.Value, want, nanEqual) {
			t.Errorf("newest values %v, want %v", now.Value, want)
		}
		if want := []ingest.Approval{1, 2, 1, 1, 1}; !cmp.Equal(now.Approval, want) {
			t.Errorf("newest approval %v, want %v", now.Approval, want)
		}
		then := mustRead(t, s, wendTemperature, Query{AsOf: day(2026, 1, 4)})
		if want := []float64{4.1, 4.2, 4.3, math.NaN()}; !cmp.Equal(then.Value, want, nanEqual) {
			t.Errorf("values as of the 4th %v, want %v", then.Value, want)
		}
		if want := []ingest.Flag{2, 2, 2, 9}; !cmp.Equal(then.Flag, want) {
			t.Errorf("flags as of the 4th %v, want %v", then.Flag, want)
		}
		if before := mustRead(t, s, wendTemperature, Query{AsOf: day(2025, 12, 31)}); before.Len() != 0 {
			t.Errorf("%d readings known before anything was retrieved", before.Len())
		}
		part := mustRead(t, s, wendTemperature, Query{From: day(2025, 12, 31).Add(23 * time.Hour), To: day(2026, 1, 1).Add(time.Hour)})
		if want := []float64{4.2, 3.9}; !cmp.Equal(part.Value, want) {
			t.Errorf("values of two hours %v, want %v", part.Value, want)
		}
		mustVerify(t, s)
	})
}

// open0 closes s and opens it again, where closing does not mean losing.
func open0(t *testing.T, s *Store, open func() *Store) *Store {
	t.Helper()
	if !s.sole {
		return s
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	return open()
}

func TestKeysOfOneSite(t *testing.T) {
	backends(t, func(t *testing.T, open func() *Store) {
		s := open()
		other, near := wendTemperature, wendTemperature
		other.Site, near.Site = "garrow-1", wendTemperature.Site+"1" // one name begins with the other
		for _, k := range []ingest.Key{wendTemperature, other, near} {
			mustPut(t, s, regular(k, day(2026, 1, 1), time.Hour, 1), day(2026, 2, 1))
		}
		got, err := s.KeysAt(t.Context(), wendTemperature.Feed, wendTemperature.Site)
		if diff := cmp.Diff([]ingest.Key{wendTemperature}, got); err != nil || diff != "" {
			t.Errorf("%v\n%s", err, diff)
		}
		if none, err := s.KeysAt(t.Context(), "csv", "nowhere"); err != nil || len(none) != 0 {
			t.Errorf("%v, %v", none, err)
		}
	})
}
