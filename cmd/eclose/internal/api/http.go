package api

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"maps"
	"net/http"
	"strings"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/negotiation"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/notify/subscribe"
)

// Bounds of a request and of what is worth packing; our own.
const (
	maxURL   = 4 << 10
	packFrom = 1 << 10
)

// problem is an error as RFC 9457 has it, whatever format was asked for.
type problem struct{ huma.ErrorModel }

// ContentType is asked by huma.
func (*problem) ContentType(string) string { return "application/problem+json" }

// huma has its errors and the meaning of an empty list in variables of the package.
func init() {
	huma.DefaultArrayNullable = false
	plain := huma.NewError
	huma.NewError = func(status int, msg string, errs ...error) huma.StatusError {
		if status == http.StatusUnprocessableEntity { // OGC API asks for 400 where a parameter is wrong
			status = http.StatusBadRequest
		}
		if status == http.StatusInternalServerError { // the cause is not the caller's business
			msg, errs = "The server could not answer. Its log has the reason.", nil
		}
		m, _ := plain(status, msg, errs...).(*huma.ErrorModel)
		for _, d := range m.Errors {
			if _, err := json.Marshal(d.Value); err != nil { // JSON has no NaN
				d.Value = fmt.Sprint(d.Value)
			}
		}
		return &problem{*m}
	}
}

// refuse answers with a problem outside huma.
func refuse(w http.ResponseWriter, status int, detail string) {
	w.Header().Set("Content-Type", "application/problem+json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(map[string]any{"status": status, "title": http.StatusText(status), "detail": detail}) // a reader that went away is no fault
}

// suffixes are the ends of a path that ask for a format.
var suffixes = map[string]string{".json": "application/json", ".csv": csvType, ".geojson": geoType}

// negotiated asks for one format: that of the path's end, else the one that Accept
// likes best, else JSON.
func negotiated(r *http.Request) *http.Request {
	r = r.Clone(r.Context())
	r.URL.Path, r.URL.RawPath = strings.TrimSuffix(r.URL.Path, "/"), ""
	accept := negotiation.SelectQValue(r.Header.Get("Accept"), []string{"application/json", csvType, geoType})
	for end, kind := range suffixes {
		if p, ok := strings.CutSuffix(r.URL.Path, end); ok && !strings.HasPrefix(p, Root+"/openapi") {
			r.URL.Path, accept = p, kind
			break
		}
	}
	r.Header.Set("Accept", accept)
	return r
}

// answer holds an answer back until it is whole.
type answer struct {
	header http.Header
	code   int
	body   []byte
	gz     []byte
	tag    string
}

func (a *answer) Header() http.Header  { return a.header }
func (a *answer) WriteHeader(code int) { a.code = code }

func (a *answer) Write(b []byte) (int, error) {
	a.body = append(a.body, b...)
	return len(b), nil
}

// finish tags and packs an answer.
func (a *answer) finish() {
	sum := sha256.Sum256(a.body)
	a.tag = `"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`
	if len(a.body) < packFrom {
		return
	}
	var b bytes.Buffer
	z, _ := gzip.NewWriterLevel(&b, gzip.BestSpeed) // the level is a valid one
	z.Write(a.body)                                 //nolint:errcheck // a buffer takes all
	z.Close()                                       //nolint:errcheck // likewise
	a.gz = bytes.Clone(b.Bytes())                   // without the room that it grew by
}

// ServeHTTP stands before every operation: who may ask how often, formats, tags,
// packing, and that any site may read.
func (s *service) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	h.Set("Access-Control-Allow-Origin", "*")
	h.Set("Access-Control-Expose-Headers", "ETag, Link, Retry-After")
	h.Set("Cross-Origin-Resource-Policy", "cross-origin")
	h.Set("X-Content-Type-Options", "nosniff")
	h.Set("Content-Security-Policy", "default-src 'none'; frame-ancestors 'none'")
	switch {
	case !s.limits.Allow(subscribe.NetworkOf(s.ClientOf(r))):
		h.Set("Retry-After", "10")
		refuse(w, http.StatusTooManyRequests, "Too many requests. Wait ten seconds.")
		return
	case len(r.URL.RequestURI()) > maxURL:
		refuse(w, http.StatusRequestURITooLong, "This address is too long.")
		return
	case r.Method == http.MethodOptions:
		h.Set("Access-Control-Allow-Methods", "GET, HEAD")
		h.Set("Access-Control-Allow-Headers", "Accept, If-None-Match")
		h.Set("Access-Control-Max-Age", "86400")
		w.WriteHeader(http.StatusNoContent)
		return
	case r.Method != http.MethodGet && r.Method != http.MethodHead:
		h.Set("Allow", "GET, HEAD, OPTIONS")
		refuse(w, http.StatusMethodNotAllowed, "Only GET and HEAD are served.")
		return
	}
	r = negotiated(r)
	key := s.key(r)
	a := s.kept.get(key)
	if a == nil {
		a = &answer{header: http.Header{}, code: http.StatusOK}
		s.mux.ServeHTTP(a, r)
		a.finish()
		if a.code == http.StatusOK && key != "" {
			s.kept.put(key, a)
		}
	}
	a.send(w, r)
}

func (a *answer) send(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	maps.Copy(h, a.header)
	h.Set("Vary", "Accept, Accept-Encoding")
	if a.code == http.StatusOK {
		h.Set("ETag", "W/"+a.tag) // weak: the same for packed and plain
		h.Set("Cache-Control", "no-cache")
		if pages.Has(r, a.tag) {
			h.Del("Content-Type")
			w.WriteHeader(http.StatusNotModified)
			return
		}
	}
	body := a.gz
	if body != nil && pages.TakesGzip(r) {
		h.Set("Content-Encoding", "gzip")
	} else {
		body = a.plain()
	}
	w.WriteHeader(a.code)
	if r.Method != http.MethodHead {
		_, _ = w.Write(body) // a reader that went away is no fault
	}
}
