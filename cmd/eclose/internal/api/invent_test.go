package api

import (
	"context"
	"math"
	"math/rand/v2"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"sync"
	"testing"
	"testing/fstest"
	"time"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// noon is the clock of the tests.
var noon = time.Date(2026, 5, 18, 19, 0, 0, 0, time.UTC)

var invented = []forecast.River{
	{Slug: "wend", Name: `Wend "upper", <b>`, Region: "pacific-nw-ca", Zone: "America/Los_Angeles", Lat: 45.2, Lon: -131.4, Gauges: []forecast.Station{{Feed: "usgs", Site: "99000001"}}},
	{Slug: "garrow", Name: "Garrow", Region: "pacific-nw-ca", Zone: "America/Los_Angeles", Lat: 44.6, Lon: -131.1, Regulated: true},
	{Slug: "dry", Name: "Dry Beck", Region: "pacific-nw-ca", Zone: "America/Los_Angeles", Lat: 45, Lon: -131},
}

// record is six years of invented daily air, water and flow up to an issue.
func record(seed uint64, at time.Time) forecast.Record {
	issue, day0 := forecast.DateOf(at.Add(-7*time.Hour)), forecast.DateOf(time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC))
	r := forecast.Record{Day0: day0, Issue: issue, IssuedAt: at, Cutoff: at.Add(-time.Hour)}
	rng := rand.New(rand.NewPCG(seed, 7))
	w := 4.0
	for i := range int(issue - day0) {
		doy := float64((day0 + forecast.Date(i)).Time().YearDay())
		air := 8 + 11*math.Cos(2*math.Pi*(doy-205)/365.25) + 2*rng.NormFloat64()
		w += (math.Max(0, 0.8*air+2) - w) / 3
		r.Air, r.Water = append(r.Air, air), append(r.Water, w)
		r.WaterMin, r.WaterMax = append(r.WaterMin, w-1), append(r.WaterMax, w+1.2)
		r.Flow = append(r.Flow, 8+30*math.Exp(-(doy-145)/25*((doy-145)/25))*math.Exp(0.2*rng.NormFloat64()))
	}
	return r
}

var made struct {
	once     sync.Once
	outlooks map[string]*forecast.Outlook // by river; "earlier": an older one of the first
	flows    map[string][]float64
	err      error
}

func inventOutlooks(tb testing.TB, c *insects.Catalogue) map[string]*forecast.Outlook {
	tb.Helper()
	made.once.Do(func() {
		made.outlooks, made.flows = map[string]*forecast.Outlook{}, map[string][]float64{}
		for i, x := range []struct {
			name  string
			river forecast.River
			at    time.Time
		}{{"wend", invented[0], noon}, {"garrow", invented[1], noon}, {"earlier", invented[0], noon.Add(-10 * 24 * time.Hour)}} {
			rec := record(uint64(i%2+1), x.at)
			made.outlooks[x.name], made.err = rec.Outlook(x.river, c, forecast.Options{Members: 60})
			if made.err != nil {
				return
			}
			made.flows[x.name] = rec.Flow
		}
	})
	if made.err != nil {
		tb.Fatal(made.err)
	}
	return made.outlooks
}

// world is the API over an archive with two outlooks of the first river.
type world struct {
	http.Handler
	memory *pages.Memory
	now    time.Time
}

func newWorld(tb testing.TB, change func(*Options)) *world {
	tb.Helper()
	c, err := insects.Load()
	if err != nil {
		tb.Fatal(err)
	}
	ctx := context.Background()
	d, err := db.OpenMigrated(ctx, "sqlite://"+tb.TempDir()+"/eclose.db")
	if err != nil {
		tb.Fatal(err)
	}
	files, err := series.OpenFiles(ctx, "file://"+tb.TempDir())
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { files.Close(); d.Close() })
	w := &world{memory: pages.NewMemory(invented), now: noon}
	issues := archive.New(d, files)
	all := inventOutlooks(tb, c)
	for _, o := range all {
		if err := issues.Save(ctx, o, noon); err != nil {
			tb.Fatal(err)
		}
	}
	for _, r := range invented[:2] {
		in := wading.Input{At: noon, Zone: forecast.ZoneOf(r.Zone), Regulated: r.Regulated,
			Flow: wading.Reading{Value: 9.5, Age: time.Hour, Present: true}, Water: wading.Reading{Value: 11, Age: 30 * time.Minute, Present: true}}
		w.memory.Put(r.Slug, &pages.State{Outlook: all[r.Slug], Caution: wading.Assess(in), CautionAt: noon,
			Warnings: wading.Warnings{Asked: true, Known: true, List: []wading.Warning{{Event: "Flood Watch", Authority: "the Tarn Fells weather office (invented)", Expires: noon.Add(6 * time.Hour)}}},
			Flows:    &trip.Flows{Day0: forecast.DateOf(time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)), M3s: made.flows[r.Slug]}})
	}
	o := Options{Data: w.memory, Issues: issues, Catalogue: c, Now: func() time.Time { return w.now }, PublicURL: "http://rivers.example.org", Credits: "U.S. Geological Survey (public domain)", Notice: "All of this is invented.",
		PerSecond: 1e6, ClientOf: func(*http.Request) netip.Addr { return netip.MustParseAddr("192.0.2.7") },
		Reports: fstest.MapFS{"scores.csv": {Data: []byte("scope,group,stage,river,lead,seasons,n,score,score_calendar,skill,skill_low,skill_high,dates,date_error,verdict\nlead,,,,7,5,120,0.11,0.14,0.21,0.05,0.33,40,3.5,better than the calendar\nlead,,,,60,5,120,0.15,,,,,0,,not demonstrated\n")}}}
	if change != nil {
		change(&o)
	}
	if w.Handler, err = New(o); err != nil {
		tb.Fatal(err)
	}
	return w
}

// get asks for a path, with further headers as name and value in turn.
func (w *world) get(path string, headers ...string) *httptest.ResponseRecorder {
	r := httptest.NewRequest(http.MethodGet, path, nil)
	for i := 0; i+1 < len(headers); i += 2 {
		r.Header.Set(headers[i], headers[i+1])
	}
	out := httptest.NewRecorder()
	w.ServeHTTP(out, r)
	return out
}

// known makes the caution of a river a known one.
func (w *world) known(slug string) wading.Caution {
	st, _ := w.memory.State(context.Background(), slug)
	s := *st
	s.Caution.Known, s.Caution.Until, s.CautionAt = true, noon.Add(time.Hour), noon
	w.memory.Put(slug, &s)
	return s.Caution
}

func contains(t *testing.T, what, text string, words ...string) {
	t.Helper()
	for _, x := range words {
		if !strings.Contains(text, x) {
			t.Errorf("%s lacks %q:\n%.2000s", what, x, text)
		}
	}
}
