package records

import (
	"context"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/feed/gbif"
	"example.org/eclose/ingest/feed/inaturalist"
	"example.org/eclose/ingest/occurrence"
	"example.org/eclose/model/civil"
	"example.org/eclose/model/insects"
)

var now = time.Date(2026, 7, 1, 12, 0, 0, 0, time.UTC)

func clock() time.Time { return now }

func day(s string) time.Time {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		panic(err)
	}
	return t
}

func judge(t testing.TB) *Judge {
	t.Helper()
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	return &Judge{Catalogue: c, Now: now}
}

// danica is a record that is taken: an invented subimago in open country.
func danica() occurrence.Record {
	r := occurrence.New("test")
	r.Key, r.Name, r.Stage, r.Confirmed, r.Licence = "test:1", "Ephemera danica", occurrence.Subimago, true, occurrence.CCBY
	r.Start, r.End, r.LatDeg, r.LonDeg = day("2026-06-01"), day("2026-06-01"), 51.5, -1.5
	return r
}

func TestWhatIsTakenAndWhyTheRestIsNot(t *testing.T) {
	j := judge(t)
	nc := *j
	nc.NonCommercial = true
	for _, c := range []struct {
		name   string
		judge  *Judge
		change func(*occurrence.Record)
		why    LeftOut
		stage  Stage
	}{
		{"a subimago", j, func(*occurrence.Record) {}, "", Emergence},
		{"a mayfly adult returns to lay", j, func(r *occurrence.Record) { r.Stage = occurrence.Adult }, "", EggLaying},
		{"a cast skin", j, func(r *occurrence.Record) { r.Stage = occurrence.Exuvia }, "", Emergence},
		{"a caddis adult tells neither", j, func(r *occurrence.Record) { r.Name, r.Stage = "Agapetus fuscipes", occurrence.Adult }, "", Flight},
		{"a nymph", j, func(r *occurrence.Record) { r.Stage = occurrence.Immature }, InWater, ""},
		{"no life stage", j, func(r *occurrence.Record) { r.Stage = occurrence.StageUnknown }, NoLifeStage, ""},
		{"not for commerce", j, func(r *occurrence.Record) { r.Licence = occurrence.CCBYNC }, NonCommercial, ""},
		{"not for commerce, on purpose", &nc, func(r *occurrence.Record) { r.Licence = occurrence.CCBYNC }, "", Emergence},
		{"all rights kept, on purpose", &nc, func(r *occurrence.Record) { r.Licence = occurrence.AllRights }, NoLicence, ""},
		{"no date", j, func(r *occurrence.Record) { r.Start, r.End = time.Time{}, time.Time{} }, NoDate, ""},
		{"a month", j, func(r *occurrence.Record) { r.End = day("2026-06-30") }, LongInterval, ""},
		{"three days", j, func(r *occurrence.Record) { r.End = day("2026-06-03") }, VagueDate, ""},
		{"three days of a trap", j, func(r *occurrence.Record) { r.End, r.EffortHours = day("2026-06-03"), 72 }, "", Emergence},
		{"tomorrow's tomorrow", j, func(r *occurrence.Record) { r.Start, r.End = day("2026-07-03"), day("2026-07-03") }, InFuture, ""},
		{"no place", j, func(r *occurrence.Record) { r.LatDeg = math.NaN() }, NoPlace, ""},
		{"the place of a slip", j, func(r *occurrence.Record) { r.LatDeg, r.LonDeg = 0, 0 }, NoPlace, ""},
		{"a place moved by 28 km", j, func(r *occurrence.Record) { r.Obscured, r.UncertaintyM = true, 28_000 }, "", Emergence},
		{"somewhere in the county", j, func(r *occurrence.Record) { r.UncertaintyM = 60_000 }, VaguePlace, ""},
		{"the Sahara", j, func(r *occurrence.Record) { r.LatDeg, r.LonDeg = 24, 12 }, OutsideRegions, ""},
		{"bred", j, func(r *occurrence.Record) { r.Captive = true }, Bred, ""},
		{"a fossil", j, func(r *occurrence.Record) { r.Basis = "FOSSIL_SPECIMEN" }, Fossil, ""},
		{"doubted", j, func(r *occurrence.Record) { r.Doubt = "RECORDED_DATE_INVALID" }, Doubted, ""},
		{"nobody agreed", j, func(r *occurrence.Record) { r.Confirmed = false }, Unconfirmed, ""},
		{"a name of many groups", j, func(r *occurrence.Record) { r.Name = "Baetis" }, Ambiguous, ""},
		{"a bird", j, func(r *occurrence.Record) { r.Name = "Parus major" }, UnknownName, ""},
		{"nameless", j, func(r *occurrence.Record) { r.Key = "" }, NoKey, ""},
	} {
		r := danica()
		c.change(&r)
		got := c.judge.Judge(r)
		if got.Why != c.why || got.Stage != c.stage || (got.Group == "") != (c.why != "") {
			t.Errorf("%s: %q, %q of %q; want %q, %q", c.name, got.Why, got.Stage, got.Group, c.why, c.stage)
		}
	}
}

func TestTheSameRecordFromBothServicesIsKeptOnce(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		s := &Store{DB: d, Now: clock}
		j := judge(t)
		put := func(r occurrence.Record) Fate {
			t.Helper()
			k, err := s.Put(t.Context(), []Judged{j.Judge(r)})
			if err != nil {
				t.Fatal(err)
			}
			return k[0]
		}
		first := danica()
		first.Source, first.Key = "inaturalist", "inaturalist:5"
		copied := first
		copied.Source, copied.Stage = "gbif", occurrence.StageUnknown // GBIF drops the annotation
		corrected := first
		corrected.Name = "Ephemera vulgata"
		for i, x := range []struct {
			r    occurrence.Record
			want Fate
		}{{copied, Added}, {first, Changed}, {copied, Elsewhere}, {first, Same}, {corrected, Changed}} {
			if got := put(x.r); got != x.want {
				t.Errorf("step %d: %d, want %d", i, got, x.want)
			}
		}
		all, err := s.List(t.Context(), Filter{})
		if err != nil || len(all) != 1 || all[0].Name != "Ephemera vulgata" || all[0].Source != "inaturalist" || !strings.Contains(all[0].Credit, "CC BY") {
			t.Errorf("%+v, %v", all, err)
		}
		if err := s.Withhold(t.Context(), "inaturalist:5", true); err != nil {
			t.Fatal(err)
		}
		if put(first) != Changed {
			t.Error("a later change was not kept")
		}
		all, _ = s.List(t.Context(), Filter{Only: true, Near: &Near{51.5, -1.5, 10}})
		if len(all) != 0 {
			t.Error("a fetch let in what the owner withheld")
		}
	})
}

// server has n observations of one species, all around one place, as
// iNaturalist sends them; fail says which request fails, counted from 1.
func server(t testing.TB, n int, fail map[int]bool) (*httptest.Server, *client.Client) {
	t.Helper()
	asked := 0
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked++
		w.Header().Set("Content-Type", "application/json")
		if fail[asked] {
			http.Error(w, "down", http.StatusBadRequest)
			return
		}
		if strings.HasSuffix(r.URL.Path, "/histogram") {
			fmt.Fprint(w, `{"results":{"day":{"2026-06-01":7}}}`)
			return
		}
		above, _ := strconv.Atoi(r.URL.Query().Get("id_above"))
		var list []string
		for id := above + 1; id <= n && len(list) < 200; id++ {
			list = append(list, fmt.Sprintf(`{"id":%d,"quality_grade":"research","observed_on":"2026-05-%02d","created_at":"2026-06-01T10:00:00Z","license_code":"cc-by","location":"51.5,-1.%d","annotations":[{"controlled_attribute_id":1,"controlled_value_id":16,"vote_score":0}],"taxon":{"name":"Ephemera danica","rank":"species"},"user":{"login":"reader-%d"}}`, id, id%28+1, id%1000, id%50))
		}
		fmt.Fprintf(w, `{"total_results":%d,"results":[%s]}`, max(0, n-above), strings.Join(list, ","))
	}))
	t.Cleanup(srv.Close)
	c, err := client.New(client.Options{UserAgent: "test", PerSecond: 1e6, Retries: -1, Sleep: func(context.Context, time.Duration) error { return nil }})
	if err != nil {
		t.Fatal(err)
	}
	return srv, c
}

func place() Place { return Place{"wend", Near{51.5, -1.5, 200}} }

func TestAFetchThatFailsGoesOnWhereItStopped(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		srv, c := server(t, 450, map[int]bool{2: true})
		f := Fetcher{Store: &Store{DB: d, Now: clock}, Judge: judge(t), INat: &inaturalist.Source{Client: c, BaseURL: srv.URL}, Since: day("2026-01-01")}
		taken, err := f.INaturalist(t.Context(), place())
		if err == nil || taken.Added != 200 {
			t.Fatalf("%+v, %v", taken, err)
		}
		taken, err = f.INaturalist(t.Context(), place())
		if err != nil || taken.Read != 250 || taken.Added != 250 {
			t.Fatalf("going on: %+v, %v", taken, err)
		}
		// Once whole, the next fetch looks at all that changed since.
		taken, err = f.INaturalist(t.Context(), place())
		if err != nil || taken.Same != 450 || taken.Added != 0 {
			t.Fatalf("again: %+v, %v", taken, err)
		}
		all, err := f.Store.List(t.Context(), Filter{Only: true})
		if err != nil || len(all) != 450 {
			t.Errorf("%d records, %v", len(all), err)
		}
		open, err := f.Store.Open(t.Context(), []Home{{"wend", insects.UKLowland, place().Near}})
		if err != nil || len(open.Records) != 450 || len(open.Effort) != 1 || open.Effort[0] != (Looked{insects.UKLowland, civil.DateOf(day("2026-06-01")), 7}) {
			t.Errorf("%d records, effort %v, %v", len(open.Records), open.Effort, err)
		}
	})
}

func TestOnlyTheCircleIsTakenFromGBIF(t *testing.T) {
	dbtest.Each(t, func(t *testing.T, d *db.DB) {
		srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			w.Header().Set("Content-Type", "application/json")
			if strings.HasSuffix(r.URL.Path, "/species/match") {
				fmt.Fprint(w, `{"usageKey":7,"matchType":"EXACT","rank":"ORDER"}`)
				return
			}
			if r.URL.Query().Get("eventDate") != "2026-01-01,2026-07-01" || len(r.URL.Query()["taxonKey"]) != 3 {
				t.Errorf("asked %s", r.URL)
			}
			fmt.Fprint(w, `{"offset":0,"count":2,"endOfRecords":true,"results":[
				{"key":1,"eventDate":"2026-05-01","species":"Ephemera danica","lifeStage":"Adult","license":"CC0_1_0","decimalLatitude":51.6,"decimalLongitude":-1.5},
				{"key":2,"eventDate":"2026-05-01","species":"Ephemera danica","lifeStage":"Adult","license":"CC0_1_0","decimalLatitude":53.2,"decimalLongitude":1.2}]}`)
		}))
		defer srv.Close()
		c, err := client.New(client.Options{UserAgent: "test", PerSecond: 1e6})
		if err != nil {
			t.Fatal(err)
		}
		f := Fetcher{Store: &Store{DB: d, Now: clock}, Judge: judge(t), GBIF: &gbif.Source{Client: c, BaseURL: srv.URL}, Since: day("2026-01-01")}
		taken, err := f.Occurrences(t.Context(), place())
		if err != nil || taken.Added != 1 || taken.Read != 1 {
			t.Errorf("%+v, %v", taken, err)
		}
	})
}

// BenchmarkTenThousandFetched is a first fetch of ten thousand records over
// HTTP into SQLite.
func BenchmarkTenThousandFetched(b *testing.B) {
	b.ReportAllocs()
	for b.Loop() {
		b.StopTimer()
		srv, c := server(b, 10_000, nil)
		d := dbtest.Open(b, dbtest.SQLiteURL(b))
		f := Fetcher{Store: &Store{DB: d, Now: clock}, Judge: judge(b), INat: &inaturalist.Source{Client: c, BaseURL: srv.URL}, Since: day("2026-01-01")}
		b.StartTimer()
		taken, err := f.INaturalist(b.Context(), place())
		if err != nil || taken.Added != 10_000 {
			b.Fatalf("%+v, %v", taken, err)
		}
	}
}
