package main

import (
	"archive/zip"
	"bytes"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"html"
	"io"
	"io/fs"
	"net/http"
	neturl "net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/ingest/db"
)

// personal are the columns of the database that hold what is of a person, or opens what
// is theirs.
var personal = map[string]string{
	"person": "id, address, folded, wording, confirmed_from", "subscription": "id, person_id", "token": "hash, folded", "signup": "address, network", "outbox": "dedupe_key, message_id, person_id",
	"send_log": "dedupe_key, person_id", "never": "address", "episode": "person_id", "sighting": "notes, observer, author", "author": "id", "secret": "value", "used_link": "hash",
}

// publicHouse is a server on the open net, behind a proxy, with readers, a diary and
// secrets; private is what no stranger may see, with where it comes from.
type publicHouse struct {
	t         *testing.T
	dir, path string
	url       string
	private   map[string]string
	forms     map[string]string // disguises of private
}

const publicURL = "https://eclose.example.org"

func openPublicHouse(t *testing.T) *publicHouse {
	t.Helper()
	office, mail := openPostOffice(t)
	h := &publicHouse{t: t, private: map[string]string{}}
	secrets := map[string]string{"admin.key": "planted-admin-secret-0417", "club.hook": "whsec_" + base64.StdEncoding.EncodeToString([]byte("planted webhook secret, 32 bytes")), "usgs.key": "planted-usgs-key-2291"}
	text := strings.Replace(tarnFellsConfig(3), "contact = \"demo@example.org\"", "contact = \"planted-contact@example.net\"\nkey-file = \"usgs.key\"", 1)
	text += mail + "operator = \"planted-operator@example.net\"\n" +
		"[serve]\npublic-url = \"" + publicURL + "\"\nadmin-secret-file = \"admin.key\"\n" +
		"[[webhook]]\nname = \"club\"\nurl = \"http://127.0.0.1:9/planted-hook-path\"\nsecret-file = \"club.hook\"\n"
	h.dir, h.path = ingestedFor(t, text)
	for name, value := range secrets {
		h.private[value] = name
		if err := os.WriteFile(filepath.Join(h.dir, name), []byte(value+"\n"), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	for _, x := range []string{"planted-contact@example.net", "planted-operator@example.net", "planted-hook-path", h.dir} {
		h.private[x] = "the config"
	}
	run := func(args ...string) {
		t.Helper()
		if code, out, errs := call(t, demo.Issue, append(args, "--config", h.path)...); code != 0 {
			t.Fatalf("%v: %d %s%s", args, code, out, errs)
		}
	}
	run("forecast")
	var log *noise
	h.url, log, _ = serve(t, from(demo.Issue), "--config", h.path)
	until(t, "the pages", log, func() bool {
		code, body := get(t, h.url+"/api/v1/rivers/wend/forecasts/latest")
		return code == 200 && strings.Contains(body, "issued_at")
	})
	run("subscribe", "add", "planted-subscriber@example.net", "--river", "wend", "--consent", "planted words of consent", "--when", "flow < 900 cfs")
	run("diary", "add", "--river", "wend", "--group", "pale-morning-dun", "--stage", "emergence", "--amount", "many", "--hours", "2", "--date", "2026-05-10", "--notes", "planted note: the pool behind the mill", "--observer", "Planted Observer")
	if code, body := newVisitor(t, h.url).signUpFor(t, "wend", "planted-asker@example.net", "X-Forwarded-For", "203.0.113.77"); code != http.StatusOK {
		t.Fatalf("%d %s", code, body)
	}
	until(t, "the confirmation mail", log, func() bool { return len(office.all()) > 0 })
	for _, m := range office.all() {
		for _, token := range regexp.MustCompile(`/(?:confirm|unsubscribe|manage|never|report|my)/([A-Za-z0-9_.-]{12,})`).FindAllStringSubmatch(m, -1) {
			h.private[token[1]] = "a link in a mail"
		}
	}
	h.plantReaders()
	h.private["planted-report-id"] = "the report of a reader" // the owner's own sightings keep their id where the owner publishes them
	h.private["203.0.113."] = "the network of a visitor"
	h.forms = h.disguises()
	return h
}

// plantReaders adds what takes weeks to come about, as the tables hold it, and collects
// all that is personal.
func (h *publicHouse) plantReaders() {
	h.t.Helper()
	w, err := db.OpenWriter(h.t.Context(), filepath.Join(h.dir, "eclose.db"))
	if err != nil {
		h.t.Fatal(err)
	}
	now := db.Micros(demo.Issue)
	for _, q := range []struct {
		sql  string
		args []any
	}{
		{"INSERT INTO sighting (id, revision, day, river, grp, stage, amount, hours, notes, observer, withdrawn, recorded_at, origin, author, held) VALUES ('planted-report-id', 1, '2026-05-12', 'wend', 'pale-morning-dun', 'emergence', 'few', 1, 'planted words of a reader', '', 0, $1, 'reader', 'planted-author-5d1c', 0)", []any{now}},
		{"INSERT INTO author (id, trust, set_at) VALUES ('planted-author-5d1c', 'trusted', $1)", []any{now}},
		{"INSERT INTO never (address, at) VALUES ('planted-never@example.net', $1)", []any{now}},
		{"INSERT INTO used_link (hash, used_at, expires_at) VALUES ('planted-used-link', $1, $2)", []any{now, now + 1e12}},
	} {
		if _, err := w.SQL.ExecContext(h.t.Context(), q.sql, q.args...); err != nil {
			h.t.Fatalf("%s: %v", q.sql, err)
		}
	}
	if err := w.Close(); err != nil {
		h.t.Fatal(err)
	}
	d := dbOf(h.t, h.dir, "eclose.db")
	for table, columns := range personal {
		rows := rowsOf(h.t, d, "SELECT "+columns+" FROM "+table)
		for _, row := range rows {
			for cell := range strings.SplitSeq(row, "\x00") {
				if len(cell) >= 8 && cell != "NULL" {
					h.private[cell] = table
				}
			}
		}
	}
}

// disguises are the private texts, in small letters, as they stand plain or as addresses,
// HTML, JSON or base64 have them; each with the text it shows.
func (h *publicHouse) disguises() map[string]string {
	out := map[string]string{}
	for secret, whence := range h.private {
		quoted, _ := json.Marshal(secret) // a string has no fault
		for _, form := range []string{secret, neturl.QueryEscape(secret), neturl.PathEscape(secret), html.EscapeString(secret), strings.Trim(string(quoted), `"`), strings.TrimRight(base64.StdEncoding.EncodeToString([]byte(secret)), "=")} {
			out[strings.ToLower(form)] = fmt.Sprintf("%s (%s)", secret, whence)
		}
	}
	return out
}

// leaks returns what is private and stands in a text.
func (h *publicHouse) leaks(text string) (out []string) {
	text = strings.ToLower(text)
	for form, secret := range h.forms {
		if strings.Contains(text, form) {
			out = append(out, secret)
		}
	}
	return out
}

// stranger asks as somebody behind the proxy, each time from another network so that none
// asks too much.
type stranger struct {
	h      *publicHouse
	n      int
	client http.Client
	asked  map[string]bool
	queue  []string
	codes  map[int]int
	kinds  map[string]int
	names  []string // who is credited, to be found
	wanted map[string]bool
}

// linksOf find the addresses in a text. Each begins with plain letters, by which it is
// found some ten times as fast as all of them in one expression.
var linksOf = []*regexp.Regexp{
	regexp.MustCompile(`href"?[=:] ?"([^"]+)"`), regexp.MustCompile(`Href"?[=:] ?"([^"]+)"`), regexp.MustCompile(`src"?[=:] ?"([^"]+)"`), regexp.MustCompile(`action"?[=:] ?"([^"]+)"`),
	regexp.MustCompile(`<(https?://[^<>]+)>`), regexp.MustCompile(`<uri>([^<]+)<`), regexp.MustCompile(`<id>([^<]+)<`), regexp.MustCompile(`<web>([^<]+)<`), regexp.MustCompile(`URL:(\S+)`),
}

var hourless = regexp.MustCompile(`/day/\d{4}-\d\d-\d\d`)

func (s *stranger) ask(path, accept string) {
	h := s.h
	h.t.Helper()
	s.n++
	r, err := http.NewRequest(http.MethodGet, h.url+path, nil)
	if err != nil {
		h.t.Fatal(err)
	}
	r.Header.Set("X-Forwarded-For", fmt.Sprintf("198.%d.%d.7", 18+s.n/250%2, s.n%250))
	if accept != "" {
		r.Header.Set("Accept", accept)
	}
	res, err := s.client.Do(r)
	if err != nil {
		h.t.Fatal(err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		h.t.Fatal(err)
	}
	kind, _, _ := strings.Cut(res.Header.Get("Content-Type"), ";")
	s.codes[res.StatusCode]++
	s.kinds[kind]++
	if res.StatusCode >= 500 && path != "/health" || res.StatusCode == http.StatusTooManyRequests {
		h.t.Errorf("%s: %d %.200s", path, res.StatusCode, b)
	}
	var all bytes.Buffer
	_ = res.Header.Write(&all) // a buffer takes all
	all.Write(b)
	if found := h.leaks(all.String()); len(found) > 0 {
		h.t.Errorf("%s (Accept %q) shows %q", path, accept, found)
	}
	if res.StatusCode == http.StatusOK {
		s.wanted[kind] = s.wanted[kind] || slices.ContainsFunc(s.names, func(n string) bool { return strings.Contains(html.UnescapeString(string(b)), n) })
	}
	for _, links := range linksOf {
		for _, m := range links.FindAllStringSubmatch(all.String(), -1) {
			s.follow(path, strings.ReplaceAll(html.UnescapeString(m[1]), `\u0026`, "&")) // as HTML and as JSON have it
		}
	}
	s.follow(path, res.Header.Get("Location"))
}

// follow queues an address if it lies on this server and was not asked for. Of the pages
// of single days, which are alike, some are enough.
func (s *stranger) follow(from, address string) {
	u, err := neturl.Parse(address)
	if err != nil || address == "" {
		return
	}
	base, _ := neturl.Parse(publicURL + from)
	u = base.ResolveReference(u)
	if u.Host != "eclose.example.org" {
		return
	}
	u.Fragment = ""
	if q := u.Query(); q.Has("offset") { // the rest of a long list, in few pages
		q.Set("limit", "1000")
		u.RawQuery = q.Encode()
	}
	path := u.RequestURI()
	like := hourless.ReplaceAllString(path, "/day/x")
	if s.asked[path] || s.asked[like] && len(s.queue) > 200 {
		return
	}
	s.asked[path], s.asked[like] = true, true
	s.queue = append(s.queue, path)
}

// A stranger who follows every link, asks for every address of the API in every format
// and reads every file that is published finds nothing of a reader, of the diary or of
// the operator's secrets; whose data it is, as the licences ask for, is there.
func TestNothingPersonalIsInAnyPublicAnswer(t *testing.T) {
	if testing.Short() {
		t.Skip("it reads every page")
	}
	t.Parallel()
	h := openPublicHouse(t)
	if len(h.private) < 25 {
		t.Fatalf("only %d private texts: %v", len(h.private), h.private)
	}
	s := &stranger{h: h, asked: map[string]bool{}, codes: map[int]int{}, kinds: map[string]int{}, wanted: map[string]bool{}, names: []string{"in the format of the U.S. Geological Survey"},
		client: http.Client{CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}}
	for _, path := range []string{"/", "/?units=us", "/health", "/metrics", "/status", "/diary", "/diary/new", "/enter", "/saw?river=wend", "/subscribe", "/subscribe/asked", "/confirm/x", "/unsubscribe/x", "/never/x", "/manage/x", "/my/x", "/report/x",
		"/calendar.ics", "/calendar.ics?river=wend&group=pale-morning-dun", "/cautions.atom", "/trip", "/trip?from=2026-06-01&to=2026-06-20", "/trip.ics?from=2026-06-01&to=2026-06-20", "/record", "/record/scores.csv", "/data", "/about", "/help", "/robots.txt", "/sw.js", "/app.webmanifest", "/favicon.ico",
		"/api", "/api/", "/api/v1", "/api/v1/openapi.json", "/api/v1/openapi.yaml", "/api/v1/openapi-3.0.json", "/nothing"} {
		s.follow("/", path)
	}
	for _, path := range apiAddresses(t, h.url) {
		for _, suffix := range []string{"", ".json", ".csv", ".geojson"} {
			bare, query, _ := strings.Cut(path, "?")
			if query != "" {
				query = "?" + query
			}
			s.follow("/", bare+suffix+query)
		}
		for _, accept := range []string{"text/csv", "application/geo+json", "text/html"} {
			s.ask(path, accept)
		}
	}
	for len(s.queue) > 0 && s.n < 12000 {
		path := s.queue[0]
		s.queue = s.queue[1:]
		s.ask(path, "")
	}
	t.Logf("%d requests: %v, %v; %d private texts", s.n, s.codes, s.kinds, len(h.private))
	if len(s.queue) > 0 {
		t.Errorf("%d addresses were left", len(s.queue))
	}
	for _, kind := range []string{"text/html", "application/json", "text/csv", "application/geo+json", "application/prs.coverage+json", "text/calendar", "application/atom+xml", "application/cap+xml", "application/problem+json"} {
		if s.kinds[kind] == 0 {
			t.Errorf("no answer was %s", kind)
		}
	}
	for _, kind := range []string{"text/html", "application/json", "application/geo+json", "application/atom+xml"} {
		if !s.wanted[kind] {
			t.Errorf("no answer of %s says whose data it is", kind)
		}
	}
	h.publishedFiles()
}

// apiAddresses are the addresses of the OpenAPI document for each river.
func apiAddresses(t *testing.T, url string) (out []string) {
	t.Helper()
	var document struct{ Paths map[string]any }
	if _, body := get(t, url+"/api/v1/openapi.json"); json.Unmarshal([]byte(body), &document) != nil || len(document.Paths) < 20 {
		t.Fatalf("%d paths", len(document.Paths))
	}
	for path := range document.Paths {
		for _, river := range []string{"wend", "garrow", "little-ash"} {
			x := strings.NewReplacer("{river}", river, "{issue}", "latest", "{collection}", "rivers", "{window}", river+".pale-morning-dun.emergence").Replace(path)
			if strings.HasSuffix(x, "/position") {
				x += "?coords=" + neturl.QueryEscape("POINT(-131.4 45.2)")
			}
			if !slices.Contains(out, x) {
				out = append(out, x)
			}
		}
	}
	slices.Sort(out)
	return out
}

// publishedFiles writes what an installation publishes as files and looks into each.
func (h *publicHouse) publishedFiles() {
	h.t.Helper()
	out := filepath.Join(h.dir, "published")
	if err := os.MkdirAll(out, 0o750); err != nil {
		h.t.Fatal(err)
	}
	for _, args := range [][]string{
		{"site", "--out", filepath.Join(out, "site"), "--url", "https://club.example.org/hatches"},
		{"export", "--format", "csv", "--out", filepath.Join(out, "e.csv")},
		{"export", "--format", "json", "--out", filepath.Join(out, "e.json")},
		{"export", "--format", "geojson", "--out", filepath.Join(out, "e.geojson")},
		{"export", "--format", "ics", "--out", filepath.Join(out, "e.ics")},
		{"export", "--format", "efi", "--out", filepath.Join(out, "efi.csv"), "--observations", filepath.Join(out, "observed.csv")},
		{"export", "--format", "parquet", "--out", filepath.Join(out, "e.parquet")},
		{"export", "--format", "arrow", "--out", filepath.Join(out, "e.arrow")},
		{"sightings", "share", "--out", filepath.Join(out, "shared.json")},
		{"sightings", "export", "--licence", "cc0", "--format", "csv", "--out", filepath.Join(out, "dwc.csv")},
		{"sightings", "export", "--licence", "cc0", "--out", filepath.Join(out, "dwc.zip")},
	} {
		if code, said, errs := call(h.t, demo.Issue, append(args, "--config", h.path)...); code != 0 {
			h.t.Fatalf("%v: %d %s%s", args, code, said, errs)
		}
	}
	files, credited := 0, 0
	err := filepath.WalkDir(out, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		if strings.HasSuffix(path, ".zip") {
			z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
			if err != nil {
				return err
			}
			for _, f := range z.File {
				r, err := f.Open()
				if err != nil {
					return err
				}
				part, err := io.ReadAll(r)
				if err != nil {
					return err
				}
				b = append(b, part...)
			}
		}
		files++
		if bytes.Contains(b, []byte("in the format of the U.S. Geological Survey")) {
			credited++
		}
		if found := h.leaks(string(b)); len(found) > 0 {
			h.t.Errorf("%s shows %q", strings.TrimPrefix(path, out), found)
		}
		return nil
	})
	if err != nil {
		h.t.Fatal(err)
	}
	h.t.Logf("%d files, %d of them say whose data it is", files, credited)
	if files < 30 || credited < 10 {
		h.t.Errorf("%d files, %d credited", files, credited)
	}
}
