package series

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"example.org/eclose/ingest"
)

// naive is the store as one would explain it on a napkin: every answer is
// kept, and a view is what the answers up to a moment say, the later over the
// earlier.
type naive struct{ answers []answer }

type answer struct {
	at  int64
	one ingest.Series
}

func (n *naive) put(one ingest.Series, at time.Time) {
	n.answers = append(n.answers, answer{at.UnixMicro(), one})
}

type reading struct {
	Value     float64
	Qualifier string
	Approval  ingest.Approval
}

func (n *naive) view(key ingest.Key, q Query) (at []int64, readings []reading, retrieved []int64) {
	from, to, asOf := q.bounds()
	seen := map[int64]reading{}
	since := map[int64]int64{}
	for _, a := range n.answers { // in order of retrieval
		if a.at > asOf || a.one.Key != key {
			continue
		}
		for i, t := range a.one.Time {
			r := reading{a.one.Value[i], a.one.Qualifier[i], a.one.Approval[i]}
			old, ok := seen[t]
			if !ok || old.Qualifier != r.Qualifier || old.Approval != r.Approval || !sameValue(old.Value, r.Value) {
				seen[t], since[t] = r, a.at
			}
		}
	}
	for t := range seen {
		if t >= from && t < to {
			at = append(at, t)
		}
	}
	slices.Sort(at)
	for _, t := range at {
		readings, retrieved = append(readings, seen[t]), append(retrieved, since[t])
	}
	return at, readings, retrieved
}

// randomAnswer is a stretch of readings around a moment, which crosses a year
// or a month more often than not; values repeat, so that some are confirmed.
func randomAnswer(r *rand.Rand, key ingest.Key, from time.Time) ingest.Series {
	s := ingest.Series{Key: key}
	step := []time.Duration{6 * time.Hour, 12 * time.Hour, 24 * time.Hour}[r.IntN(3)]
	if key.Period == ingest.Daily {
		step = 24 * time.Hour
	}
	for i := range 5 + r.IntN(60) {
		if r.IntN(6) == 0 {
			continue
		}
		v := float64(r.IntN(4))
		if r.IntN(10) == 0 {
			v = math.NaN()
		}
		s.Time = append(s.Time, from.Add(time.Duration(i)*step).UnixMicro())
		s.Value = append(s.Value, v)
		s.Qualifier = append(s.Qualifier, []string{"", "", "", "ice", "e;\"x\",\né"}[r.IntN(5)])
		s.Approval = append(s.Approval, ingest.Approval(r.IntN(3)/2))
	}
	return s
}

func TestTheViewAsOfAnyMomentEqualsANaiveModel(t *testing.T) {
	keys := []ingest.Key{
		wendTemperature,
		{Feed: "usgs", Site: "../odd site/ü", Variable: ingest.Discharge, Statistic: ingest.Mean, Period: ingest.Daily, TimeSeries: "a.b/c"},
		{Feed: "open-meteo", Site: "54.5,-2.5", Variable: ingest.AirTemperature, Statistic: ingest.Instant, Member: 1},
		{Feed: "open-meteo", Site: "54.5,-2.5", Variable: ingest.AirTemperature, Statistic: ingest.Instant, Member: 2},
		{Feed: "open-meteo", Site: "54.5,-2.5", Variable: ingest.AirTemperature, Statistic: ingest.Instant, Member: 31},
		{Feed: "open-meteo", Site: "54.5,-2.5", Variable: ingest.AirTemperature, Statistic: ingest.Instant},
	}
	backends(t, func(t *testing.T, open func() *Store) {
		s := open()
		r := rand.New(rand.NewPCG(7, 11))
		var model naive
		at := day(2026, 1, 1)
		var moments []time.Time
		rounds := 10
		if long() {
			rounds = 200
		}
		for round := range rounds {
			at = at.Add(time.Duration(1+r.IntN(5)) * time.Hour)
			moments = append(moments, at)
			var all []ingest.Series
			for _, k := range keys {
				if r.IntN(3) > 0 {
					one := randomAnswer(r, k, day(2023+r.IntN(3), 1+11*r.IntN(2), 1+r.IntN(28)))
					all = append(all, one)
					model.put(one, at)
				}
			}
			if _, err := s.PutAll(t.Context(), all, at); err != nil {
				t.Fatal(err)
			}
			switch r.IntN(25) {
			case 0:
				before := mustDigest(t, s)
				if _, err := s.Compact(t.Context(), at); err != nil {
					t.Fatal(err)
				}
				if after := mustDigest(t, s); after != before {
					t.Fatalf("round %d: compaction changed the digest", round)
				}
			case 1:
				s = open0(t, s, open)
			}
		}
		for range 150 {
			k := keys[r.IntN(len(keys))]
			q := Query{AsOf: moments[r.IntN(len(moments))].Add(time.Duration(r.IntN(3)-1) * time.Microsecond)}
			if r.IntN(4) == 0 {
				q.AsOf = time.Time{}
			}
			if r.IntN(2) == 0 {
				q.From = day(2023, 1, 1).Add(time.Duration(r.IntN(1000*24)) * time.Hour)
				q.To = q.From.Add(time.Duration(r.IntN(500*24)) * time.Hour)
			}
			got := mustRead(t, s, k, q)
			wantAt, want, retrieved := model.view(k, q)
			var have []reading
			for i := range got.Time {
				have = append(have, reading{got.Value[i], got.Qualifier[i], got.Approval[i]})
			}
			if diff := cmp.Diff(wantAt, got.Time) + cmp.Diff(want, have, nanEqual) + cmp.Diff(retrieved, got.Retrieved); diff != "" {
				t.Fatalf("%s %+v (-model +store):\n%s", k, q, diff)
			}
			if err := got.Check(); err != nil {
				t.Fatal(err)
			}
			if k.Member > 0 {
				sameMembers(t, s, k, q)
			}
		}
		mustVerify(t, s)
		got, err := s.Keys(t.Context())
		if err != nil || len(got) != len(keys) {
			t.Errorf("%d keys, %v; want %d", len(got), err, len(keys))
		}
		for _, k := range keys {
			i, err := s.Info(t.Context(), k)
			want, _, _ := model.view(k, Query{})
			if err != nil || i.Count != len(want) || i.First.UnixMicro() != want[0] || i.Last.UnixMicro() != want[len(want)-1] {
				t.Errorf("info of %s: %+v, %v; want %d readings", k, i, err, len(want))
			}
		}
	})
}

// sameMembers holds what is read of all members at once against what is read of
// each alone.
func sameMembers(t *testing.T, s *Store, k ingest.Key, q Query) {
	t.Helper()
	all, err := s.Members(t.Context(), k, q)
	if err != nil {
		t.Fatal(err)
	}
	var members []int
	for _, got := range all {
		members = append(members, got.Member)
		want := mustRead(t, s, got.Key, q)
		if diff := cmp.Diff(want.Time, got.Time, cmpopts.EquateEmpty()) + cmp.Diff(want.Value, got.Value, cmpopts.EquateEmpty(), cmpopts.EquateNaNs()) +
			cmp.Diff(want.Flag, got.Flag, cmpopts.EquateEmpty()) + cmp.Diff(want.Retrieved, got.Retrieved, cmpopts.EquateEmpty()); diff != "" {
			t.Fatalf("%s among its members, %+v (-alone +together):\n%s", got.Key, q, diff)
		}
	}
	if !slices.Contains(members, k.Member) || !slices.IsSorted(members) {
		t.Fatalf("members of %s: %v", k, members)
	}
}

func TestPuttingTheSameAnswersAgainChangesNothing(t *testing.T) {
	backends(t, func(t *testing.T, open func() *Store) {
		s := open()
		all := twoVariables(2025, 1)
		all = append(all, ensemble(day(2026, 1, 25), 240, 51, 1)...)
		first, err := s.PutAll(t.Context(), all, day(2026, 1, 1))
		if err != nil {
			t.Fatal(err)
		}
		digest, files := mustDigest(t, s), listing(t, s)
		for _, at := range []time.Time{day(2026, 1, 1), day(2026, 1, 2)} {
			again, err := s.PutAll(t.Context(), all, at)
			if err != nil {
				t.Fatal(err)
			}
			if want := (Change{Unchanged: first.Added}); again != want {
				t.Errorf("again: %+v, want %+v", again, want)
			}
		}
		if got := mustDigest(t, s); got != digest {
			t.Error("the digest changed")
		}
		if diff := cmp.Diff(files, listing(t, s)); diff != "" {
			t.Errorf("files changed (-before +after):\n%s", diff)
		}
	})
}

// listing is the name of every file of a store.
func listing(t testing.TB, s *Store) []string {
	t.Helper()
	var names []string
	for _, folder := range []string{indexFolder, dataFolder, pastFolder} {
		err := s.bucket.list(t.Context(), folder, func(o object) error {
			names = append(names, fmt.Sprint(o.name, " ", o.size))
			return nil
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	slices.Sort(names)
	return names
}

// ensemble is one issue of an invented forecast: hourly air temperature of
// some members.
func ensemble(from time.Time, hours, members int, seed uint64) []ingest.Series {
	r := rand.New(rand.NewPCG(seed, 3))
	all := make([]ingest.Series, members)
	for m := range all {
		one := &all[m]
		one.Key = ingest.Key{Feed: "open-meteo", Site: "54.5,-2.5", Variable: ingest.AirTemperature, Statistic: ingest.Instant, Member: m + 1}
		walk := 0.0
		for h := range hours {
			walk = 0.98*walk + 0.3*r.NormFloat64()
			one.Time = append(one.Time, from.Add(time.Duration(h)*time.Hour).UnixMicro())
			one.Value = append(one.Value, math.Round(10*(5+walk-4*math.Cos(2*math.Pi*float64(h)/24)))/10)
		}
	}
	return all
}

func TestAnAnswerOlderThanTheNewestReadingTakesItsPlaceInThePast(t *testing.T) {
	backends(t, func(t *testing.T, open func() *Store) {
		s := open()
		at := day(2026, 3, 1)
		put := func(v float64, retrieved time.Time) Change {
			return mustPut(t, s, regular(wendTemperature, at, time.Hour, v), retrieved)
		}
		put(5, day(2026, 3, 10))
		if got, want := put(4, day(2026, 3, 5)), (Change{Revised: 1}); got != want {
			t.Errorf("older answer: %+v, want %+v", got, want)
		}
		if got, want := put(4, day(2026, 3, 6)), (Change{Unchanged: 1}); got != want {
			t.Errorf("older answer that says the same: %+v, want %+v", got, want)
		}
		put(3, day(2026, 3, 2))
		digest := mustDigest(t, s)
		put(3, day(2026, 3, 2))
		if mustDigest(t, s) != digest {
			t.Error("the same older answer again changed the digest")
		}
		for _, c := range []struct {
			asOf time.Time
			want []float64
		}{
			{day(2026, 3, 1), nil}, {day(2026, 3, 2), []float64{3}}, {day(2026, 3, 4), []float64{3}}, {day(2026, 3, 5), []float64{4}},
			{day(2026, 3, 9), []float64{4}}, {day(2026, 3, 10), []float64{5}}, {time.Time{}, []float64{5}},
		} {
			if got := mustRead(t, s, wendTemperature, Query{AsOf: c.asOf}).Value; !cmp.Equal(got, c.want) {
				t.Errorf("as of %s: %v, want %v", c.asOf.Format(time.DateOnly), got, c.want)
			}
		}
		versions := 0
		if err := s.Versions(t.Context(), wendTemperature, Query{}, func(one ingest.Series) error { versions += one.Len(); return nil }); err != nil || versions != 3 {
			t.Errorf("%d versions, %v; want 3", versions, err)
		}
		early := 0
		if err := s.Versions(t.Context(), wendTemperature, Query{AsOf: day(2026, 3, 5)}, func(one ingest.Series) error { early += one.Len(); return nil }); err != nil || early != 2 {
			t.Errorf("%d versions by 5 March, %v; want 2", early, err)
		}
	})
}

func TestAMissingReadingInAnAnswerDeletesNothing(t *testing.T) {
	s := newMemStore()
	mustPut(t, s, regular(wendTemperature, day(2026, 3, 1), time.Hour, 1, 2, 3), day(2026, 3, 2))
	half := regular(wendTemperature, day(2026, 3, 1), 2*time.Hour, 1, 3)
	if got, want := mustPut(t, s, half, day(2026, 3, 3)), (Change{Unchanged: 2}); got != want {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got := mustPut(t, s, ingest.Series{Key: wendTemperature}, day(2026, 3, 4)); got != (Change{}) {
		t.Errorf("an empty answer: %+v", got)
	}
	if got := mustRead(t, s, wendTemperature, Query{}).Value; !cmp.Equal(got, []float64{1, 2, 3}) {
		t.Errorf("%v", got)
	}
}

func TestAFlagChangesInPlaceAndOnlyOnTheReadingThatWasChecked(t *testing.T) {
	backends(t, func(t *testing.T, open func() *Store) {
		s := open()
		mustPut(t, s, regular(wendTemperature, day(2025, 12, 31).Add(22*time.Hour), time.Hour, 4, 4, 25, math.NaN()), day(2026, 1, 2))
		checked := mustRead(t, s, wendTemperature, Query{})
		checked.Flag = []ingest.Flag{ingest.Pass, ingest.Pass, ingest.Fail, ingest.Pass}
		checked.FlagTest = []string{"", "", "spike", "gap"}
		// Meanwhile the agency replaces the spike.
		mustPut(t, s, regular(wendTemperature, day(2026, 1, 1), time.Hour, 4.1), day(2026, 1, 3))
		if n, err := s.SetFlags(t.Context(), checked); err != nil || n != 3 {
			t.Errorf("%d flags changed, %v; want 3", n, err)
		}
		if n, err := s.SetFlags(t.Context(), checked); err != nil || n != 0 {
			t.Errorf("the same flags again: %d changed, %v", n, err)
		}
		got := mustRead(t, s, wendTemperature, Query{})
		if want := []ingest.Flag{ingest.Pass, ingest.Pass, ingest.NotEvaluated, ingest.Missing}; !cmp.Equal(got.Flag, want) {
			t.Errorf("flags %v, want %v", got.Flag, want)
		}
		if want := []string{"", "", "", "gap"}; !cmp.Equal(got.FlagTest, want) {
			t.Errorf("tests %q, want %q", got.FlagTest, want)
		}
		// The same answer without flags leaves them; one with a flag sets it.
		again := regular(wendTemperature, day(2025, 12, 31).Add(22*time.Hour), time.Hour, 4, 4)
		if c, want := mustPut(t, s, again, day(2026, 1, 4)), (Change{Unchanged: 2}); c != want {
			t.Errorf("%+v, want %+v", c, want)
		}
		again.Flag, again.FlagTest = []ingest.Flag{ingest.Suspect, ingest.NotEvaluated}, []string{"flat line", ""}
		if c, want := mustPut(t, s, again, day(2026, 1, 4)), (Change{Unchanged: 2, Reflagged: 1}); c != want {
			t.Errorf("%+v, want %+v", c, want)
		}
		if got := mustRead(t, s, wendTemperature, Query{}); got.Flag[0] != ingest.Suspect || got.Flag[1] != ingest.Pass || got.Retrieved[0] != day(2026, 1, 2).UnixMicro() {
			t.Errorf("flags %v, retrieved %v", got.Flag, got.Retrieved)
		}
		// A new approval of the same value keeps the flag.
		again.Flag, again.FlagTest, again.Approval = nil, nil, []ingest.Approval{ingest.Approved, ingest.Approved}
		if c, want := mustPut(t, s, again, day(2026, 1, 5)), (Change{Revised: 2}); c != want {
			t.Errorf("%+v, want %+v", c, want)
		}
		if got := mustRead(t, s, wendTemperature, Query{}); got.Flag[0] != ingest.Suspect || got.Approval[0] != ingest.Approved {
			t.Errorf("flags %v, approval %v", got.Flag, got.Approval)
		}
	})
}

func TestAForecastRevisedHundredsOfTimesStaysInFewFiles(t *testing.T) {
	s := mustOpen(t, "file://"+t.TempDir())
	issues := 40
	if long() {
		issues = 400
	}
	for n := range issues {
		at := day(2026, 1, 3).Add(time.Duration(n) * 6 * time.Hour)
		if _, err := s.PutAll(t.Context(), ensemble(at, 48, 5, uint64(n)), at); err != nil {
			t.Fatal(err)
		}
	}
	files := listing(t, s)
	t.Logf("%d issues of 5 members by 48 hours: %d files", issues, len(files))
	// One newest and a handful of past files a month, and the index.
	if months := issues/120 + 2; len(files) > 12*months {
		t.Errorf("%d files: %v", len(files), files)
	}
	// As of an issue, the hours ahead are those of that issue, of each member.
	n := issues / 2
	at := day(2026, 1, 3).Add(time.Duration(n) * 6 * time.Hour)
	for m, want := range ensemble(at, 48, 5, uint64(n)) {
		got := mustRead(t, s, want.Key, Query{From: at, AsOf: at})
		if !cmp.Equal(got.Time, want.Time) || !cmp.Equal(got.Value, want.Value) {
			t.Errorf("member %d as of issue %d differs from what was issued", m+1, n)
		}
	}
	mustVerify(t, s)
}
