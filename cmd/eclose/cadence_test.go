package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// TestOpenerAndSundayReadersAreWrittenToWhenTheyAsked goes from a Sunday in June into July
// through the server and a real relay: two insects open one after the other. One reader
// wants each, one only the first of the season, one a digest on Sunday mornings.
func TestOpenerAndSundayReadersAreWrittenToWhenTheyAsked(t *testing.T) {
	if os.Getenv("ECLOSE_LONG") != "1" {
		t.Skip("it puts the clock forward a dozen times, each followed by an election, and takes minutes: set ECLOSE_LONG=1")
	}
	h := openSalmonflyHouse(t, "[health]\ncaution-age = \"900h\"\nmail-wait = \"900h\"\n") // the clock leaps: that is no fault
	config, err := os.ReadFile(h.path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(h.path, []byte(strings.Replace(string(config), `groups = ["salmonfly"]`, `groups = ["salmonfly", "spruce-moth-american"]`, 1)), 0o600); err != nil {
		t.Fatal(err)
	}
	people := filepath.Join(t.TempDir(), "people.csv")
	if err := os.WriteFile(people, []byte("address,river,threshold,cadence,cautions,quiet\n"+
		"now@example.org,garrow,0.3,now,no,none\nopener@example.org,garrow,0.3,opener,no,none\nsunday@example.org,garrow,0.3,weekly,no,none\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := call(t, h.now(), "subscribe", "import", people, "--consent", "paper", "--config", h.path); code != 0 {
		t.Fatal(out, errs)
	}
	h.start()
	h.pass(10 * time.Minute) // what comes together is told together
	until(t, "the first mails", h.log, func() bool { return len(h.to("now")) == 1 && len(h.to("opener")) == 1 })
	if got := h.to("opener")[0]; !strings.Contains(got, "almonfly") {
		t.Errorf("the opener:\n%s", got)
	}

	// A Saturday, a Sunday, and then Sunday by Sunday until the second insect was told.
	told := func(who, what string) bool {
		return strings.Contains(strings.ToLower(strings.Join(h.to(who), " ")), what)
	}
	if told("now", "spruce moth") {
		t.Fatal("both insects open at once: the test shows nothing")
	}
	h.days(6)
	if got := h.ofInsects("sunday"); len(got) != 0 {
		t.Errorf("the Sunday reader got a mail before Sunday:\n%s", got[0])
	}
	h.days(1)
	until(t, "the Sunday digest", h.log, func() bool { return len(h.ofInsects("sunday")) == 1 })
	for range 7 {
		if told("now", "spruce moth") && told("sunday", "spruce moth") {
			break
		}
		h.days(7)
	}
	sundays := len(h.ofInsects("sunday"))
	if sundays == 0 || !told("sunday", "spruce moth") || !told("now", "spruce moth") {
		t.Errorf("%d Sunday digests, the second insect told: each %v, Sunday %v", sundays, told("now", "spruce moth"), told("sunday", "spruce moth"))
	}
	if got := h.ofInsects("opener"); len(got) != 1 || told("opener", "spruce moth") {
		t.Errorf("the reader who wants only the opener got %d mails:\n%s", len(got), strings.Join(got, "\n====\n"))
	}
	if code := h.stop(); code != 0 {
		t.Errorf("stopped with %d\n%s", code, h.log)
	}
}

// days stops the server for some days, in which the gauge reads on; it is noon at the
// river then. A server that runs on would see the clock leap and call the gauge silent. The
// values move: a sensor that says the same for days is doubted.
func (h *salmonflyHouse) days(n int) {
	h.Helper()
	if code := h.stop(); code != 0 {
		h.Errorf("stopped with %d\n%s", code, h.log)
	}
	f, err := os.OpenFile(h.file, os.O_APPEND|os.O_WRONLY, 0o600)
	if err != nil {
		h.Fatal(err)
	}
	for at, end := h.now().Add(time.Hour), h.now().AddDate(0, 0, n); !at.After(end); at = at.Add(time.Hour) {
		hours := float64(at.Unix() / 3600)
		fmt.Fprintf(f, "%s,%.3f,%.2f\n", at.UTC().Add(-2*time.Minute).Format("2006-01-02 15:04"), 20+math.Sin(hours/110)+0.05*math.Sin(hours/3.8), 14+1.2*math.Sin(2*math.Pi*(hours-21)/24))
	}
	if err := f.Close(); err != nil {
		h.Fatal(err)
	}
	h.later.Add(int64(n) * int64(24*time.Hour))
	if code, out, errs := call(h.T, h.now(), "ingest", "--config", h.path); code != 0 {
		h.Fatal(out, errs)
	}
	issued := h.outlooks()
	h.url, h.log, h.stop = serve(h.T, h.now, "--config", h.path)
	until(h.T, "the outlook of the day", h.log, func() bool { return h.outlooks() > issued })
	h.looked(3)
	h.pass(10 * time.Minute) // what comes together is told together
}

// outlooks is how many were issued.
func (h *salmonflyHouse) outlooks() int {
	return len(rowsOf(h.T, h.db, "SELECT issued_at FROM outlook"))
}

// ofInsects are a reader's mails without those of a gauge that is silent: whoever was told
// of an insect is told of that at once, whatever the cadence.
func (h *salmonflyHouse) ofInsects(who string) []string {
	return slices.DeleteFunc(h.to(who), func(mail string) bool { return strings.Contains(mail, "no usable reading") })
}
