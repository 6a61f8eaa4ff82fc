package app

import (
	"context"
	"net/http"
	"net/http/httptest"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/api"
	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/cmd/eclose/internal/page/pagetest"
	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
)

// briefly is page data whose states hold brief forecasts and read the whole ones when
// they are asked to, as those of a server.
func briefly(t *testing.T, whole *pages.Memory) *pages.Memory {
	t.Helper()
	m := pages.NewMemory(whole.Rivers())
	for _, r := range whole.Rivers() {
		st, err := whole.State(t.Context(), r.Slug)
		if err != nil {
			t.Fatal(err)
		}
		if st == nil {
			continue
		}
		brief := *st
		brief.Outlook = st.Outlook.Brief()
		brief.Load = func(context.Context) (*forecast.Outlook, error) { return st.Outlook, nil }
		m.Put(r.Slug, &brief)
	}
	return m
}

// readers are the pages and the API over some page data.
func readers(t *testing.T, data *pages.Memory, now func() time.Time) http.Handler {
	t.Helper()
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	h, err := pages.New(pages.Options{Data: data, Catalogue: c, Now: now, PerSecond: 1e9, Key: []byte("a key of this test, no secret")})
	if err != nil {
		t.Fatal(err)
	}
	programs, err := api.New(api.Options{Data: data, Catalogue: c, Now: now, PerSecond: 1e9})
	if err != nil {
		t.Fatal(err)
	}
	mux := http.NewServeMux()
	mux.Handle("/api/", programs)
	mux.Handle("/", h)
	return mux
}

func asked(h http.Handler, path string) *httptest.ResponseRecorder {
	w := httptest.NewRecorder()
	h.ServeHTTP(w, httptest.NewRequest(http.MethodGet, path, nil))
	return w
}

// begun are addresses that no page links to, or with other questions than those of links.
var begun = []string{"/", "/?units=us", "/calendar.ics", "/cautions.atom", "/trip?from=2026-06-01&to=2026-07-31&days=5", "/trip.ics?from=2026-06-01&to=2026-07-31&days=3",
	"/trip?from=2026-05-20&to=2026-06-02&days=2&river=garrow&units=us", "/trip?from=2027-01-01&to=2027-02-01", "/trip?from=2026-05-18&to=2026-06-28&days=3", // a plan looks back before the issue
	"/calendar.ics?group=salmonfly&group=trico&river=wend", "/subscribe?river=wend",
	"/river/wend/sheet.html", "/river/wend/day/2026-05-02", "/river/garrow/day/2026-08-20", "/river/dry",
	"/api/v1/rivers", "/api/v1/rivers.csv", "/api/v1/verdict", "/api/v1/verdict?days=60", "/api/v1/verdict?group=salmonfly", "/api/v1/collections/rivers/items", "/api/v1/collections/windows/items?limit=500",
	"/api/v1/collections/windows/items/wend.salmonfly.emergence", "/api/v1/collections/series/locations/wend", "/api/v1/collections/series/position?coords=POINT(-131%2045)",
	"/api/v1/rivers/wend", "/api/v1/rivers/wend/caution", "/api/v1/rivers/wend/verdict", "/api/v1/rivers/wend/forecasts", "/api/v1/rivers/wend/forecasts/latest", "/api/v1/rivers/wend/scores",
	"/api/v1/rivers/wend/forecasts/latest/windows.csv", "/api/v1/rivers/wend/forecasts/latest/days?group=salmonfly&limit=1000", "/api/v1/rivers/wend/forecasts/latest/water?limit=1000",
	"/api/v1/rivers/wend/forecasts/latest/flow?limit=1000", "/api/v1/rivers/wend/forecasts/2026-05-18T19:00:00Z/water?from=2026-01-01&limit=1000"}

var linked = regexp.MustCompile(`href="(/[^"#]*)`)

// All pages and answers are the same, byte by byte, whether a server holds whole forecasts
// or brief ones: on the day of issue, and for forecasts that grew old.
func TestReadersSeeTheSameFromBriefForecasts(t *testing.T) {
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	data := pagetest.Memory(t, c)
	for _, age := range []time.Duration{0, 5 * time.Hour, 9 * 24 * time.Hour, 100 * 24 * time.Hour} {
		at := pagetest.Noon.Add(age)
		now := func() time.Time { return at }
		whole, brief := readers(t, data, now), readers(t, briefly(t, data), now)
		queue, days := slices.Clone(begun), 0
		for i := 0; i < len(queue); i++ {
			a, b := asked(whole, queue[i]), asked(brief, queue[i])
			if a.Code != b.Code || a.Body.String() != b.Body.String() {
				t.Errorf("%s after %s: %d with %d bytes from whole forecasts, %d with %d from brief ones", queue[i], age, a.Code, a.Body.Len(), b.Code, b.Body.Len())
			}
			if !strings.HasPrefix(a.Header().Get("Content-Type"), "text/html") {
				continue
			}
			for _, l := range linked.FindAllStringSubmatch(a.Body.String(), -1) {
				if next := strings.ReplaceAll(l[1], "&amp;", "&"); !slices.Contains(queue, next) {
					if strings.Contains(next, "/day/") { // each links to the next
						if days++; days > 40 {
							continue
						}
					}
					queue = append(queue, next)
				}
			}
		}
		if len(queue) < len(begun)+50 {
			t.Errorf("only %d addresses were compared", len(queue))
		}
	}
}
