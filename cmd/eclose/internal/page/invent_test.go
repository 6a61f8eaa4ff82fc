package page

import (
	"context"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/ingest/db"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/subscribe"
)

// noon is the clock of the tests.
var noon = time.Date(2026, 5, 18, 19, 0, 0, 0, time.UTC)

// hostile is a name that somebody could put into a config, a diary or a feed.
const hostile = `Wend <script>alert(1)</script> "&'</style>`

var invented = []forecast.River{
	{Slug: "wend", Name: "Wend", Region: "pacific-nw-ca", Zone: "America/Los_Angeles", Lat: 45.2, Lon: -131.4},
	{Slug: "garrow", Name: "Garrow", Region: "pacific-nw-ca", Zone: "America/Los_Angeles", Lat: 44.6, Lon: -131.1, Regulated: true, Notices: "at the dam's own board"},
	{Slug: "odd", Name: hostile, Region: "pacific-nw-ca", Zone: "America/Los_Angeles", Lat: 45, Lon: -131},
	{Slug: "dry", Name: "Dry Beck", Region: "pacific-nw-ca", Zone: "America/Los_Angeles", Lat: 45, Lon: -131},
}

// inventRecord is six years of daily air, water and flow.
func inventRecord(seed uint64) forecast.Record {
	issue := forecast.DateOf(noon.Add(-7 * time.Hour))
	day0 := forecast.DateOf(time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC))
	n := int(issue - day0)
	r := forecast.Record{Day0: day0, Issue: issue, IssuedAt: noon, Cutoff: noon.Add(-time.Hour)}
	rng := rand.New(rand.NewPCG(seed, 7))
	w, anomaly := 4.0, 0.0
	for i := range n {
		doy := float64((day0 + forecast.Date(i)).Time().YearDay())
		anomaly = 0.8*anomaly + 2*rng.NormFloat64()
		air := 8 + 11*math.Cos(2*math.Pi*(doy-205)/365.25) + anomaly
		w += (math.Max(0, 0.8*air+2) - w) / 3
		r.Air, r.Water = append(r.Air, air), append(r.Water, w)
		r.WaterMin, r.WaterMax = append(r.WaterMin, w-1), append(r.WaterMax, w+1.2)
		r.Flow = append(r.Flow, 8+30*math.Exp(-(doy-145)/25*((doy-145)/25))*math.Exp(0.2*rng.NormFloat64()))
	}
	return r
}

var shared struct {
	once   sync.Once
	states map[string]*State
	err    error
}

// inventStates issues the outlooks of the invented rivers once for all tests.
func inventStates(t testing.TB, c *insects.Catalogue) map[string]*State {
	t.Helper()
	shared.once.Do(func() {
		shared.states = map[string]*State{}
		for i, r := range invented[:3] {
			rec := inventRecord(uint64(i + 1))
			o, err := rec.Outlook(r, c, forecast.Options{Members: 60})
			if err != nil {
				shared.err = err
				return
			}
			measured := func(v float64) wading.Reading { return wading.Reading{Value: v, Age: time.Hour, Present: true} }
			in := wading.Input{At: noon, Flow: measured(rec.Flow[len(rec.Flow)-1]), Water: measured(11)}
			shared.states[r.Slug] = &State{Outlook: o, Caution: wading.Assess(in), CautionAt: noon,
				Flows: &trip.Flows{Day0: rec.Day0, M3s: rec.Flow, Limits: &wading.Limits{CareM3s: 12, BetterNotM3s: 20, KeepOutM3s: 28}}}
		}
	})
	if shared.err != nil {
		t.Fatal(shared.err)
	}
	return shared.states
}

// world is the pages with all that they can have, over a database of their own.
type world struct {
	Options
	handler http.Handler
	diary   *diary.Store
	subs    *subscribe.Store

	mu   sync.Mutex
	sent []subscribe.Invitation
}

func (w *world) invitations() []subscribe.Invitation {
	w.mu.Lock()
	defer w.mu.Unlock()
	return append([]subscribe.Invitation(nil), w.sent...)
}

func newWorld(t testing.TB, change func(*Options)) *world {
	t.Helper()
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	ctx := context.Background()
	d, err := db.OpenMigrated(ctx, "sqlite://"+filepath.ToSlash(filepath.Join(t.TempDir(), "eclose.db")))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	now := func() time.Time { return noon }
	memory := NewMemory(invented)
	for slug, st := range inventStates(t, c) {
		memory.Put(slug, st)
	}
	memory.PutFeeds([]Feed{
		{River: "wend", Feed: "usgs", Site: "99000001", What: "discharge, water temperature", Newest: noon.Add(-time.Hour), Retrieved: noon.Add(-30 * time.Minute)},
		{River: "odd", Feed: "csv", Site: hostile, What: hostile, Newest: noon.Add(-9 * time.Hour), Problem: hostile},
	})
	subs, err := subscribe.New(ctx, d, subscribe.Names{
		River: func(s string) bool { return s == "wend" || s == "garrow" || s == "odd" },
		Group: func(k string) bool { _, ok := c.Group(k); return ok },
	}, now)
	if err != nil {
		t.Fatal(err)
	}
	w := &world{diary: &diary.Store{DB: d, Now: now}, subs: subs}
	w.Options = Options{
		Data: memory, Catalogue: c, Now: now, PublicURL: "http://127.0.0.1", Diary: w.diary, Reports: w.diary, Links: subs.Links, Subscribe: subs,
		Invite: func(_ context.Context, inv *subscribe.Invitation) error {
			w.mu.Lock()
			defer w.mu.Unlock()
			w.sent = append(w.sent, *inv)
			return nil
		},
		BacktestFiles: fstest.MapFS{"backtest.txt": {Data: []byte("The forecast was no better than the calendar <here>.\n\nMore.\n")}, "table.csv": {Data: []byte("a,b\n")}, "report.html": {Data: []byte("<script>alert(1)</script>")}},
		PerSecond:     1e4,
	}
	if change != nil {
		change(&w.Options)
	}
	if w.handler, err = New(w.Options); err != nil {
		t.Fatal(err)
	}
	return w
}

// ask sends a request as if from a browser on this machine.
func (w *world) ask(r *http.Request) *httptest.ResponseRecorder {
	if r.RemoteAddr == "192.0.2.1:1234" { // what httptest fills in
		r.RemoteAddr = "127.0.0.1:50000"
		r.Host = "127.0.0.1:8437"
	}
	rec := httptest.NewRecorder()
	w.handler.ServeHTTP(rec, r)
	return rec
}

func (w *world) get(path string) *httptest.ResponseRecorder {
	return w.ask(httptest.NewRequest(http.MethodGet, path, nil))
}

// post loads a form's page for its mark and cookie, and sends the form.
func (w *world) post(t testing.TB, formAt, path, fields string) *httptest.ResponseRecorder {
	t.Helper()
	page := w.get(formAt)
	r := httptest.NewRequest(http.MethodPost, path, strings.NewReader("mark="+markOf(t, page.Body.String())+"&"+fields))
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	for _, c := range page.Result().Cookies() {
		r.AddCookie(c)
	}
	return w.ask(r)
}

func markOf(t testing.TB, html string) string {
	t.Helper()
	_, after, ok := strings.Cut(html, `name="mark" value="`)
	mark, _, ok2 := strings.Cut(after, `"`)
	if !ok || !ok2 {
		t.Fatalf("the page has no mark:\n%.300s", html)
	}
	return mark
}
