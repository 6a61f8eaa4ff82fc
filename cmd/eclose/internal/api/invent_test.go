package api

import (
	"context"
	"errors"
	"net/http"
	"net/http/httptest"
	"net/netip"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/cmd/eclose/internal/page/pagetest"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// noon is the clock of the tests.
var noon = pagetest.Noon

// world is the API over an archive with two outlooks of the first river.
type world struct {
	http.Handler
	memory  *pages.Memory
	now     time.Time
	columns map[string][]column // of CSV by path, as the document has them
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
	w := &world{memory: pagetest.Memory(tb, c), now: noon}
	issues := archive.New(d, files)
	all, _ := pagetest.Outlooks(tb, c)
	for _, o := range all {
		if err := issues.Save(ctx, o, noon); err != nil {
			tb.Fatal(err)
		}
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

// brokenIssues is an archive that cannot be read.
type brokenIssues struct{ Issues }

func (brokenIssues) List(context.Context, string, time.Time, time.Time) ([]archive.Head, error) {
	return nil, errors.New("open /var/lib/eclose/eclose.db: no such file")
}
