package main

import (
	"encoding/xml"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/notify/syndicate"
)

// capTime reads a time as CAP writes it.
func capTime(t *testing.T, text string) time.Time {
	t.Helper()
	at, err := time.Parse("2006-01-02T15:04:05-07:00", strings.Replace(text, "-00:00", "+00:00", 1))
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// capFrom is a river's caution as a server publishes it, with when it was asked for and
// when its reading was taken.
func capFrom(t *testing.T, url, river string, now func() time.Time) (m syndicate.CAPMessage, at, reading time.Time) {
	t.Helper()
	at = now()
	code, body := get(t, url+"/river/"+river+"/caution.xml")
	if code != 200 || strings.Contains(strings.ToLower(body), "allclear") || xml.Unmarshal([]byte(body), &m) != nil || m.MsgType != "Alert" {
		t.Fatalf("%s: %d %s", river, code, body)
	}
	for _, p := range m.Info.Parameters {
		if p.Name == "eclose:reading" {
			reading = capTime(t, p.Value)
		}
	}
	return m, at, reading
}

// The cautions of three rivers, as a server publishes them in CAP, while its clock goes on:
// no known level is valid two hours after its reading, or expired when it is fetched; when
// nobody has judged for hours the level is unknown, and that is published. Nothing is ever
// said to be over.
func TestTheCautionInCAPNeverOutlivesItsReading(t *testing.T) {
	t.Parallel()
	_, path := ingested(t)
	if code, out, errs := call(t, demo.Issue, "forecast", "--config", path); code != 0 {
		t.Fatalf("%s%s", out, errs)
	}
	var later atomic.Int64
	base := from(demo.Issue)
	now := func() time.Time { return base().Add(time.Duration(later.Load())) }
	url, log, _ := serve(t, now, "--config", path)
	rivers := []string{"wend", "garrow", "little-ash"}
	until(t, "a known caution", log, func() bool {
		_, list := get(t, url+"/cautions.atom")
		return strings.Count(list, "Caution level unknown") < len(rivers) && strings.Contains(list, "<entry>")
	})
	known := 0
	for range 12 {
		for _, river := range rivers {
			m, at, reading := capFrom(t, url, river, now)
			expires := capTime(t, m.Info.Expires)
			switch m.Info.Certainty {
			case "Unknown":
				if m.Info.Response != "Avoid" || !strings.Contains(m.Info.Headline, "unknown") {
					t.Errorf("%s at %s: %+v", river, at.Format("15:04"), m.Info)
				}
			default:
				known++
				// Two hours are wading.MaxAge, in figures, so that a longer one is noticed.
				if reading.IsZero() || expires.After(reading.Add(2*time.Hour)) || expires.Before(at.Truncate(time.Second)) {
					t.Errorf("%s at %s: a known level of a reading of %s expires at %s", river, at.Format("15:04"), reading.Format("15:04"), expires.Format("15:04"))
				}
			}
		}
		later.Add(int64(5 * time.Minute))
		time.Sleep(20 * time.Millisecond)
	}
	if known == 0 {
		t.Error("no caution was known: the test shows nothing")
	}
	later.Add(int64(5 * time.Hour)) // and nobody has judged since
	for _, river := range rivers {
		if m, at, _ := capFrom(t, url, river, now); m.Info.Certainty != "Unknown" || m.Info.Response != "Avoid" || !capTime(t, m.Info.Expires).After(at) {
			t.Errorf("%s, five hours on: %+v", river, m.Info)
		}
	}
	if _, list := get(t, url+"/cautions.atom"); strings.Count(list, "<entry>") != len(rivers) {
		t.Errorf("the list leaves a river out: %s", list)
	}
	t.Logf("a known level was published %d times", known)
}
