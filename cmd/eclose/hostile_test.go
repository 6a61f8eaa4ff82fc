package main

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"net"
	"net/http"
	neturl "net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
)

// raw sends a request as it stands, which a client would tidy up first, and reads the
// answer. Lines are ended as HTTP wants them.
func raw(t *testing.T, h *beckHouse, method string, lines ...string) (*http.Response, string) {
	t.Helper()
	c, err := net.Dial("tcp", strings.TrimPrefix(h.url, "http://"))
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	_ = c.SetDeadline(time.Now().Add(20 * time.Second))
	if !slices.ContainsFunc(lines, func(l string) bool { return strings.HasPrefix(strings.ToLower(l), "host:") }) {
		lines = append(lines, "Host: eclose.example.org")
	}
	if _, err := io.WriteString(c, strings.Join(append(lines, "Connection: close"), "\r\n")+"\r\n\r\n"); err != nil {
		t.Logf("%q: %v", lines[0], err) // it answered before it had read all
	}
	res, err := http.ReadResponse(bufio.NewReader(c), &http.Request{Method: method})
	if err != nil {
		t.Fatalf("%.100q: %v", lines[0], err)
	}
	defer res.Body.Close()
	b, err := io.ReadAll(res.Body)
	if err != nil {
		t.Fatalf("%.100q: %v", lines[0], err)
	}
	return res, string(b)
}

// from each time another network, as behind a proxy.
func network(n int) string { return fmt.Sprintf("X-Forwarded-For: 198.51.%d.9", n%256) }

// publicPaths answer with 200 to everybody; privatePaths are for one person or the owner.
var (
	publicPaths = []string{"/", "/river/wend", "/river/wend/season", "/river/wend/water", "/river/wend/sheet.html", "/river/wend/calendar.ics", "/river/wend/feed.atom", "/river/wend/caution.xml", "/calendar.ics", "/cautions.atom", "/trip", "/record", "/data", "/about", "/robots.txt", "/sw.js", "/app.webmanifest",
		"/api/v1", "/api/v1/openapi.json", "/api/v1/rivers", "/api/v1/rivers.csv", "/api/v1/rivers.geojson", "/api/v1/rivers/wend/caution", "/api/v1/conformance", "/api/v1/collections/rivers/items", "/api/v1/verdict"}
	privatePaths = []string{"/diary", "/diary/new", "/status", "/enter", "/saw?river=wend", "/subscribe", "/subscribe/asked", "/confirm/x", "/unsubscribe/x", "/never/x", "/manage/x", "/my/x", "/report/x", "/health", "/metrics"}
)

func TestAHostileVisitorGetsNowhere(t *testing.T) {
	if testing.Short() {
		t.Skip("some thousand requests")
	}
	t.Parallel()
	h := &beckHouse{t: t, base: from(demo.Issue)}
	h.dir, h.path = ingestedFor(t, tarnFellsConfig(3)+"[serve]\npublic-url = \"https://eclose.example.org\"\nadmin-secret-file = \"secret\"\n")
	if err := os.WriteFile(filepath.Join(h.dir, "secret"), []byte(beckSecret), 0o600); err != nil {
		t.Fatal(err)
	}
	h.run("forecast")
	h.start()
	h.run("diary", "add", "--river", "wend", "--group", "pale-morning-dun", "--stage", "emergence", "--amount", "few", "--hours", "2", "--date", "2026-05-10", "--notes", "planted note of the owner")
	until(t, "a forecast", h.log, func() bool {
		code, _ := get(t, h.url+"/api/v1/rivers/wend/forecasts/latest", "X-Forwarded-For", "192.0.2.1")
		return code == 200
	})
	t.Run("paths lead to no file and to no other site", func(t *testing.T) { pathTricks(t, h) })
	t.Run("methods", func(t *testing.T) { methodTricks(t, h) })
	t.Run("other sites read what is public and nothing else", func(t *testing.T) { crossOrigin(t, h) })
	t.Run("conditions and packing", func(t *testing.T) { conditions(t, h) })
	t.Run("huge and odd parameters", func(t *testing.T) { hugeParameters(t, h) })
	t.Run("one network is held back and no other", func(t *testing.T) { rates(t, h) })
}

func pathTricks(t *testing.T, h *beckHouse) {
	for i, path := range []string{
		"/../../../../etc/passwd", "/..%2f..%2f..%2fetc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "/record/../eclose.toml", "/record/..%2feclose.toml", "/record/%2e%2e%2feclose.toml", "/record/..%5ceclose.toml", "/record/eclose.db", "/record/.", "/record/..", "/record/%00", "/record//etc/passwd",
		"/assets/..%2f..%2fsecret", "/assets/page.css", "/assets/", "/river/..%2f..%2fsecret", "/river/wend%00", "/river/wend/../../diary", "/river/wend/day/..%2f..%2fdiary", "/river//diary", "/river/wend%2fseason",
		"//evil.example/", "//evil.example/..", "/%2f%2fevil.example", "/\\evil.example", "/%5cevil.example", "/api//evil.example/%2f..", "/api/v1//rivers", "/api/v1/..%2f..%2fdiary", "/api/v1/%2e%2e/%2e%2e/diary", "/api/..%2f%2fevil.example", "/api/v1/rivers/wend/..%2f..%2f..%2fdiary",
		"/api/v1/rivers/wend%0d%0aSet-Cookie:%20x=1", "/river/x%0d%0aX-Bad:%201", "/enter?to=//evil.example", "/enter?to=https://evil.example", "/enter?to=/%5cevil.example", "/api/v1/rivers.csv.json", "/api/v1/rivers/.geojson", "/api/v1/rivers/wend.csv/caution", "/api/v1/openapi.csv", "/api/v1/schemas/../../diary", "/.git/config", "/eclose.toml", "/eclose.db", "/api/v1/diary", "/api/v1/subscribers",
		"http://evil.example/api/v1/rivers", "http://evil.example/enter?to=/diary",
	} {
		res, body := raw(t, h, http.MethodGet, "GET "+path+" HTTP/1.1", network(i))
		if res.StatusCode >= 500 {
			t.Errorf("%s: %d", path, res.StatusCode)
		}
		for _, word := range []string{"root:", beckSecret, "secret-file", "SQLite format", "planted note", "[[river]]"} {
			if strings.Contains(body, word) {
				t.Errorf("%s shows %q", path, word)
			}
		}
		if res.Header.Get("Set-Cookie") == "x=1" || res.Header.Get("X-Bad") != "" {
			t.Errorf("%s adds a header", path)
		}
		// As a browser reads it: a backslash is a slash, and two at the head begin a host.
		if to := strings.ReplaceAll(res.Header.Get("Location"), "\\", "/"); to != "" && (!strings.HasPrefix(to, "/") || strings.HasPrefix(to, "//")) {
			t.Errorf("%s leads to %s", path, to)
		}
		if strings.Contains(body, "//evil.example") {
			t.Errorf("%s links to the other site", path)
		}
	}
	// The secret leads back within the site only.
	for _, to := range []string{"//evil.example", "https://evil.example/diary", "/\\evil.example"} {
		v := newVisitor(t, h.url)
		v.client.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
		_, form := v.do(t, http.MethodGet, "/enter?to="+neturl.QueryEscape(to), nil)
		mark := formMark.FindStringSubmatch(form)
		if mark == nil {
			t.Fatal(form)
		}
		req, err := http.NewRequest(http.MethodPost, h.url+"/enter", strings.NewReader(neturl.Values{"secret": {beckSecret}, "mark": {mark[1]}, "to": {to}}.Encode()))
		if err != nil {
			t.Fatal(err)
		}
		req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		res, err := v.client.Do(req)
		if err != nil {
			t.Fatal(err)
		}
		res.Body.Close()
		if where := res.Header.Get("Location"); res.StatusCode != http.StatusSeeOther || where != "/" {
			t.Errorf("signed in with to=%s: %d, leads to %q", to, res.StatusCode, where)
		}
	}
}

func methodTricks(t *testing.T, h *beckHouse) {
	n := 0
	for _, path := range append(slices.Clone(publicPaths), "/health", "/diary") {
		for _, method := range []string{"TRACE", "PUT", "PATCH", "DELETE", "PROPFIND", "OPTIONS", "CONNECT"} {
			n++
			res, body := raw(t, h, method, method+" "+path+" HTTP/1.1", network(n))
			api := strings.HasPrefix(path, "/api/")
			switch {
			case method == "OPTIONS" && api:
				if res.StatusCode != http.StatusNoContent || res.Header.Get("Access-Control-Allow-Methods") != "GET, HEAD" || res.Header.Get("Access-Control-Allow-Credentials") != "" {
					t.Errorf("%s %s: %d %v", method, path, res.StatusCode, res.Header)
				}
			case res.StatusCode < 400 || res.StatusCode >= 500:
				t.Errorf("%s %s: %d %.100s", method, path, res.StatusCode, body)
			}
			if strings.Contains(body, "X-Forwarded-For") {
				t.Errorf("%s %s echoes the request", method, path)
			}
		}
	}
	for i, path := range publicPaths {
		get, body := raw(t, h, http.MethodGet, "GET "+path+" HTTP/1.1", network(i))
		head, none := raw(t, h, http.MethodHead, "HEAD "+path+" HTTP/1.1", network(i))
		if get.StatusCode != 200 || head.StatusCode != 200 || none != "" || body == "" {
			t.Errorf("%s: GET %d, HEAD %d with %d bytes", path, get.StatusCode, head.StatusCode, len(none))
		}
		for _, name := range []string{"Content-Type", "Cache-Control", "Vary", "Access-Control-Allow-Origin", "Content-Security-Policy", "X-Content-Type-Options"} {
			if get.Header.Get(name) != head.Header.Get(name) {
				t.Errorf("%s: %s is %q for GET and %q for HEAD", path, name, get.Header.Get(name), head.Header.Get(name))
			}
		}
		if (get.Header.Get("Etag") == "") != (head.Header.Get("Etag") == "") { // the page may have changed in between
			t.Errorf("%s: tag %q for GET and %q for HEAD", path, get.Header.Get("Etag"), head.Header.Get("Etag"))
		}
		if get.Header.Get("X-Content-Type-Options") != "nosniff" || !strings.Contains(get.Header.Get("Content-Security-Policy"), "default-src 'none'") || get.Header.Get("Server") != "" {
			t.Errorf("%s: %v", path, get.Header)
		}
	}
}

func crossOrigin(t *testing.T, h *beckHouse) {
	for i, path := range privatePaths {
		res, body := raw(t, h, http.MethodGet, "GET "+path+" HTTP/1.1", network(i), "Origin: https://evil.example", "Sec-Fetch-Site: cross-site")
		for name := range res.Header {
			if strings.HasPrefix(name, "Access-Control-") {
				t.Errorf("%s: %s: %s", path, name, res.Header.Get(name))
			}
		}
		if cc := res.Header.Get("Cache-Control"); res.StatusCode != http.StatusNotFound && !strings.Contains(cc, "no-store") || res.Header.Get("Etag") != "" {
			t.Errorf("%s: %d may be kept: %q, tag %q", path, res.StatusCode, cc, res.Header.Get("Etag"))
		}
		if strings.Contains(body, "planted note") {
			t.Errorf("%s shows the diary", path)
		}
	}
	for _, path := range []string{"/subscribe", "/diary", "/diary/withdraw", "/enter", "/my/x", "/report/x", "/manage/x", "/confirm/x"} {
		res, _ := raw(t, h, http.MethodPost, "POST "+path+" HTTP/1.1", network(7), "Origin: https://evil.example", "Sec-Fetch-Site: cross-site", "Content-Length: 0")
		if res.StatusCode != http.StatusForbidden {
			t.Errorf("a form of another site at %s: %d", path, res.StatusCode)
		}
	}
	// The owner sees the diary, and the answer is kept nowhere and read by no other site.
	v := newVisitor(t, h.url)
	_, form := v.do(t, http.MethodGet, "/enter", nil)
	v.do(t, http.MethodPost, "/enter", neturl.Values{"secret": {beckSecret}, "mark": {formMark.FindStringSubmatch(form)[1]}, "to": {"/diary"}})
	root, _ := neturl.Parse(h.url)
	cookies := v.client.Jar.Cookies(root)
	if len(cookies) == 0 { // they are secure, as the pages are offered by https
		root.Scheme = "https"
		cookies = v.client.Jar.Cookies(root)
	}
	var line []string
	for _, c := range cookies {
		line = append(line, c.Name+"="+c.Value)
	}
	for i, path := range []string{"/diary", "/diary?x.csv", "/status"} {
		res, body := raw(t, h, http.MethodGet, "GET "+path+" HTTP/1.1", network(i), "Origin: https://evil.example", "Cookie: "+strings.Join(line, "; "))
		if res.StatusCode != 200 || strings.HasPrefix(path, "/diary") != strings.Contains(body, "planted note") {
			t.Fatalf("%s for the owner: %d", path, res.StatusCode)
		}
		if res.Header.Get("Cache-Control") != "no-store" || res.Header.Get("Access-Control-Allow-Origin") != "" || res.Header.Get("Cross-Origin-Resource-Policy") != "same-origin" || res.Header.Get("Referrer-Policy") != "no-referrer" {
			t.Errorf("%s for the owner: %v", path, res.Header)
		}
	}
	for i, path := range []string{"/diary/x.css", "/diary.json", "/api/v1/diary", "/diary%2fx.js"} { // caches keep files by such endings
		if res, body := raw(t, h, http.MethodGet, "GET "+path+" HTTP/1.1", network(i), "Cookie: "+strings.Join(line, "; ")); strings.Contains(body, "planted note") {
			t.Errorf("%s shows the diary: %d", path, res.StatusCode)
		}
	}
	// A name that leads to this machine makes nobody its owner.
	for _, path := range []string{"/diary", "/status", "/metrics"} {
		res, body := raw(t, h, http.MethodGet, "GET "+path+" HTTP/1.1", "Host: rebound.example.org")
		if res.StatusCode == 200 || strings.Contains(body, "planted note") {
			t.Errorf("%s under another name: %d", path, res.StatusCode)
		}
	}
}

func conditions(t *testing.T, h *beckHouse) {
	for i, path := range publicPaths {
		first, plain := raw(t, h, http.MethodGet, "GET "+path+" HTTP/1.1", network(i))
		tag := first.Header.Get("Etag")
		if tag == "" {
			continue
		}
		for k, c := range []struct {
			line func(tag string) string
			code int
		}{
			{func(tag string) string { return tag }, 304}, {func(tag string) string { return strings.TrimPrefix(tag, "W/") }, 304}, {func(tag string) string { return `"a", W/"b", ` + tag }, 304}, {func(string) string { return "*" }, 304},
			{func(string) string { return `"a"` }, 200}, {func(string) string { return "" }, 200}, {func(tag string) string { return tag[:len(tag)-2] }, 200}, {func(tag string) string { return "W/" + tag + "x" }, 200}, {func(string) string { return strings.Repeat(`"a",`, 2000) }, 200},
		} {
			var res *http.Response
			var body string
			for try := range 3 { // the page may change in between
				first, plain = raw(t, h, http.MethodGet, "GET "+path+" HTTP/1.1", network(40*k+i+try))
				tag = first.Header.Get("Etag")
				res, body = raw(t, h, http.MethodGet, "GET "+path+" HTTP/1.1", network(40*k+i+try), "If-None-Match: "+c.line(tag), "If-Modified-Since: Fri, 01 Jan 2100 00:00:00 GMT", "Range: bytes=0-3")
				if res.Header.Get("Etag") == tag {
					break
				}
			}
			if res.StatusCode != c.code || (c.code == 304) != (body == "") || c.code == 304 && res.Header.Get("Vary") != first.Header.Get("Vary") {
				t.Errorf("%s, If-None-Match %.40s: %d, want %d; %d bytes", path, c.line(tag), res.StatusCode, c.code, len(body))
			}
		}
		for k, accept := range []string{"gzip", "br, gzip;q=0.5", "GZIP", "gzip;q=0", "gzip;q=0.000", "identity;q=0", "*", "*;q=0", ";;;,,", "gzip;q=x", "deflate, br, zstd", strings.Repeat("gzip;q=0,", 900)} {
			res, body := raw(t, h, http.MethodGet, "GET "+path+" HTTP/1.1", network(20*k+i), "Accept-Encoding: "+accept, "Accept: "+strings.Repeat("*/*;q=0.1,", k*40))
			packed := res.Header.Get("Content-Encoding") == "gzip"
			if packed {
				z, err := gzip.NewReader(bytes.NewReader([]byte(body)))
				if err != nil {
					t.Fatalf("%s: %v", path, err)
				}
				b, err := io.ReadAll(z)
				if err != nil {
					t.Fatal(err)
				}
				body = string(b)
			}
			if res.StatusCode != 200 || packed && k > 2 || len(plain) > 1<<12 && !packed && k < 3 {
				t.Errorf("%s, Accept-Encoding %.30q: %d, packed %v", path, accept, res.StatusCode, packed)
			}
			if minute := regexp.MustCompile(`\d`); minute.ReplaceAllString(body, "") != minute.ReplaceAllString(plain, "") && len(body) < len(plain)/2 {
				t.Errorf("%s, Accept-Encoding %.30q: %d bytes, %d without", path, accept, len(body), len(plain))
			}
		}
	}
}

func hugeParameters(t *testing.T, h *beckHouse) {
	long := strings.Repeat("a", 5000)
	groups := strings.Repeat("&group=pale-morning-dun", 120)
	for i, c := range []struct {
		path  string
		codes []int
	}{
		{"/?x=" + long, []int{414}}, {"/api/v1/rivers?x=" + long, []int{414}}, {"/river/" + long, []int{414}}, {"/calendar.ics?x=" + long, []int{414}},
		{"/calendar.ics?river=wend" + groups, []int{200}}, {"/api/v1/verdict?days=60" + strings.Repeat("&group=pale-morning-dun", 30), []int{200, 400}}, {"/api/v1/verdict?days=61", []int{400}}, {"/api/v1/verdict?days=-1", []int{400}}, {"/api/v1/verdict?days=99999999999999999999", []int{400}},
		{"/trip?from=0001-01-01&to=9999-12-31", []int{200, 400}}, {"/trip?from=9999-12-31&to=0001-01-01", []int{200, 400}}, {"/trip?from=x&to=y&days=-5", []int{200, 400}}, {"/trip?from=2026-04-02&to=2026-06-30&days=99999999999", []int{200, 400}}, {"/trip.ics?from=0001-01-01&to=9999-12-31", []int{200, 400, 404}},
		{"/river/wend/day/9999-12-31", []int{404}}, {"/river/wend/day/0000-00-00", []int{404}}, {"/river/wend/day/-5", []int{404}}, {"/?group=%ff%fe%00", []int{200, 404}}, {"/?units=%00", []int{200}},
		{"/api/v1/rivers?limit=1000000000", []int{400}}, {"/api/v1/rivers?offset=1000001", []int{400}}, {"/api/v1/rivers?limit=1&limit=2", []int{200, 400}}, {"/api/v1/rivers?limit=1e3", []int{400}}, {"/api/v1/rivers/wend/forecasts?from=0001-01-01T00:00:00Z&to=9999-12-31T23:59:59Z", []int{200}}, {"/api/v1/rivers/wend/forecasts/latest/days?from=0001-01-01&to=9999-12-31&limit=1000", []int{200}},
		{"/api/v1/rivers/wend/forecasts/latest/water?from=9999-12-31", []int{200, 400}}, {"/api/v1/collections/rivers/items?bbox=-1e308,-1e308,1e308,1e308", []int{200, 400}}, {"/api/v1/collections/rivers/items?bbox=NaN,NaN,NaN,NaN", []int{400}}, {"/api/v1/collections/rivers/items?bbox=Inf,-Inf,0x1p3,1", []int{400}}, {"/api/v1/collections/rivers/items?bbox=" + strings.Repeat("1,", 900), []int{400}},
		{"/api/v1/collections/windows/items?datetime=" + neturl.QueryEscape(strings.Repeat("../", 30)), []int{400}}, {"/api/v1/collections/windows/items?datetime=0000-01-01T00:00:00Z/9999-12-31T23:59:59Z", []int{200, 400}}, {"/api/v1/collections/series/position?coords=POINT(1e999%201)", []int{400}}, {"/api/v1/collections/series/locations/wend?parameter-name=" + strings.Repeat("water_p50,", 300), []int{400}},
		{"/api/v1/rivers?" + strings.Repeat("a=b&", 900), []int{400}}, {"/api/v1/rivers?%zz=1", []int{200, 400}}, {"/api/v1/rivers?limit=%zz", []int{200, 400}}, {"/api/v1/rivers?;;;", []int{200, 400}},
	} {
		began := time.Now()
		res, body := raw(t, h, http.MethodGet, "GET "+c.path+" HTTP/1.1", network(i))
		if !slices.Contains(c.codes, res.StatusCode) || len(body) > 4<<20 {
			t.Errorf("%.120s: %d, %d bytes, want %v: %.200s", c.path, res.StatusCode, len(body), c.codes, body)
		}
		if took := time.Since(began); took > 10*time.Second {
			t.Errorf("%.120s took %s", c.path, took)
		}
		if strings.HasPrefix(c.path, "/api/") && res.StatusCode >= 400 && res.Header.Get("Content-Type") != "application/problem+json" {
			t.Errorf("%.120s: a fault as %s", c.path, res.Header.Get("Content-Type"))
		}
	}
}

// rates holds for pages and for the API: by network, as the nearest trusted proxy names it.
func rates(t *testing.T, h *beckHouse) {
	for k, path := range []string{"/about", "/api/v1/conformance"} {
		ask := func(forwarded string) int {
			res, _ := raw(t, h, http.MethodGet, "GET "+path+" HTTP/1.1", "X-Forwarded-For: "+forwarded)
			return res.StatusCode
		}
		flood := func(what string, forwarded func(i int) string) (refused int) {
			for i := range 400 {
				if ask(forwarded(i)) == http.StatusTooManyRequests {
					refused++
				}
			}
			t.Logf("%s, %s: %d of 400 refused", path, what, refused)
			return refused
		}
		one := fmt.Sprintf("203.0.%d.", 113+k)
		// What the visitor has written before its own address changes nothing; nor do other addresses of its network.
		if flood("one network", func(i int) string { return fmt.Sprintf("192.0.2.%d, garbage, %s%d", i%250, one, i%200) }) < 100 {
			t.Errorf("%s: one network may ask without end", path)
		}
		if code := ask("192.0.2.44, 198.18." + fmt.Sprint(k) + ".9"); code != 200 {
			t.Errorf("%s: another network is held back: %d", path, code)
		}
		if flood("one IPv6 network", func(i int) string { return fmt.Sprintf("2001:db8:%d:%x::%x", 7+k, i, i) }) < 100 {
			t.Errorf("%s: one IPv6 network may ask without end", path)
		}
	}
}
