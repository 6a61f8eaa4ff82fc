package replay

import (
	"bytes"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
)

// Route answers requests of one path.
type Route struct {
	Path  string            // exact path
	Query map[string]string // each must be contained in the request's parameter of that name; "" means: must be absent
	File  string            // recorded answer, below the folder; "" with Body set
	Body  string            // invented answer
	Code  int               // 0 for 200
	Type  string            // media type; "" tells it from the ending of File
}

// Server is the handler and what it was asked.
type Server struct {
	dir    string
	routes []Route
	mu     sync.Mutex
	asked  []*http.Request
}

// New serves routes from a folder; the first that fits answers.
func New(dir string, routes []Route) *Server { return &Server{dir: dir, routes: routes} }

// Asked lists the requests so far.
func (s *Server) Asked() []*http.Request {
	s.mu.Lock()
	defer s.mu.Unlock()
	return append([]*http.Request(nil), s.asked...)
}

// liveHosts are replaced in answers by the replaying server, so that links to
// next pages lead back to it.
var liveHosts = []string{"https://api.waterdata.usgs.gov", "https://api.weather.gov", "http://environment.data.gov.uk", "https://environment.data.gov.uk"}

// ServeHTTP implements http.Handler.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	s.asked = append(s.asked, r.Clone(r.Context()))
	s.mu.Unlock()
	for _, route := range s.routes {
		if route.Path != r.URL.Path || !fits(route.Query, r.URL.Query()) {
			continue
		}
		body := []byte(route.Body)
		if route.File != "" {
			b, err := os.ReadFile(filepath.Join(s.dir, route.File))
			if err != nil {
				http.Error(w, "the recorded answer is missing: "+err.Error(), http.StatusInternalServerError)
				return
			}
			body = b
		}
		scheme := "http"
		if r.TLS != nil {
			scheme = "https"
		}
		for _, h := range liveHosts {
			body = bytes.ReplaceAll(body, []byte(h), []byte(scheme+"://"+r.Host))
		}
		w.Header().Set("Content-Type", mediaType(route))
		if route.Code != 0 {
			w.WriteHeader(route.Code)
		}
		_, _ = w.Write(body)
		return
	}
	http.NotFound(w, r)
}

func fits(want map[string]string, got url.Values) bool {
	for k, v := range want {
		if v == "" && got.Has(k) || v != "" && !strings.Contains(got.Get(k), v) {
			return false
		}
	}
	return true
}

func mediaType(r Route) string {
	switch {
	case r.Type != "":
		return r.Type
	case strings.HasSuffix(r.File, ".csv"):
		return "text/csv; charset=utf-8"
	case strings.HasSuffix(r.File, ".xml"):
		return "text/xml"
	case strings.HasSuffix(r.File, ".rdb"), strings.HasSuffix(r.File, ".txt"):
		return "text/plain"
	}
	return "application/geo+json"
}

// Shared is the path of a recorded file beside the repository: ECLOSE_SHARED,
// or ../shared next to the folder of go.mod. Where it is absent the test is
// skipped and says so; with ECLOSE_CI=1 that is a failure.
func Shared(tb testing.TB, parts ...string) string {
	tb.Helper()
	dir := os.Getenv("ECLOSE_SHARED")
	if dir == "" {
		dir = filepath.Join(Root(tb), "..", "shared")
	}
	path := filepath.Join(append([]string{dir}, parts...)...)
	if _, err := os.Stat(path); err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			tb.Fatalf("the recorded data are missing: %v", err)
		}
		tb.Skipf("the recorded data are absent (set ECLOSE_SHARED): %v", err)
	}
	return path
}

// Root is the folder of go.mod.
func Root(tb testing.TB) string {
	tb.Helper()
	dir, err := os.Getwd()
	if err != nil {
		tb.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			tb.Fatal("no go.mod above the test")
		}
		dir = up
	}
}

// Seeds are the recorded files of the given folders of feeds, for fuzz targets;
// none where the data are absent. Files above most bytes are left out, because
// the fuzzer copies and mutates each.
func Seeds(tb testing.TB, most int64, folders ...string) [][]byte {
	tb.Helper()
	return seeds(tb, "feeds", most, folders)
}

// Official are the same of warnings and official forecasts.
func Official(tb testing.TB, most int64, folders ...string) [][]byte {
	tb.Helper()
	return seeds(tb, "official", most, folders)
}

func seeds(tb testing.TB, kind string, most int64, folders []string) [][]byte {
	tb.Helper()
	dir := os.Getenv("ECLOSE_SHARED")
	if dir == "" {
		dir = filepath.Join(Root(tb), "..", "shared")
	}
	var out [][]byte
	for _, f := range folders {
		names, _ := filepath.Glob(filepath.Join(dir, kind, f, "*"))
		for _, n := range names {
			if st, err := os.Stat(n); err != nil || st.Size() > most {
				continue
			}
			b, err := os.ReadFile(n)
			if err != nil {
				tb.Fatal(err)
			}
			out = append(out, b)
		}
	}
	return out
}
