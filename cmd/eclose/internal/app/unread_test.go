package app

import (
	"context"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/cmd/eclose/internal/page/pagetest"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// savedRivers is a refresher over an archive that holds the forecast of one river, whose caution
// was judged at a level.
type savedRivers struct {
	*refresher
	file string // of the forecast
	now  time.Time
}

func newSavedRivers(t *testing.T, level wading.Level) *savedRivers {
	t.Helper()
	ctx := t.Context()
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	outlooks, _ := pagetest.Outlooks(t, c)
	d := dbtest.Open(t, dbtest.SQLiteURL(t))
	if _, err := db.FeedStates(ctx, d.SQL); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	store, err := series.Open(ctx, dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = store.Close() }) // a test's folder
	a := archive.New(d, store.Files())
	if err := a.Save(ctx, outlooks["wend"], pagetest.Noon); err != nil {
		t.Fatal(err)
	}
	s := &savedRivers{now: pagetest.Noon}
	s.refresher = newRefresher(pagetest.Rivers[:1], d, a, store, store, func() time.Time { return s.now }, zerolog.Nop())
	s.renew(ctx)
	st, err := s.State(ctx, "wend")
	if err != nil || st == nil || st.Outlook == nil {
		t.Fatalf("%+v %v", st, err)
	}
	judged := *st
	judged.Caution = wading.Caution{At: s.now, Until: s.now.Add(10 * time.Minute), Zone: time.UTC, Known: true, Level: level, Flow: wading.Reading{Present: true, Value: 9}}
	s.Put("wend", &judged)
	all, err := filepath.Glob(filepath.Join(dir, "outlooks", "wend", "2026", "*"))
	if err != nil || len(all) != 1 {
		t.Fatal(all, err)
	}
	s.file = all[0]
	return s
}

// forget drops the whole forecasts that are kept.
func (s *savedRivers) forget() {
	s.opened.mu.Lock()
	defer s.opened.mu.Unlock()
	s.opened.kept.Purge()
}

// own are the pages of a river that show its forecast whole.
var own = []string{"/river/wend", "/river/wend/season", "/river/wend/water", "/river/wend/day/2026-05-20", "/river/wend/sheet.html"}

// A forecast that cannot be read leaves the caution unknown and no lower than it was known,
// on each page that needs it; and the page is back as soon as the file is.
func TestAForecastThatCannotBeReadLeavesTheCautionUnknownAndNoLower(t *testing.T) {
	for level, words := range map[wading.Level]string{wading.Quiet: "Caution level unknown: treat the river as too high", wading.KeepOut: "Caution level unknown, but at least 3"} {
		s := newSavedRivers(t, level)
		h := readers(t, s.Memory, func() time.Time { return s.now })
		good, err := os.ReadFile(s.file)
		if err != nil {
			t.Fatal(err)
		}
		damaged := append([]byte(nil), good...)
		damaged[len(damaged)/2] ^= 0x40
		if err := os.WriteFile(s.file, damaged, 0o600); err != nil {
			t.Fatal(err)
		}
		s.forget()
		for _, page := range own {
			w := asked(h, page)
			body := w.Body.String()
			if w.Code != http.StatusServiceUnavailable || !strings.Contains(body, words) || !strings.Contains(body, "cannot be read at the moment") || w.Header().Get("Cache-Control") != "no-store" {
				t.Errorf("%s at level %d: %d, and not %q in\n%s", page, level, w.Code, words, body)
			}
			for _, never := range []string{"usual care", "Go ", "Best "} {
				if strings.Contains(body, never) {
					t.Errorf("%s at level %d says %q", page, level, never)
				}
			}
		}
		for _, answer := range []string{"", "/windows", "/days", "/water", "/flow"} {
			if w := asked(h, "/api/v1/rivers/wend/forecasts/latest"+answer); w.Code < 500 {
				t.Errorf("the API answers %s with %d", answer, w.Code)
			}
		}
		if err := os.WriteFile(s.file, good, 0o600); err != nil {
			t.Fatal(err)
		}
		for _, page := range own {
			if w := asked(h, page); w.Code != http.StatusOK {
				t.Errorf("%s with the file back: %d", page, w.Code)
			}
		}
	}
}

// A reading that takes too long ends in a page that names no caution, not in a lower one.
func TestAForecastThatIsLateNamesNoCaution(t *testing.T) {
	s := newSavedRivers(t, wading.Quiet)
	ended := make(chan struct{})
	defer close(ended)
	s.opened.load = func(context.Context, archive.Issue) (*forecast.Outlook, error) {
		<-ended
		return nil, context.DeadlineExceeded
	}
	s.forget()
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	h, err := pages.New(pages.Options{Data: s.Memory, Catalogue: c, Now: func() time.Time { return s.now }, Timeout: 50 * time.Millisecond})
	if err != nil {
		t.Fatal(err)
	}
	for _, page := range own {
		w := asked(h, page)
		if body := w.Body.String(); w.Code != http.StatusServiceUnavailable || strings.Contains(body, "usual care") || !strings.Contains(body, "took too long") {
			t.Errorf("%s: %d\n%s", page, w.Code, body)
		}
	}
}
