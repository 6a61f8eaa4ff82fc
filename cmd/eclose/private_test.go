package main

import (
	"bytes"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	neturl "net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"example.org/eclose/ingest/db"
)

// beckHouse is a server of one river of saved files with a relay; its clock can
// be put forward.
type beckHouse struct {
	t          *testing.T
	dir, path  string
	relay      *moodyRelay
	url        string
	log        *noise
	stop       func() int
	later      atomic.Int64
	base       func() time.Time
	fromOrigin time.Time
}

const beckSecret = "sedge and dun at dusk"

// openBeckHouse starts one. more is added to its config.
func openBeckHouse(t *testing.T, more string) *beckHouse {
	t.Helper()
	h := &beckHouse{t: t}
	var lines string
	h.relay, lines = openMoodyRelay(t)
	var path string
	h.dir, path = loggerAndAir(t, "°C", "°C")
	h.path = path
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	text = append(text, (lines + "[serve]\npublic-url = \"https://eclose.example.org\"\nadmin-secret-file = \"secret\"\n" + more)...)
	for name, b := range map[string][]byte{path: text, filepath.Join(h.dir, "secret"): []byte(beckSecret)} {
		if err := os.WriteFile(name, b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	h.fromOrigin = afterTheBeck.AddDate(0, 0, -2)
	h.base = from(h.fromOrigin)
	h.start()
	return h
}

func (h *beckHouse) now() time.Time { return h.base().Add(time.Duration(h.later.Load())) }

func (h *beckHouse) pass(d time.Duration) { h.later.Add(int64(d)) }

func (h *beckHouse) start() {
	h.t.Helper()
	h.url, h.log, h.stop = serve(h.t, h.now, "--config", h.path)
	until(h.t, "the server", h.log, func() bool { code, _ := get(h.t, h.url+"/health"); return code != 0 })
}

// restartAfter ends the server and starts it again when so much time has passed.
func (h *beckHouse) restartAfter(d time.Duration) {
	h.t.Helper()
	if code := h.stop(); code != 0 {
		h.t.Fatalf("stopped with %d\n%s", code, h.log)
	}
	h.pass(d)
	h.start()
}

func (h *beckHouse) run(args ...string) string {
	h.t.Helper()
	code, out, errs := call(h.t, h.now(), append(args, "--config", h.path)...)
	if code != 0 {
		h.t.Fatalf("%v: %d %s%s", args, code, out, errs)
	}
	return out
}

func (h *beckHouse) metric(line string) bool {
	_, body := get(h.t, h.url+"/metrics")
	return strings.Contains(body, "\n"+line+"\n")
}

// writer is the database as a command beside the server has it.
func (h *beckHouse) writer() *db.DB {
	h.t.Helper()
	d, err := db.OpenWriter(h.t.Context(), filepath.Join(h.dir, "eclose.db"))
	if err != nil {
		h.t.Fatal(err)
	}
	h.t.Cleanup(func() { _ = d.Close() })
	return d
}

// holds says in which tables of the database a text stands.
func (h *beckHouse) holds(text string) (tables []string) {
	h.t.Helper()
	d, err := db.OpenReader(h.t.Context(), filepath.Join(h.dir, "eclose.db"))
	if err != nil {
		h.t.Fatal(err)
	}
	defer d.Close()
	for _, table := range rowsOf(h.t, d, "SELECT name FROM sqlite_master WHERE type = 'table'") {
		if strings.Contains(strings.Join(rowsOf(h.t, d, "SELECT * FROM "+table), "\n"), text) {
			tables = append(tables, table)
		}
	}
	return tables
}

// A thousand strangers from as many networks sign one mailbox up, ten times each,
// over a month: three mails at most go out.
func TestTenThousandSignUpsOfOneMailboxThroughThePageSendThreeMails(t *testing.T) {
	t.Parallel()
	requests := 10_000
	if testing.Short() {
		requests = 600
	}
	h := openBeckHouse(t, "")
	v := newVisitor(t, h.url)
	_, form := v.do(t, http.MethodGet, "/subscribe", nil)
	mark := formMark.FindStringSubmatch(form)[1]
	cookies := v.client.Jar
	const days, hands = 29, 8
	var wrong atomic.Int64
	for day := range days {
		var wg sync.WaitGroup
		each := requests / days
		if day == days-1 {
			each = requests - each*(days-1)
		}
		for hand := range hands {
			wg.Go(func() {
				c := &http.Client{Jar: cookies, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
				for i := hand; i < each; i += hands {
					n := day*400 + i
					body := neturl.Values{"address": {fmt.Sprintf("victim+%d@example.net", n)}, "river": {"our-beck"}, "cadence": {"now"}, "threshold": {"0.5"}, "units": {"metric"}, "mark": {mark}}.Encode()
					req, err := http.NewRequest(http.MethodPost, h.url+"/subscribe", strings.NewReader(body))
					if err != nil {
						panic(err)
					}
					req.Header.Set("Content-Type", "application/x-www-form-urlencoded")
					req.Header.Set("X-Forwarded-For", fmt.Sprintf("%d.%d.%d.7", 11+n/65536, n/256%256, n%256))
					res, err := c.Do(req)
					if err != nil {
						wrong.Add(1)
						continue
					}
					_, _ = io.Copy(io.Discard, res.Body)
					_ = res.Body.Close()
					if res.StatusCode != http.StatusSeeOther { // the same answer whether or not a mail goes out
						wrong.Add(1)
					}
				}
			})
		}
		wg.Wait()
		h.pass(24 * time.Hour)
	}
	if n := wrong.Load(); n > 0 {
		t.Errorf("%d of %d requests were answered otherwise", n, requests)
	}
	until(t, "three mails", h.log, func() bool { return len(h.relay.all()) >= 3 })
	until(t, "an idle queue", h.log, func() bool {
		return !strings.Contains(h.run("jobs", "list", "--kind", "invite", "--state", "available"), "invite")
	})
	if n := len(h.relay.all()); n != 3 {
		t.Errorf("%d mails were sent to one mailbox", n)
	}
	if !h.metric(fmt.Sprintf(`eclose_sign_ups_refused_total{limit="address"} %d`, requests-3)) {
		_, body := get(t, h.url+"/metrics")
		t.Errorf("the refusals are not counted: %v", regexp.MustCompile(`(?m)^eclose_sign_ups_refused.*`).FindAllString(body, -1))
	}
	if code, body := newVisitor(t, h.url).signUpFor(t, "our-beck", "other@example.org", "X-Forwarded-For", "203.0.113.9"); code != http.StatusOK || !strings.Contains(body, "Check your email") {
		t.Errorf("everybody else is locked out: %d %s", code, body)
	}
	until(t, "the mail of somebody else", h.log, func() bool { return len(h.relay.all()) == 4 })
}

// What is kept no longer goes by itself while the server runs, and is counted;
// what is younger stays.
func TestWhatIsKeptNoLongerGoesByItself(t *testing.T) {
	t.Parallel()
	h := openBeckHouse(t, "")
	if code, body := newVisitor(t, h.url).signUpFor(t, "our-beck", "never-confirmed@example.net"); code != http.StatusOK {
		t.Fatalf("%d %s", code, body)
	}
	until(t, "the confirmation mail", h.log, func() bool { return len(h.relay.all()) == 1 })
	if len(h.holds("never-confirmed@example.net")) == 0 {
		t.Fatal("the request is kept nowhere: the test shows nothing")
	}
	h.restartAfter(6 * 24 * time.Hour)
	until(t, "the job of the hour", h.log, func() bool { return h.metric(`eclose_job_seconds_count{kind="forget"} 1`) })
	if len(h.holds("never-confirmed@example.net")) == 0 {
		t.Error("it went after six days, and the page promises seven")
	}

	// Of each kind one that is a day too old and one that is not.
	now, d := h.now().Add(2*24*time.Hour), h.writer()
	put := func(query string, args ...any) {
		t.Helper()
		if _, err := d.SQL.ExecContext(t.Context(), query, args...); err != nil {
			t.Fatal(err)
		}
	}
	for name, shift := range map[string]int{"old": -1, "young": 1} {
		at := func(days int) int64 { return db.Micros(now.AddDate(0, 0, shift-days)) }
		put("INSERT INTO outbox VALUES ($1, 'p', 'k', 0, 'm', 'b', 'sent', $2, $2, $2, 1, 0, '', 250, '')", name+"-mail", at(40))
		put("INSERT INTO news VALUES ($1, 'our-beck', $2, '{}')", name+"-news", at(60))
		put("INSERT INTO send_log VALUES ($1, 'x', 'p', 'k', 0, 'sent', $2, 250, '', '')", name+"-log", at(400))
		put("INSERT INTO signup (id, address, network, domain, at) VALUES ($1, 'a', 'n', 'd', $2)", name+"-signup", at(31))
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	h.restartAfter(2 * 24 * time.Hour)
	until(t, "the end of the request", h.log, func() bool { return len(h.holds("never-confirmed@example.net")) == 0 })
	for _, kind := range []string{"mail", "news", "log", "signup"} {
		until(t, "the end of an old "+kind, h.log, func() bool { return len(h.holds("old-"+kind)) == 0 })
		if len(h.holds("young-"+kind)) == 0 {
			t.Errorf("a %s went too early", kind)
		}
	}
	for _, what := range []string{"tokens", "mails", "news", "send-log", "sign-ups"} {
		if !h.metric(fmt.Sprintf(`eclose_forgotten_total{what="%s"} 1`, what)) {
			t.Errorf("the metric lacks %s", what)
		}
	}
	h.stop()
	for _, name := range []string{"eclose.db", "eclose.db-wal"} {
		if b, err := os.ReadFile(filepath.Join(h.dir, name)); err == nil && bytes.Contains(b, []byte("never-confirmed@")) {
			t.Errorf("%s still holds the address", name)
		}
	}
}

// Wrong secrets are counted and logged with the network they came from, and that
// is the reader's own, not the proxy's, if the proxy is trusted.
func TestWrongSecretsAreLoggedWithTheNetworkBehindATrustedProxy(t *testing.T) {
	for _, c := range []struct{ trusted, forwarded, network string }{
		{"", "203.0.113.5, 172.18.0.7", "172.18.0.0/24"},
		{"trusted-proxies = [\"172.18.0.0/16\"]\n", "203.0.113.5, 172.18.0.7", "203.0.113.0/24"},
		{"trusted-proxies = [\"172.18.0.0/16\"]\n", "198.51.100.1, 203.0.113.5, 172.18.0.7", "203.0.113.0/24"}, // the first is the reader's invention
		{"trusted-proxies = [\"172.18.0.7\"]\n", "2001:db8:7:1::2, 172.18.0.7", "2001:db8:7::/48"},
	} {
		h := openBeckHouse(t, c.trusted)
		v := newVisitor(t, h.url)
		header := []string{"X-Forwarded-For", c.forwarded}
		_, form := v.do(t, http.MethodGet, "/enter", nil, header...)
		mark := formMark.FindStringSubmatch(form)
		if mark == nil {
			t.Fatal(form)
		}
		for range 3 {
			if code, _ := v.do(t, http.MethodPost, "/enter", neturl.Values{"secret": {"guess"}, "mark": {mark[1]}}, header...); code != http.StatusForbidden {
				t.Errorf("a wrong secret: %d", code)
			}
		}
		if n := strings.Count(h.log.String(), `"network":"`+c.network+`","message":"a wrong secret was entered`) + strings.Count(h.log.String(), `"network":"`+c.network+`","time":`); n != 3 {
			t.Errorf("%s, %s: %d lines\n%s", c.trusted, c.forwarded, n, h.log)
		}
		if !h.metric("eclose_sign_in_failures_total 3") {
			t.Error("they are not counted")
		}
		if strings.Contains(h.log.String(), "guess") {
			t.Error("the log holds what was entered")
		}
		h.stop()
	}
}

// Whatever the rights that new files get here, what is private is for its owner.
func TestNoFileOfARunningServerIsForOthers(t *testing.T) {
	defer openUp()()
	h := openBeckHouse(t, "")
	h.run("backup", "--out", filepath.Join(h.dir, "b.backup"), "--verify")
	n := 0
	err := filepath.WalkDir(h.dir, func(p string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasPrefix(d.Name(), "eclose.db") && !strings.HasSuffix(d.Name(), ".backup") {
			return err
		}
		info, err := d.Info()
		if err == nil && info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s is %v", d.Name(), info.Mode())
		}
		n++
		return err
	})
	if err != nil || n < 6 { // the database, its log, its index, the lock, the socket, the key, the backup
		t.Errorf("%d files, %v", n, err)
	}
}

// One rule for the short name of a river, checked when the config is read.
func TestAShortNameLeadsNowhereElse(t *testing.T) {
	_, path := loggerAndAir(t, "°C", "°C")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, slug := range []string{"../../evil", `a\nb`, " ", "a/b", "A", "-a", "a--b", ".", strings.Repeat("a", 61)} {
		_, bad := write(t, strings.Replace(string(text), "name = \"Our beck\"", "name = \"Our beck\"\nslug = \""+slug+"\"", 1))
		if code, _, errs := call(t, afterTheBeck, "ingest", "--config", bad); code != 2 || !strings.Contains(errs, "slug") {
			t.Errorf("%q: %d %s", slug, code, errs)
		}
	}
	_, bad := write(t, strings.Replace(string(text), "name = \"Our beck\"", "name = \"!!!\"", 1))
	if code, _, errs := call(t, afterTheBeck, "ingest", "--config", bad); code != 2 || !strings.Contains(errs, "set slug in the config") {
		t.Errorf("a name without a letter: %d %s", code, errs)
	}
	if err := os.WriteFile(path, []byte(strings.Replace(string(text), "Our beck", "Река Бия", 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	url, log, _ := serve(t, from(afterTheBeck), "--config", path)
	until(t, "the page of the river", log, func() bool {
		code, body := get(t, url+"/river/"+neturl.PathEscape("река-бия"))
		return code == 200 && strings.Contains(body, "Река Бия")
	})
}
