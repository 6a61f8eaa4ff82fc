package main

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestOpenerAndSundayReadersAreWrittenToWhenTheyAsked goes from a Sunday in June into July
// through the server and a real relay: two insects open one after the other. One reader
// wants each, one only the first of the season, one a digest on Sunday mornings.
func TestOpenerAndSundayReadersAreWrittenToWhenTheyAsked(t *testing.T) {
	if os.Getenv("ECLOSE_LONG") != "1" {
		t.Skip("it puts the clock forward two dozen times, each followed by an election, and takes minutes: set ECLOSE_LONG=1")
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

	// Noon by noon at the river, until the second insect has been told.
	zone, err := time.LoadLocation("America/Denver")
	if err != nil {
		t.Fatal(err)
	}
	told := func(who, what string) bool {
		return strings.Contains(strings.ToLower(strings.Join(h.to(who), " ")), what)
	}
	if told("now", "spruce moth") {
		t.Fatal("both insects open at once: the test shows nothing")
	}
	sundays := 0
	for day := 0; day < 40 && !(told("now", "spruce moth") && told("sunday", "spruce moth")); day++ {
		h.writes(24*time.Hour, 20)
		h.looked(3)
		h.pass(10 * time.Minute)
		n := len(h.to("sunday"))
		if weekday := h.now().In(zone).Weekday(); n > sundays && weekday != time.Sunday {
			t.Errorf("the Sunday digest came on a %s", weekday)
		}
		sundays = n
	}
	if sundays == 0 || !told("sunday", "spruce moth") || !told("now", "spruce moth") {
		t.Errorf("%d Sunday digests, the second insect told: each %v, Sunday %v", sundays, told("now", "spruce moth"), told("sunday", "spruce moth"))
	}
	if got := h.to("opener"); len(got) != 1 || told("opener", "spruce moth") {
		t.Errorf("the reader who wants only the opener got %d mails:\n%s", len(got), strings.Join(got, "\n====\n"))
	}
	if code := h.stop(); code != 0 {
		t.Errorf("stopped with %d\n%s", code, h.log)
	}
}
