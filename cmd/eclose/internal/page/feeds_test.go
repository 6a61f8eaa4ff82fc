package page

import (
	"context"
	"encoding/xml"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"

	"example.org/eclose/forecast"
	"example.org/eclose/notify/syndicate"
)

func TestCalendarsByAddressHaveFewEventsEachOnce(t *testing.T) {
	w := newWorld(t, nil)
	events := func(path string) map[string]*ics.VEvent {
		t.Helper()
		a := w.get(path)
		if a.Code != http.StatusOK || !strings.HasPrefix(a.Header().Get("Content-Type"), "text/calendar") || a.Header().Get("Access-Control-Allow-Origin") != "*" {
			t.Fatalf("%s: %d, %v", path, a.Code, a.Header())
		}
		c, err := ics.ParseCalendar(strings.NewReader(a.Body.String()))
		if err != nil {
			t.Fatal(err)
		}
		out := map[string]*ics.VEvent{}
		for _, e := range c.Events() {
			if out[e.Id()] != nil {
				t.Errorf("%s: %s twice", path, e.Id())
			}
			out[e.Id()] = e
			if d := e.GetProperty(ics.ComponentPropertyDescription); d == nil || !strings.Contains(d.Value, "not a wading forecast") {
				t.Errorf("%s: %s lacks the caution", path, e.Id())
			}
		}
		return out
	}
	one := events("/river/wend/calendar.ics")
	if len(one) == 0 || len(one) > 10 {
		t.Errorf("%d events of one river", len(one))
	}
	if all := events("/calendar.ics"); len(all) <= len(one) || len(all) > 30 {
		t.Errorf("%d events of three rivers", len(all))
	}
	wish := events("/calendar.ics?river=wend&river=garrow&group=salmonfly")
	if len(wish) == 0 || len(wish) > 4 {
		t.Errorf("%d events of a wish", len(wish))
	}
	for id := range wish {
		if !strings.Contains(id, ".salmonfly.") || strings.HasPrefix(id, "odd.") {
			t.Errorf("%s was not wished for", id)
		}
	}
	if dry := events("/river/dry/calendar.ics"); len(dry) != 0 {
		t.Errorf("%d events of a river without a forecast", len(dry))
	}
	for _, path := range []string{"/river/nowhere/calendar.ics", "/river/nowhere/feed.atom", "/river/nowhere/caution.xml", "/calendar.ics?group=unicorn"} {
		if a := w.get(path); a.Code != http.StatusNotFound {
			t.Errorf("%s: %d", path, a.Code)
		}
	}
	a := w.get("/river/wend/calendar.ics")
	r := httptest.NewRequest(http.MethodGet, "/river/wend/calendar.ics", nil)
	r.Header.Set("If-None-Match", a.Header().Get("ETag"))
	again := httptest.NewRecorder()
	w.handler.ServeHTTP(again, r)
	if again.Code != http.StatusNotModified {
		t.Errorf("asked again with its tag: %d", again.Code)
	}
}

func TestWhatWasToldStandsInTheCalendar(t *testing.T) {
	told := []syndicate.PublishedWindow{{River: "wend", Group: "salmonfly", Name: "salmonfly", Stage: forecast.Emergence, Season: 2026, From: forecast.DateOf(noon) + 3, To: forecast.DateOf(noon) + 9, Shown: true, Cancelled: true, Changed: noon}}
	w := newWorld(t, func(o *Options) {
		o.Windows = func(_ context.Context, river string) ([]syndicate.PublishedWindow, error) {
			if river == "wend" {
				return told, nil
			}
			return nil, nil
		}
	})
	body := w.get("/river/wend/calendar.ics").Body.String()
	for _, x := range []string{"UID:wend.salmonfly.emergence.2026@eclose", "STATUS:CANCELLED", "DTSTART;VALUE=DATE:20260521", "DTEND;VALUE=DATE:20260528"} {
		if !strings.Contains(body, x) {
			t.Errorf("the calendar lacks %s:\n%s", x, body)
		}
	}
}

// An unknown caution is published, of every river, and none outlives its reading.
func TestEveryRiverHasACautionInCAP(t *testing.T) {
	w := newWorld(t, nil)
	for _, r := range invented {
		a := w.get("/river/" + r.Slug + "/caution.xml")
		var m syndicate.CAPMessage
		if err := xml.Unmarshal(a.Body.Bytes(), &m); err != nil || a.Code != http.StatusOK || a.Header().Get("Content-Type") != "application/cap+xml" {
			t.Fatalf("%s: %d, %v", r.Slug, a.Code, err)
		}
		if !strings.Contains(m.Info.Headline, "unknown") || m.Info.Certainty != "Unknown" || m.Info.Response != "Avoid" {
			t.Errorf("%s: %+v", r.Slug, m.Info)
		}
	}
	st, _ := w.Data.State(t.Context(), "wend")
	known := *st
	known.Caution.Known, known.Caution.Until = true, noon.Add(40*time.Minute)
	w.Data.(*Memory).Put("wend", &known)
	var m syndicate.CAPMessage
	if err := xml.Unmarshal(w.get("/river/wend/caution.xml").Body.Bytes(), &m); err != nil || m.Info.Expires != "2026-05-18T19:40:00-00:00" {
		t.Errorf("a known caution expires %s, %v", m.Info.Expires, err)
	}
	list := w.get("/cautions.atom").Body.String()
	if n := strings.Count(list, "<entry>"); n != len(invented) || strings.Contains(list, "<script>") {
		t.Errorf("%d cautions in the list", n)
	}
}
