package page

import (
	"bytes"
	"context"
	"crypto/sha256"
	"embed"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"hash/fnv"
	"html/template"
	"io/fs"
	"net/http"
	"net/url"
	"path"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/chart"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

//go:embed templates assets
var files embed.FS

// errNotFound is wrapped where there is no such page, errRefused where somebody
// may not see it, errForm where a form cannot be taken as it is.
var (
	errNotFound = errors.New("page not found")
	errStale    = errors.New("this form has expired: go back, reload the page and try again")
)

// answer is what a handler wants shown.
type answer struct {
	name  string // of the template
	title string
	here  string // entry of the menu
	code  int    // 0: 200
	to    string // instead of a page: go there (a path of this site)
	owner bool   // instead of a page: give the owner's cookie and go to to
	body  any
	form  bool // needs a mark
	raw   []byte
	kind  string // content type of raw
	file  string // name to save raw under
}

// view is what a template sees.
type view struct {
	Title, Here string
	Mark        string
	US          bool
	Units       string // address of the same page in the other units
	CSS         template.CSS
	JS          string // address
	HasDiary    bool
	HasMail     bool
	Caution     string
	Credits     string // whose data it is
	Notice      string
	B           any
}

var templates = template.Must(template.New("").Funcs(template.FuncMap{
	"pair":       pair,
	"percent":    func(p float64) string { return strings.ReplaceAll(forecast.Percent(p), " ", "\u00a0") }, // a number stays with its sign
	"likelihood": forecast.Likelihood,
	"dates": func(r forecast.Range) []string { // each of which stays on one line
		return []string{r.P50.Short(), "(" + r.Spread() + ")"}
	},
	"name":    groupName,
	"hooks":   func(s string) string { return strings.ReplaceAll(s, " × size ", "\u00a0×\u00a0size\u00a0") },
	"day":     func(d forecast.Date) string { return d.Time().Format("Mon 2 Jan") },
	"longday": func(d forecast.Date) string { return d.Time().Format("Monday 2 January 2006") },
	"stamp":   func(t time.Time) string { return t.UTC().Format("2 Jan 2006 15:04 UTC") },
	"utc":     func(t time.Time) string { return t.UTC().Format(time.RFC3339) },
	"join":    strings.Join,
	"lower":   strings.ToLower,
	"upper":   forecast.UpperFirst,
	"add":     func(a, b int) int { return a + b },
	"hours":   func(s string) []string { return strings.Split(s, " and ") },
	"stage": func(lines []stageLine, up bool) *stageLine {
		for i := range lines {
			if lines[i].Up == up {
				return &lines[i]
			}
		}
		return nil
	},
}).ParseFS(files, "templates/*.html"))

// groupName is the key of a group as people write it.
func groupName(key string) string { return forecast.UpperFirst(insects.Label(key)) }

// units of a reader: asked for now, chosen before, or the first choice.
func (s *site) units(w http.ResponseWriter, r *http.Request) wading.Units {
	v := r.URL.Query().Get("units")
	if v == "us" || v == "metric" {
		s.setCookie(w, "eclose_units", v)
	} else if c, err := r.Cookie("eclose_units"); err == nil {
		v = c.Value
	}
	if v == "us" || v != "metric" && s.US {
		return wading.US
	}
	return wading.Metric
}

type unitsKey struct{}

// unitsOf are the units in the context of a request.
func unitsOf(ctx context.Context) wading.Units {
	u, _ := ctx.Value(unitsKey{}).(wading.Units)
	return u
}

func (s *site) withUnits(w http.ResponseWriter, r *http.Request) *http.Request {
	return r.WithContext(context.WithValue(r.Context(), unitsKey{}, s.units(w, r)))
}

// kept serves a page that is the same for all who read in the same units, and
// keeps it until something behind it changes.
func (s *site) kept(make func(*http.Request) (*answer, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		r = s.withUnits(w, r)
		key, err := s.key(r)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		f := s.pages.get(key, func() ([]byte, error) {
			a, err := make(r)
			if err != nil {
				return nil, err
			}
			return s.render(r, a, "")
		})
		if f.err != nil {
			s.fail(w, r, f.err)
			return
		}
		f.send(w, r, "text/html; charset=utf-8", "Accept-Encoding, Cookie")
	}
}

// key names what a kept page is made of. Ages are shown to the minute, and the
// minutes of rivers do not end together: fifty pages are not made at once.
func (s *site) key(r *http.Request) (string, error) {
	slugs := []string{r.PathValue("slug")}
	if slugs[0] == "" {
		slugs = slugs[:0]
		for _, x := range s.Data.Rivers() {
			slugs = append(slugs, x.Slug)
		}
	} else if _, ok := s.river(slugs[0]); !ok {
		return "", errNotFound
	}
	h := fnv.New32a()
	h.Write([]byte(r.URL.Path))
	minute := (s.Now().Unix() + int64(h.Sum32()%60)) / 60
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s %d %d %d", r.URL.Path, s.groupAsked(r), unitsOf(r.Context()), minute, s.written.Load())
	for _, slug := range slugs {
		st, err := s.Data.State(r.Context(), slug)
		if err != nil {
			return "", err
		}
		if st != nil && st.Outlook != nil {
			fmt.Fprintf(&b, " %d %d %t", st.Outlook.IssuedAt.UnixNano(), st.Caution.Level, st.Caution.Known)
		}
	}
	return Digest(b.String()), nil
}

// live serves a page made for this one request.
func (s *site) live(make func(*http.Request) (*answer, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		r = s.withUnits(w, r)
		a, err := make(r)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		s.send(w, r, a)
	}
}

// form serves what a form sends, if it carries the mark of this browser.
func (s *site) form(make func(*http.Request) (*answer, error)) http.HandlerFunc {
	return s.live(func(r *http.Request) (*answer, error) {
		if err := r.ParseForm(); err != nil {
			return nil, fmt.Errorf("reading the form: %w", err)
		}
		if !s.marked(r) {
			return &answer{name: "error", title: "Not taken", code: http.StatusForbidden, body: errStale.Error()}, nil
		}
		return make(r)
	})
}

func (s *site) send(w http.ResponseWriter, r *http.Request, a *answer) {
	h := w.Header()
	h.Set("Cache-Control", "no-store")
	if a.owner {
		s.enter(w)
	}
	if a.to != "" {
		http.Redirect(w, r, within(a.to), http.StatusSeeOther)
		return
	}
	if a.raw != nil {
		h.Set("Content-Type", a.kind)
		h.Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", a.file))
		_, _ = w.Write(a.raw) // a reader that went away is no fault
		return
	}
	mark := ""
	if a.form {
		mark = s.mark(w, r)
	}
	b, err := s.render(r, a, mark)
	if err != nil {
		s.fail(w, r, err)
		return
	}
	h.Set("Content-Type", "text/html; charset=utf-8")
	if a.code != 0 {
		w.WriteHeader(a.code)
	}
	_, _ = w.Write(b) // likewise
}

func (s *site) render(r *http.Request, a *answer, mark string) ([]byte, error) {
	v := view{Title: a.title, Here: a.here, Mark: mark, US: unitsOf(r.Context()) == wading.US, Units: otherUnits(r, a),
		CSS: s.assets.style, JS: s.assets.js, HasDiary: s.Diary != nil, HasMail: s.Subscribe != nil, Caution: forecast.StandingCaution, Credits: s.credits, Notice: s.Notice, B: a.body}
	var b bytes.Buffer
	if err := templates.ExecuteTemplate(&b, a.name+".html", v); err != nil {
		return nil, fmt.Errorf("making the page %s: %w", a.name, err)
	}
	return b.Bytes(), nil
}

// otherUnits is the address of the same page in the other units. A page that is
// kept for all must not carry the query of one.
func otherUnits(r *http.Request, a *answer) string {
	q := url.Values{}
	switch g := r.URL.Query().Get("group"); {
	case a.name == "trip":
		q = r.URL.Query()
	case a.name == "home" && g != "":
		q.Set("group", g)
	}
	q.Set("units", "us")
	if unitsOf(r.Context()) == wading.US {
		q.Set("units", "metric")
	}
	return within((&url.URL{Path: r.URL.Path, RawQuery: q.Encode()}).String()) // a path of two slashes would lead to another site
}

// fail says what went wrong: to people what they can do, to the log the cause.
func (s *site) fail(w http.ResponseWriter, r *http.Request, err error) {
	a := &answer{name: "error", title: "Something went wrong", code: http.StatusInternalServerError,
		body: "This page could not be shown. The server log has the reason."}
	var big *http.MaxBytesError
	var lost *unread
	switch {
	case errors.Is(err, errNotFound):
		a.title, a.code, a.body = "Page not found", http.StatusNotFound, "This page does not exist. All rivers are on the home page."
	case errors.As(err, &big):
		a.title, a.code, a.body = "Too long", http.StatusRequestEntityTooLarge, "That is more text than can be saved at once."
	case errors.Is(err, context.Canceled):
		return
	case errors.As(err, &lost):
		a = &answer{name: "unread", title: lost.head.Name, here: "rivers", code: http.StatusServiceUnavailable, body: lost.head}
		s.log.Error().Err(err).Str("path", r.Pattern).Msg("making a page")
	default:
		s.log.Error().Err(err).Str("path", r.Pattern).Msg("making a page")
	}
	b, renderErr := s.render(r, a, "")
	if renderErr != nil {
		http.Error(w, "This page could not be shown.", http.StatusInternalServerError)
		return
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.Header().Set("Cache-Control", "no-store")
	w.WriteHeader(a.code)
	_, _ = w.Write(b) // a reader that went away is no fault
}

// assets are the files of the pages, under names that change with them.
type assets struct {
	style template.CSS // stands in each page, so that nothing waits for it
	hash  string       // of the style, as the policy names it
	js    string       // address
	by    map[string]assetFile
}

type assetFile struct {
	kind     string
	body, gz []byte
}

func loadAssets() (assets, error) {
	a := assets{by: map[string]assetFile{}}
	kinds := map[string]string{".js": "text/javascript; charset=utf-8", ".svg": "image/svg+xml", ".webmanifest": "application/manifest+json"}
	entries, err := fs.ReadDir(files, "assets")
	if err != nil {
		return a, fmt.Errorf("reading the files of the pages: %w", err)
	}
	for _, e := range entries {
		b, err := files.ReadFile("assets/" + e.Name())
		if err != nil {
			return a, fmt.Errorf("reading the files of the pages: %w", err)
		}
		name := e.Name()
		switch name {
		case "page.css":
			b = append(b, chart.Style...)
			sum := sha256.Sum256(b)
			a.style, a.hash = template.CSS(b), "sha256-"+base64.StdEncoding.EncodeToString(sum[:]) //nolint:gosec // our own
			continue
		case "page.js":
			name = hashed(name, b)
			a.js = "/assets/" + name
		}
		a.by[name] = assetFile{kinds[path.Ext(name)], b, packed(b)}
	}
	return a, nil
}

func hashed(name string, b []byte) string {
	sum := sha256.Sum256(b)
	ext := path.Ext(name)
	return strings.TrimSuffix(name, ext) + "." + hex.EncodeToString(sum[:5]) + ext
}

func (s *site) asset(w http.ResponseWriter, r *http.Request) {
	f, ok := s.assets.by[r.PathValue("name")]
	if !ok {
		s.fail(w, r, errNotFound)
		return
	}
	h := w.Header()
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	f.send(w, r)
}

func (f assetFile) send(w http.ResponseWriter, r *http.Request) {
	h, body := w.Header(), f.body
	h.Set("Content-Type", f.kind)
	h.Set("Vary", "Accept-Encoding")
	if strings.Contains(r.Header.Get("Accept-Encoding"), "gzip") {
		h.Set("Content-Encoding", "gzip")
		body = f.gz
	}
	_, _ = w.Write(body) // a reader that went away is no fault
}

// manifest lets a phone install the pages.
func (s *site) manifest(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "public, max-age=86400")
	s.assets.by["app.webmanifest"].send(w, r)
}

// worker is the script that keeps pages at hand without a net. It lies at the
// root because its reach is where it lies.
func (s *site) worker(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "no-cache")
	s.assets.by["sw.js"].send(w, r)
}

func (s *site) icon(w http.ResponseWriter, r *http.Request) {
	w.Header().Set("Cache-Control", "public, max-age=86400")
	s.assets.by["icon.svg"].send(w, r)
}
