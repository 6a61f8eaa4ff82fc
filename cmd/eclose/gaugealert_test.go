package main

import (
	"fmt"
	"math"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/model/wading"
)

// An invented river of salmonflies, read hour by hour to a file, with a service of
// official warnings: its forecast of 14 June has the egg-laying more likely than not.
const salmonflyRiver = `units = "us"
forecast-schedule = "@every 1m"
[feeds.csv]
schedule = "@every 2s"
zone = "UTC"
time-column = "time"
time-layout = "2006-01-02 15:04"
  [[feeds.csv.column]]
  name = "flow"
  variable = "discharge"
  unit = "m3/s"
  [[feeds.csv.column]]
  name = "water"
  variable = "water_temperature"
  unit = "degC"
[feeds.nws]
base-url = %q
warnings-schedule = "@every 1s"
[[river]]
name = "Garrow"
region = "rockies"
zone = "America/Denver"
lat = 44.9
lon = -111.6
groups = ["salmonfly"]
  [[river.gauge]]
  feed = "csv"
  site = "garrow"
  file = "garrow.csv"
  variables = ["discharge", "water_temperature"]
  [river.warnings]
  feed = "nws"
[serve]
public-url = "https://eclose.example.org"
%s`

// salmonflyHouse is a server of that river whose clock can be put forward.
type salmonflyHouse struct {
	*testing.T
	file   string
	now    func() time.Time
	later  atomic.Int64
	warner *warner
	office *postOffice
	url    string
	path   string
	log    *noise
	stop   func() int
	db     *db.DB
}

var salmonflyNoon = time.Date(2026, 6, 14, 18, 0, 0, 0, time.UTC) // at the river

func openSalmonflyHouse(t *testing.T, more string) *salmonflyHouse {
	t.Helper()
	h := &salmonflyHouse{T: t, warner: &warner{}}
	h.warner.say(0, nwsList())
	srv := httptest.NewServer(h.warner)
	t.Cleanup(srv.Close)
	var mailLines, dir string
	h.office, mailLines = openPostOffice(t)
	dir, h.path = write(t, fmt.Sprintf(salmonflyRiver, srv.URL, mailLines+more))
	h.file = filepath.Join(dir, "garrow.csv")
	var b strings.Builder
	b.WriteString("time,flow,water\n")
	for at := salmonflyNoon.AddDate(-6, -5, 0); !at.After(salmonflyNoon); at = at.Add(time.Hour) {
		d, n := float64(at.YearDay()), float64(at.Unix()/3600)
		if salmonflyNoon.Sub(at) > 335*24*time.Hour && (math.Abs(d-165) > 20 && at.Hour()%6 != 0) {
			continue
		}
		flow := 20 + 8*math.Sin(2*math.Pi*(d-70)/365) + 1.5*math.Sin(n/110) + 0.05*math.Sin(n/3.8)
		water := 8 + 7*math.Sin(2*math.Pi*(d-110)/365) + 1.2*math.Sin(2*math.Pi*float64(at.Hour()-15)/24)
		fmt.Fprintf(&b, "%s,%.3f,%.2f\n", at.Format("2006-01-02 15:04"), flow, max(0.2, water))
	}
	if err := os.WriteFile(h.file, []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	clock := from(salmonflyNoon.Add(5 * time.Minute))
	h.now = func() time.Time { return clock().Add(time.Duration(h.later.Load())) }
	if code, out, errs := call(t, h.now(), "ingest", "--config", h.path); code != 0 {
		t.Fatal(out, errs)
	}
	return h
}

func (h *salmonflyHouse) start() {
	h.Helper()
	h.url, h.log, h.stop = serve(h.T, h.now, "--config", h.path)
	h.says("Salmonfly")
	h.opened()
}

// opened reads along in the server's database.
func (h *salmonflyHouse) opened() {
	h.Helper()
	d, err := db.OpenReader(h.Context(), filepath.Join(filepath.Dir(h.path), "eclose.db"))
	if err != nil {
		h.Fatal(err)
	}
	h.Cleanup(func() { _ = d.Close() }) // it was only read
	h.db = d
}

// reads puts the clock forward, and then the gauge has read a flow, m3/s.
func (h *salmonflyHouse) reads(after time.Duration, flow float64) {
	h.Helper()
	h.writes(after, flow)
	// The page has its own judgement; what mails rest on is in the database.
	until(h.T, fmt.Sprintf("%g m³/s judged", flow), h.log, func() bool {
		return strings.Contains(strings.Join(rowsOf(h.T, h.db, "SELECT * FROM river_state"), " "), fmt.Sprintf(`"flow_m3s":{"v":%g,`, flow))
	})
	h.looked(2)
}

// writes is reads without waiting for the judgement.
func (h *salmonflyHouse) writes(after time.Duration, flow float64) {
	h.Helper()
	h.later.Add(int64(after))
	at := h.now().Add(-2 * time.Minute)
	f, err := os.OpenFile(h.file, os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		h.Fatal(err)
	}
	fmt.Fprintf(f, "%s,%.3f,14\n", at.UTC().Format("2006-01-02 15:04"), flow)
	if err := f.Close(); err != nil {
		h.Fatal(err)
	}
}

// pass puts the clock forward. The server's leader steps down then, and is elected
// again within seconds.
func (h *salmonflyHouse) pass(d time.Duration) {
	h.Helper()
	h.later.Add(int64(d))
	h.looked(3)
}

// looked waits until the warnings were fetched so many times, after each of which the
// river is judged and mails are decided.
func (h *salmonflyHouse) looked(n int) {
	h.Helper()
	before := h.warner.count()
	until(h.T, fmt.Sprintf("%d fetches of warnings", n), h.log, func() bool { return h.warner.count() >= before+n })
}

func (h *salmonflyHouse) says(text string) {
	h.Helper()
	until(h.T, fmt.Sprintf("%q on the page", text), h.log, func() bool { _, b := get(h.T, h.url+"/river/garrow"); return strings.Contains(b, text) })
}

func (h *salmonflyHouse) none(why string) {
	h.Helper()
	if got := h.office.all(); len(got) != 0 {
		h.Fatalf("%s, and %d mails:\n%s", why, len(got), plain(got[0]))
	}
}

// TestAValueAtTheGaugeIsToldOnlyWhileTheRiverMayBeVisited: "flow below 900 cfs and
// salmonfly likely", through the server and a real relay. What was asked for holds
// from the second reading on; each thing that must withhold it comes first.
func TestAValueAtTheGaugeIsToldOnlyWhileTheRiverMayBeVisited(t *testing.T) {
	if os.Getenv("ECLOSE_LONG") != "1" {
		t.Skip("it puts the clock forward a dozen times, each followed by an election, and takes three minutes: set ECLOSE_LONG=1")
	}
	h := openSalmonflyHouse(t, "")
	if code, out, errs := call(t, h.now(), "subscribe", "add", "ann@example.org", "--river", "garrow", "--group", "salmonfly", "--threshold", "0.3", "--when", "flow < 900 cfs",
		"--no-cautions", "--quiet-hours", "none", "--consent", "paper", "--config", h.path); code != 0 {
		t.Fatal(out, errs)
	}
	h.start()
	h.looked(2)
	h.none("the flow is 979 cfs")

	h.warner.say(404, "gone")
	h.reads(40*time.Minute, 24)
	h.reads(40*time.Minute, 23)
	h.says("Caution level unknown")
	h.reads(40*time.Minute, 22)
	h.none("the warnings are not known, so the level is not either")

	watch := nwsAlert("a", "Alert", "Flood Watch", "Severe", "Possible", "2026-06-14T23:00:00+00:00", "")
	h.warner.say(0, nwsList(watch))
	h.says("Flood Watch")
	h.reads(30*time.Minute, 21.75)
	h.reads(30*time.Minute, 21.5)
	h.none("a flood watch makes the caution 2")

	// The watch is off: its level goes after three hours, and then two readings count.
	h.warner.say(0, nwsList())
	until(t, "the end of the watch", h.log, func() bool { _, b := get(t, h.url+"/river/garrow"); return !strings.Contains(b, "Flood Watch") })
	h.looked(2)
	for n := 0; len(h.office.all()) == 0 && n < 12; n++ {
		h.reads(45*time.Minute, 22.25+0.125*float64(n))
		if n < 3 {
			h.none("the level of the watch holds for three hours")
		}
	}
	mails := h.mails(1)
	for _, want := range []string{"Subject: Garrow: flow at or below 900 cfs", ", and salmonfly, egg-laying", "You asked to hear of this: ", "Caution 1 of 3: take care.", "From gauge csv garrow, read at", "Valid until",
		"Local notices, dam operators, licensed guides and your own eyes overrule"} {
		if !strings.Contains(mails[0], want) {
			t.Errorf("the mail lacks %q:\n%s", want, mails[0])
		}
	}
	h.reads(30*time.Minute, 21.75)
	h.mails(1)
	for _, flow := range []float64{25.5, 28.625, 28.75} {
		h.reads(45*time.Minute, flow)
	}
	h.pass(10 * time.Minute) // what comes together is told together
	if mails = h.mails(2); !strings.Contains(mails[1], "no longer") {
		t.Errorf("the end of it:\n%s", mails[1])
	}

	// A forecast value is weighed at each issue; one that is old may not send anybody.
	ask := func(who string) {
		t.Helper()
		if code, out, errs := call(t, h.now(), "subscribe", "add", who+"@example.org", "--river", "garrow", "--when", "forecast flow < 2000 cfs",
			"--no-cautions", "--quiet-hours", "none", "--consent", "paper", "--config", h.path); code != 0 {
			t.Fatal(out, errs)
		}
	}
	ask("bob")
	for n := 0; len(h.office.all()) < 3 && n < 6; n++ {
		h.pass(10 * time.Minute)
	}
	if m := h.mails(3)[2]; !strings.Contains(m, "To: <bob@example.org>") || !strings.Contains(m, "chance") {
		t.Errorf("of the forecast:\n%s", m)
	}
	h.pass(wading.MaxAge)
	h.says("Caution level unknown")
	ask("cora")
	for range 5 {
		h.pass(10 * time.Minute)
	}
	if got := h.to("cora"); len(got) != 0 {
		t.Errorf("told of a forecast while the reading is old:\n%s", got[0])
	}
	if code := h.stop(); code != 0 {
		t.Errorf("stopped with %d\n%s", code, h.log)
	}
}

// mails waits for so many and gives their texts, one space for any blank.
func (h *salmonflyHouse) mails(n int) (out []string) {
	h.Helper()
	until(h.T, fmt.Sprintf("%d mails", n), h.log, func() bool { return len(h.office.all()) >= n })
	for _, m := range h.office.all() {
		out = append(out, strings.Join(strings.Fields(plain(m)), " "))
	}
	if len(out) != n {
		h.Fatalf("%d mails, not %d:\n%s", len(out), n, strings.Join(out, "\n====\n"))
	}
	return out
}

// to are the mails to one person, as mails gives them.
func (h *salmonflyHouse) to(who string) (out []string) {
	for _, m := range h.office.all() {
		if m = strings.Join(strings.Fields(plain(m)), " "); strings.Contains(m, "To: <"+who+"@example.org>") {
			out = append(out, m)
		}
	}
	return out
}

// TestAWarningServiceThatFallsSilentIsToldOnceByMail: to the operator, whose service
// it is, and to a reader who was told of a warning; and that it speaks again.
func TestAWarningServiceThatFallsSilentIsToldOnceByMail(t *testing.T) {
	if os.Getenv("ECLOSE_LONG") != "1" {
		t.Skip("it puts the clock forward a dozen times, each followed by an election, and takes three minutes: set ECLOSE_LONG=1")
	}
	h := openSalmonflyHouse(t, "operator = \"keeper@example.org\"\n[health]\ninterval = \"1s\"\n"+
		"caution-age = \"48h\"\nmail-wait = \"48h\"\n") // the clock leaps: that is no fault
	if code, out, errs := call(t, h.now(), "subscribe", "add", "ann@example.org", "--river", "garrow", "--threshold", "0.9", "--quiet-hours", "none", "--consent", "paper", "--config", h.path); code != 0 {
		t.Fatal(out, errs)
	}
	h.start()
	h.warner.say(0, nwsList(nwsAlert("a", "Alert", "Flood Watch", "Severe", "Possible", "2026-06-15T23:00:00+00:00", "")))
	h.says("Flood Watch")
	h.pass(10 * time.Minute)
	until(t, "the mail of the watch", h.log, func() bool { return len(h.to("ann")) == 1 })

	silent := func() (n int) {
		for _, m := range h.to("keeper") {
			if strings.Contains(m, "nws warnings of garrow failed") {
				n++
			}
		}
		return n
	}
	h.warner.say(404, "gone")
	until(t, "the mail to the operator", h.log, func() bool { return silent() == 1 })
	h.looked(12)
	if n := silent(); n != 1 {
		t.Errorf("the operator was told %d times:\n%s", n, strings.Join(h.to("keeper"), "\n====\n"))
	}
	for n := 0; len(h.to("ann")) < 2 && n < 4; n++ {
		h.reads(100*time.Minute, 22+0.1*float64(n))
	}
	for n := range 3 {
		h.reads(100*time.Minute, 22.5+0.1*float64(n))
	}
	got := h.to("ann")
	if len(got) != 2 || !strings.Contains(got[1], "official warnings unknown since") || !strings.Contains(got[1], "Treat the river as too high until you have seen it.") || !strings.Contains(got[1], "The last level was 2 of 3") {
		t.Fatalf("%d mails to the reader:\n%s", len(got), strings.Join(got, "\n====\n"))
	}

	// A reading taken just before the judgement that ended a warning may be passed
	// over; the next one counts.
	h.warner.say(0, nwsList())
	for n := 0; len(h.to("ann")) < 3 && n < 6; n++ {
		h.writes(90*time.Minute, 22.5-0.25*float64(n))
		h.looked(2)
		h.reads(10*time.Minute, 22.375-0.25*float64(n))
	}
	if got = h.to("ann"); len(got) != 3 || !strings.Contains(got[2], "caution down from 2 to 1 of 3") {
		t.Errorf("%d mails to the reader:\n%s", len(got), strings.Join(got, "\n====\n"))
	}
	until(t, "that it speaks again", h.log, func() bool {
		k := h.to("keeper")
		return len(k) > 0 && strings.Contains(strings.Join(k, " "), "resolved: feed-failures nws warnings of garrow")
	})
	if code := h.stop(); code != 0 {
		t.Errorf("stopped with %d\n%s", code, h.log)
	}
}
