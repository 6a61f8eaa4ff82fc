package main

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/eclose/ingest/feed/replay"
)

// warner is a server of official warnings whose response a test changes.
type warner struct {
	mu    sync.Mutex
	body  string
	code  int
	asked int
	urls  []string
}

func (w *warner) ServeHTTP(rw http.ResponseWriter, r *http.Request) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.asked++
	w.urls = append(w.urls, r.URL.String())
	rw.Header().Set("Content-Type", "application/json")
	if w.code != 0 {
		rw.WriteHeader(w.code)
	}
	fmt.Fprint(rw, w.body)
}

func (w *warner) say(code int, body string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.code, w.body = code, body
}

func (w *warner) count() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.asked
}

var warnedAt = time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)

// warnedRiver is a config of one river with a file of fresh readings and a feed
// of warnings.
func warnedRiver(t *testing.T, feed string, w http.Handler, readingsTo time.Time, more string) (dir, path string) {
	t.Helper()
	srv := httptest.NewServer(w)
	t.Cleanup(srv.Close)
	dir, path = write(t, fmt.Sprintf(`backfill-years = 1
[feeds.csv]
zone = "UTC"
time-column = "when"
time-layout = "2006-01-02 15:04"
  [[feeds.csv.column]]
  name = "flow"
  variable = "discharge"
  unit = "m3/s"
  [[feeds.csv.column]]
  name = "water"
  variable = "water_temperature"
  unit = "°C"
[feeds.%[1]s]
base-url = %[2]q
warnings-schedule = "@every 1s"
[[river]]
name = "Wend"
zone = "UTC"
lat = 53.9
lon = -1.8
  [river.warnings]
  feed = %[1]q
  [[river.gauge]]
  feed = "csv"
  site = "wend"
  file = "wend.csv"
  variables = ["discharge", "water_temperature"]
%[3]s`, feed, srv.URL, more))
	var b strings.Builder
	b.WriteString("when,flow,water\n")
	for at := readingsTo.AddDate(0, 0, -3); !at.After(readingsTo); at = at.Add(15 * time.Minute) {
		fmt.Fprintf(&b, "%s,%.2f,18\n", at.UTC().Format("2006-01-02 15:04"), 3+0.01*float64(at.Minute()%4))
	}
	if err := os.WriteFile(filepath.Join(dir, "wend.csv"), []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	return dir, path
}

// judged is what eclose caution says.
type judged struct {
	Level    int  `json:"level_at_least"`
	Known    bool `json:"known"`
	Reasons  []struct{ Code, Text string }
	Unknowns []string
	Warnings []warningJSON
}

func (j judged) officialReasons() (out []string) {
	for _, r := range j.Reasons {
		if strings.HasPrefix(r.Code, "warning.") {
			out = append(out, r.Text)
		}
	}
	return out
}

func (j judged) unknownWarnings() string {
	for _, u := range j.Unknowns {
		if strings.Contains(u, "official warnings") {
			return u
		}
	}
	return ""
}

func warnedCaution(t *testing.T, now time.Time, path string) judged {
	t.Helper()
	code, out, errs := call(t, now, "caution", "wend", "--config", path, "--format", "json")
	var j judged
	if err := json.Unmarshal([]byte(out), &j); code != 0 || err != nil {
		t.Fatalf("%d, %v, %s%s", code, err, out, errs)
	}
	return j
}

func nwsAlert(id, kind, event, severity, certainty, expires, refs string) string {
	return fmt.Sprintf(`{"id":"https://api.weather.gov/alerts/%[1]s","type":"Feature","geometry":null,"properties":{"id":%[1]q,"areaDesc":"Upper Wend","geocode":{"UGC":["XXZ001"]},"references":[%[7]s],"sent":"2026-05-18T10:00:00+00:00","effective":"2026-05-18T10:00:00+00:00","onset":"2026-05-18T10:00:00+00:00","expires":%[6]q,"ends":null,"status":"Actual","messageType":%[2]q,"severity":%[4]q,"certainty":%[5]q,"urgency":"Expected","event":%[3]q,"senderName":"NWS Fells"}}`,
		id, kind, event, severity, certainty, expires, refs)
}

func nwsList(alerts ...string) string {
	return `{"type":"FeatureCollection","features":[` + strings.Join(alerts, ",") + `]}`
}

func ref(id string) string { return fmt.Sprintf(`{"identifier":%q}`, id) }

func TestOfficialWarningsAreInTheCaution(t *testing.T) {
	t.Parallel()
	const later, past = "2026-05-18T18:00:00+00:00", "2026-05-18T11:59:00+00:00"
	flood := nwsAlert("a", "Alert", "Flood Warning", "Severe", "Likely", later, "")
	for _, c := range []struct {
		name, feed string
		code       int
		body       string
		level      int // at least
		reasons    []string
		unknown    string
	}{
		{"none", "nws", 0, nwsList(), 0, nil, ""},
		{"a flood warning without a polygon", "nws", 0, nwsList(flood), 3, []string{"official warning: Flood Warning (NWS Fells), somewhere in Upper Wend, until"}, ""},
		{"a thunderstorm warning", "nws", 0, nwsList(nwsAlert("a", "Alert", "Severe Thunderstorm Warning", "Severe", "Observed", later, "")), 3, []string{"Severe Thunderstorm Warning"}, ""},
		{"a flood watch", "nws", 0, nwsList(nwsAlert("a", "Alert", "Flood Watch", "Severe", "Possible", later, "")), 2, []string{"Flood Watch"}, ""},
		{"wind", "nws", 0, nwsList(nwsAlert("a", "Alert", "High Wind Warning", "Severe", "Likely", later, "")), 0, nil, ""},
		{"one that has expired", "nws", 0, nwsList(nwsAlert("a", "Alert", "Flood Warning", "Severe", "Likely", past, "")), 0, nil, ""},
		{"one that is superseded", "nws", 0, nwsList(flood, nwsAlert("b", "Update", "Flood Advisory", "Minor", "Likely", later, ref("a"))), 2, []string{"Flood Advisory"}, ""},
		{"one that is cancelled", "nws", 0, nwsList(flood, nwsAlert("b", "Cancel", "Flood Warning", "Severe", "Likely", later, ref("a"))), 0, nil, ""},
		{"a test message", "nws", 0, nwsList(strings.Replace(flood, `"Actual"`, `"Test"`, 1)), 0, nil, ""},
		{"England: an alert, a warning and one no longer in force", "ea", 0, replay.EAFloods, 3, []string{"Flood warning (Environment Agency), near: Wend at Garrow", "Flood alert (Environment Agency), near: Upper Wend"}, ""},
		{"England: severity 4 only", "ea", 0, `{"items":[{"floodAreaID":"900WAF03","severity":"Warning no longer in force","severityLevel":4,"timeRaised":"2026-05-17T11:00:00"}]}`, 0, nil, ""},
		{"a feed that is down", "nws", 500, "down", 0, nil, "no answer from nws yet"},
		{"a feed that sends a web page", "ea", 0, "<html>we are sorry</html>", 0, nil, "no answer from ea yet"},
		{"a feed that is cut short", "nws", 0, `{"type":"FeatureCollection","features":[{"id"`, 0, nil, "no answer from nws yet"},
		{"a feed without its list", "nws", 0, `{"type":"FeatureCollection"}`, 0, nil, "no answer from nws yet"},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := &warner{}
			w.say(c.code, c.body)
			_, path := warnedRiver(t, c.feed, w, warnedAt.Add(-10*time.Minute), "")
			code, out, errs := call(t, warnedAt, "ingest", "--config", path)
			if told := strings.Contains(errs, "official warnings unknown for wend"); code != 0 || told != (c.unknown != "") {
				t.Errorf("ingest: %d %s%s", code, out, errs)
			}
			j := warnedCaution(t, warnedAt, path)
			got := j.officialReasons()
			if len(got) != len(c.reasons) || j.Level < c.level || len(c.reasons) == 0 && j.Level >= 2 {
				t.Errorf("level %d, %q, want %q and at least level %d", j.Level, got, c.reasons, c.level)
			}
			for i, want := range c.reasons {
				if i < len(got) && !slices.ContainsFunc(got, func(g string) bool { return strings.Contains(g, want) }) {
					t.Errorf("%q, want %q", got, want)
				}
			}
			if u := j.unknownWarnings(); (u != "") != (c.unknown != "") || !strings.Contains(u, c.unknown) || c.unknown != "" && j.Known {
				t.Errorf("unknown %q, known %v; want %q", u, j.Known, c.unknown)
			}
			if n := len(j.Warnings); n != len(c.reasons) {
				t.Errorf("%d warnings as data", n)
			}
		})
	}
}

// TestWarningsOutliveTheirFeed: a dead feed neither ends a warning nor says that
// there is none.
func TestWarningsOutliveTheirFeed(t *testing.T) {
	t.Parallel()
	w := &warner{}
	w.say(0, nwsList(nwsAlert("a", "Alert", "Flood Warning", "Severe", "Likely", "2026-05-18T12:30:00+00:00", "")))
	_, path := warnedRiver(t, "nws", w, warnedAt.Add(50*time.Minute), "")
	if code, out, errs := call(t, warnedAt, "ingest", "--config", path); code != 0 || !strings.Contains(out, "Flood Warning") {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	w.say(503, "down")
	at := warnedAt.Add(20 * time.Minute)
	if code, _, errs := call(t, at, "ingest", "--config", path); code != 0 || !strings.Contains(errs, "official warnings unknown for wend") {
		t.Errorf("%d %s", code, errs)
	}
	for _, at := range []time.Time{at, at.Add(30 * time.Minute)} { // before and after its end
		if j := warnedCaution(t, at, path); j.Level != 3 || len(j.officialReasons()) != 1 || !strings.Contains(j.unknownWarnings(), "no answer from nws since 12:00 UTC") {
			t.Errorf("at %s: %+v", at, j)
		}
	}
	w.say(0, nwsList())
	at = at.Add(30 * time.Minute)
	if code, out, _ := call(t, at, "ingest", "--config", path); code != 0 || !strings.Contains(out, "none in force") {
		t.Errorf("%d %s", code, out)
	}
	if j := warnedCaution(t, at, path); len(j.officialReasons()) != 0 || j.unknownWarnings() != "" {
		t.Errorf("back again: %+v", j)
	}
	// Nobody asks any more: what was "none" is unknown after an hour.
	if j := warnedCaution(t, at.Add(61*time.Minute), path); j.unknownWarnings() == "" {
		t.Errorf("an old response counts: %+v", j)
	}
}

func TestTheConfigNamesWhoWarns(t *testing.T) {
	t.Parallel()
	w := &warner{}
	w.say(0, nwsList())
	_, path := warnedRiver(t, "nws", w, warnedAt, "")
	if code, out, errs := call(t, warnedAt, "ingest", "--config", path); code != 0 {
		t.Fatal(out, errs)
	}
	if _, by := examine(t, path, warnedAt.Add(2*time.Minute), "--offline"); by["wend, official warnings"].State != good || !strings.Contains(by["wend, official warnings"].Message, "0 in force, read 2 minutes ago") {
		t.Errorf("%+v", by["wend, official warnings"])
	}
	if _, by := examine(t, path, warnedAt.Add(2*time.Hour), "--offline"); by["wend, official warnings"].State != bad {
		t.Errorf("an old response: %+v", by["wend, official warnings"])
	}
	b, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct{ name, from, to, want string }{
		{"a feed that warns of nothing", `[river.warnings]
  feed = "nws"`, `[river.warnings]
  feed = "usgs"`, `unknown warnings feed "usgs"; use one of ea, eccc, meteoalarm, nws, none`},
		{"warnings are no gauge", `feed = "csv"`, `feed = "meteoalarm"`, `unknown gauge feed "meteoalarm"`},
		{"a schedule that is none", `"@every 1s"`, `"often"`, `warnings-schedule "often"`},
	} {
		_, faulty := write(t, strings.Replace(string(b), c.from, c.to, 1))
		if code, _, errs := call(t, warnedAt, "caution", "wend", "--config", faulty); code != 2 || !strings.Contains(errs, c.want) {
			t.Errorf("%s: %d %s", c.name, code, errs)
		}
	}
	for _, c := range []struct{ name, lines, zone, feed, says string }{
		{"none wanted", `feed = "none"`, "UTC", "", "switched off"},
		{"a place nobody is known to serve", `zones = []`, "UTC", "", "unknown"},
		{"England by its place", `zones = []`, "Europe/London", "ea", "Environment Agency"},
		{"Italy by its zone", `zones = ["IT005"]`, "Europe/Rome", "meteoalarm", "italy"},
	} {
		text := strings.Replace(strings.Replace(string(b), `feed = "nws"`, c.lines, 1), `zone = "UTC"`+"\nlat", fmt.Sprintf("zone = %q\nlat", c.zone), 1)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		_, by := examine(t, path, warnedAt, "--offline")
		f := by["wend, official warnings"]
		if !strings.Contains(f.Message+f.Costs, c.says) || !strings.Contains(f.Message, c.feed) {
			t.Errorf("%s: %+v", c.name, f)
		}
	}
}

// TestAWarningIsToldOnce: by a real relay, from a running server. An update is
// no news, a further warning is, and a dead feed ends nothing.
func TestAWarningIsToldOnce(t *testing.T) {
	t.Parallel()
	const later, latest = "2026-05-18T18:00:00+00:00", "2026-05-18T20:00:00+00:00"
	w := &warner{}
	w.say(0, nwsList())
	office, mailLines := openPostOffice(t)
	_, path := warnedRiver(t, "nws", w, warnedAt, mailLines+"[serve]\npublic-url = \"https://eclose.example.org\"\n")
	if code, out, errs := call(t, warnedAt, "subscribe", "add", "ann@example.org", "--river", "wend", "--consent", "paper", "--config", path); code != 0 {
		t.Fatal(out, errs)
	}
	url, log, stop := serve(t, from(warnedAt), "--config", path)
	fetches := func(n int) { // from now on, each looked at
		t.Helper()
		before := w.count()
		until(t, fmt.Sprintf("%d fetches of warnings", n), log, func() bool { return w.count() >= before+n })
	}
	fetches(2)
	if n := len(office.all()); n != 0 {
		t.Fatalf("%d mails about no warning:\n%s", n, office.all())
	}
	a := nwsAlert("a", "Alert", "Flood Warning", "Severe", "Likely", later, "")
	w.say(0, nwsList(a))
	until(t, "the mail of the flood", log, func() bool { return len(office.all()) == 1 })
	body := strings.Join(strings.Fields(plain(office.all()[0])), " ")
	for _, want := range []string{"Official warning: Flood Warning, NWS Fells, somewhere in Upper Wend, until 18:00 UTC on Mon 18 May 2026", "https://forecast.weather.gov/MapClick.php?lat=53.9&lon=-1.8", "keep out of the water", "overrule"} {
		if !strings.Contains(body, want) {
			t.Errorf("the mail lacks %q:\n%s", want, body)
		}
	}
	until(t, "the warning on the page", log, func() bool {
		_, page := get(t, url+"/river/wend")
		return strings.Contains(page, "Official warning: Flood Warning") && strings.Contains(page, `href="https://forecast.weather.gov/MapClick.php`)
	})
	w.say(0, nwsList(a, nwsAlert("b", "Update", "Flood Warning", "Severe", "Likely", latest, ref("a"))))
	fetches(4)
	w.say(500, "down")
	fetches(4)
	w.say(0, nwsList(nwsAlert("b", "Update", "Flood Warning", "Severe", "Likely", latest, ref("a"))))
	fetches(3)
	if n := len(office.all()); n != 1 {
		t.Fatalf("%d mails about one warning:\n%s", n, strings.Join(office.all(), "\n=====\n"))
	}
	w.say(0, nwsList(nwsAlert("b", "Update", "Flood Warning", "Severe", "Likely", latest, ref("a")), nwsAlert("c", "Alert", "Tornado Warning", "Extreme", "Observed", later, "")))
	until(t, "the mail of the storm", log, func() bool { return len(office.all()) == 2 })
	if body := strings.Join(strings.Fields(plain(office.all()[1])), " "); !strings.Contains(body, "Official warning: Tornado Warning") || !strings.Contains(body, "got worse") {
		t.Errorf("the second mail:\n%s", body)
	}
	fetches(3)
	if n := len(office.all()); n != 2 {
		t.Errorf("%d mails in the end", n)
	}
	if code := stop(); code != 0 {
		t.Errorf("stopped with %d\n%s", code, log)
	}
}
