package warning

import (
	"errors"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/series"
)

func TestWhatAFeedLeavesOutRaisesCaution(t *testing.T) {
	w := Warning{ID: "a"}
	w.Complete()
	if w.Status != Actual || w.MsgType != MsgAlert || w.Severity != Unknown || w.Urgency != Unknown || w.Certainty != Unknown || w.Event != "Warning" || w.Chain != "a" || w.Hazard != "" {
		t.Errorf("%+v", w)
	}
	full := Warning{ID: "a", Status: "Test", MsgType: MsgUpdate, Severity: Minor, Urgency: Future, Certainty: Possible, Event: "Flood Watch", Chain: "b", Hazard: Thunder}
	if w := full; func() bool {
		w.Complete()
		return w.Severity != Minor || w.Urgency != Future || w.Certainty != Possible || w.Event != "Flood Watch" || w.Chain != "b" || w.Hazard != Thunder || w.Status != "Test"
	}() {
		t.Errorf("changed: %+v", w)
	}
	full.Hazard = ""
	if full.Complete(); full.Hazard != Flood {
		t.Errorf("%+v", full)
	}
}

func TestTimesAndLinksOfTheFeeds(t *testing.T) {
	for s, want := range map[string]string{
		"2026-05-18T12:00:00-05:00": "2026-05-18T17:00:00Z", "2026-05-18T12:00:00": "2026-05-18T12:00:00Z", " 2026-05-18 12:00:00 ": "2026-05-18T12:00:00Z", //nolint:gocritic // spaces are to be cut
		"2026-05-18T12:00Z": "2026-05-18T12:00:00Z", "1971-01-01T00:00:00Z": "1971-01-01T00:00:00Z",
		"1970-01-01T00:00:00Z": "", "0001-01-01T00:00:00Z": "", "9999-12-31T00:00:00Z": "", "soon": "", "": "",
	} {
		got := ""
		if at := ParseTime(s); !at.IsZero() {
			got = at.Format(time.RFC3339)
		}
		if got != want {
			t.Errorf("%q: %s, want %s", s, got, want)
		}
	}
	for s, ok := range map[string]bool{
		"https://example.org/a": true, "http://example.org/a": true, "ftp://example.org": false, "javascript:alert(1)": false, "https://example.org/a b": false,
		"https://example.org/\"": false, "": false, "https://" + strings.Repeat("a", 491): true, "https://" + strings.Repeat("a", 492): false,
	} {
		if got := WebLink(s); (got == s) != ok && s != "" || got != "" && got != s {
			t.Errorf("%q: %q", s, got)
		}
	}
}

func TestPolygonsAndZonesThatAreNotUnderstood(t *testing.T) {
	for s, ok := range map[string]bool{
		"45,-131 46,-131 46,-130": true, "45,-131 46,-131": false, "x,-131 46,-131 46,-130": false, "45,x 46,-131 46,-130": false, "45 46,-131 46,-130 1,2": false,
		"91,0 46,-131 46,-130": false, "45,361 46,-131 46,-130": false, "-90,0 46,-131 46,-130": true, "-91,0 46,-131 46,-130": false, "45,360 46,-131 46,-130": true,
	} {
		if got := CAPPolygon(s); (got != nil) != ok {
			t.Errorf("%q: %v", s, got)
		}
	}
	w := alert("a", nil)
	w.Area = Area{Zones: []string{"YYY12"}}
	if w.Locate(Place{Zones: []string{"XX012"}}, Unplaced); w.Fit != Unplaced {
		t.Errorf("zones of another scheme, as long: %s", w.Fit)
	}
}

func TestTwoUpdatesOfAnAlertThatNobodySawAreOneChain(t *testing.T) {
	update := func(id string, minute int) Warning {
		return alert(id, func(w *Warning) {
			w.MsgType, w.References, w.Sent = MsgUpdate, []string{"a"}, noon.Add(time.Duration(minute)*time.Minute)
		})
	}
	list := []Warning{update("b", 1), update("c", 2)}
	if Follow(nil, list); list[0].Chain != list[1].Chain || list[0].Chain == "" {
		t.Errorf("%q and %q", list[0].Chain, list[1].Chain)
	}
}

func TestARecordIsOfOneServiceAndItsSilenceIsNews(t *testing.T) {
	files, err := series.OpenFiles(t.Context(), t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	renew := func(s Source) Renewed {
		t.Helper()
		r, err := Renew(t.Context(), files, "wend", s, Place{}, func() time.Time { return noon })
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	renew(&scripted{})
	if r := renew(&scripted{err: errors.New("down")}); !r.Changed(noon) || r.Now.Fetched.IsZero() {
		t.Errorf("none in force became unknown: changed %t, %+v", r.Changed(noon), r.Now)
	}
	renew(&scripted{list: []Warning{alert("a", nil)}})
	if r := renew(another{&scripted{err: errors.New("down")}}); len(r.Now.List) > 0 || !r.Now.Fetched.IsZero() || r.Now.Feed != "u" {
		t.Errorf("another service: %+v", r.Now)
	}
}

type another struct{ *scripted }

func (another) Name() string { return "u" }
