package mail

import (
	"context"
	"fmt"
	"mime"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/subscribe"
)

const cfs = 0.028316846592

// waiter is somebody who waits for a value at the gauge of the Wend, with a real relay.
type waiter struct {
	*testing.T
	relay   *relay
	carrier Transport
	store   *alert.Store
	clock   time.Time
	issued  map[string]alert.Outlook // stands for the archive
}

func waitFor(t *testing.T, when string, groups ...string) *waiter {
	t.Helper()
	w := &waiter{T: t, relay: &relay{}, clock: date, issued: map[string]alert.Outlook{}}
	d, err := db.OpenMigrated(t.Context(), ":memory:")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = d.Close() }) // in memory
	now := func() time.Time { return w.clock }
	people, err := subscribe.New(t.Context(), d, subscribe.Names{}, now)
	if err != nil {
		t.Fatal(err)
	}
	if err := people.AddConfirmed(t.Context(), subscribe.Request{Address: "angler@example.net", Units: "us", Subscriptions: []subscribe.Subscription{{River: "wend", Groups: groups, When: when}}}); err != nil {
		t.Fatal(err)
	}
	w.store, w.carrier = alert.New(d, now, w.find), Transport{composer(t), sender(t, serve(t, w.relay, nil))}
	return w
}

// read gives a reading every quarter of an hour, lets the program do its work, and
// returns the subjects that arrived meanwhile.
func (w *waiter) read(readings ...alert.Reading) (subjects []string) {
	w.Helper()
	before := len(w.relay.got)
	for _, r := range readings {
		if err := w.store.AddReading(w.Context(), r); err != nil {
			w.Fatal(err)
		}
		w.turn()
	}
	for _, got := range w.relay.got[before:] {
		m, _ := parse(w.T, got.raw)
		subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
		if err != nil {
			w.Fatal(err)
		}
		subjects = append(subjects, subject)
	}
	return subjects
}

func (w *waiter) find(_ context.Context, i alert.Issued) (*alert.Outlook, error) {
	o, ok := w.issued[i.File]
	if !ok {
		return nil, fmt.Errorf("no file %s", i.File)
	}
	return &o, nil
}

func (w *waiter) turn() {
	w.Helper()
	for range 3 {
		if err := w.store.Tick(w.Context()); err != nil {
			w.Fatal(err)
		}
		if _, err := w.store.Reconcile(w.Context()); err != nil {
			w.Fatal(err)
		}
		if _, err := w.store.Deliver(w.Context(), w.carrier, 1); err != nil {
			w.Fatal(err)
		}
		w.clock = w.clock.Add(5 * time.Minute)
	}
}

// at is a reading of a flow, cfs, which change may alter.
func (w *waiter) at(i int, flow float64, change func(*alert.Reading)) alert.Reading {
	at := w.clock.Add(time.Duration(15*i)*time.Minute - time.Minute)
	r := alert.Reading{River: "wend", RiverName: "Wend", Zone: "America/Los_Angeles", Gauge: "g", At: at, Known: true,
		FlowM3S: &alert.Value{V: flow * cfs, At: at}, WaterC: &alert.Value{V: 11, At: at}, Until: at.Add(2 * time.Hour)}
	if change != nil {
		change(&r)
	}
	return r
}

func (w *waiter) run(change func(*alert.Reading), flows ...float64) []string {
	w.Helper()
	var list []alert.Reading
	for i, f := range flows {
		list = append(list, w.at(i, f, change))
	}
	return w.read(list...)
}

func (w *waiter) outlook(p float64, change func(*alert.Outlook)) {
	w.Helper()
	o := alert.Outlook{River: "wend", RiverName: "Wend", Zone: "America/Los_Angeles", Issued: w.clock}
	s := alert.Stage{Group: "salmonfly", Name: "salmonfly", Stage: "egg-laying", Fishable: true, Grade: "guess"}
	days := make([]forecast.Day, 20)
	for i := range days {
		day := w.clock.AddDate(0, 0, i)
		days[i] = forecast.Day{Date: forecast.DateOf(day), P: p}
		q := (800 - 30*float64(i)) * cfs
		o.FlowDays = append(o.FlowDays, forecast.FlowDay{Date: forecast.DateOf(day), P05: q * 0.85, P10: q * 0.9, P25: q * 0.95, P50: q, P75: q * 1.05, P90: q * 1.1, P95: q * 1.15})
	}
	s.Days = forecast.DaysOf(days)
	o.Stages = []alert.Stage{s}
	if change != nil {
		change(&o)
	}
	name := o.Issued.Format(time.RFC3339Nano)
	w.issued[name] = o
	if err := w.store.AddOutlook(w.Context(), alert.Issued{River: o.River, At: o.Issued, File: name, SHA256: "x"}); err != nil {
		w.Fatal(err)
	}
}

// "Tell me when the Wend drops below 600 cfs and the salmonfly is likely": one mail when
// both hold, and none that anything about the river forbids.
func TestAValueAtTheGaugeIsToldOnlyWhereNothingForbids(t *testing.T) {
	for _, c := range []struct {
		name   string
		flow   float64
		chance float64
		change func(*alert.Reading)
		told   bool
	}{
		{"both hold", 590, 0.8, nil, true},
		{"just at the value", 600, 0.8, nil, true},
		{"the flow is above", 605, 0.8, nil, false},
		{"the insect is unlikely", 590, 0.4, nil, false},
		{"caution 1", 590, 0.8, func(r *alert.Reading) { r.Level, r.Hold = 1, 1 }, true},
		{"caution 2", 590, 0.8, func(r *alert.Reading) { r.Level, r.Hold = 2, 2 }, false},
		{"caution 3", 590, 0.8, func(r *alert.Reading) { r.Level, r.Hold = 3, 3 }, false},
		{"caution unknown", 590, 0.8, func(r *alert.Reading) { r.Known = false }, false},
		{"a doubted reading", 590, 0.8, func(r *alert.Reading) { r.Doubted = true }, false},
		{"a flow that was read four hours ago", 590, 0.8, func(r *alert.Reading) { r.FlowM3S.At = r.At.Add(-4 * time.Hour) }, false},
		{"a flow that a model gave", 590, 0.8, func(r *alert.Reading) { r.FlowM3S.Modelled = true }, false},
		{"a caution that is valid no longer", 590, 0.8, func(r *alert.Reading) { r.Until = r.At.Add(time.Second) }, false},
		{"an official warning in force", 590, 0.8, func(r *alert.Reading) {
			r.Warnings = []alert.Warning{{ID: "w", Event: "Flood Watch", Until: r.At.Add(24 * time.Hour)}}
		}, false},
		{"a warning that has ended", 590, 0.8, func(r *alert.Reading) {
			r.Warnings = []alert.Warning{{ID: "w", Event: "Flood Watch", Until: r.At.Add(-time.Hour)}}
		}, true},
		{"no flow is read", 590, 0.8, func(r *alert.Reading) { r.FlowM3S = nil }, false},
	} {
		t.Run(c.name, func(t *testing.T) {
			w := waitFor(t, "flow < 600 cfs", "salmonfly")
			w.outlook(c.chance, nil)
			got := w.run(c.change, c.flow, c.flow, c.flow, c.flow)
			want := 0
			if c.told {
				want = 1
			}
			if len(got) != want || want == 1 && !strings.Contains(got[0], "flow at or below 600 cfs") {
				t.Fatalf("told %q, want %d mails", got, want)
			}
			if c.told {
				raw := string(w.relay.got[0].raw)
				for _, text := range []string{"does not mean you can wade", "Caution ", "590 cfs"} {
					if c.flow == 590 && !strings.Contains(strings.Join(strings.Fields(strings.ReplaceAll(raw, "=\r\n", "")), " "), text) {
						t.Errorf("the mail lacks %q", text)
					}
				}
				return
			}
			// What was withheld comes as soon as it may.
			w.outlook(0.8, func(o *alert.Outlook) { o.Issued = o.Issued.Add(time.Minute) })
			calm := func(r *alert.Reading) {}
			var later []string
			for range 40 { // ten hours: a level falls slowly
				later = append(later, w.run(calm, 590)...)
			}
			if len(later) != 1 {
				t.Errorf("afterwards told %q, want one mail", later)
			}
		})
	}
}

func TestAValueAtTheGaugeThatHoversIsToldOnce(t *testing.T) {
	w := waitFor(t, "flow < 600 cfs")
	if got := w.run(nil, 640, 590, 640, 590, 640); got != nil {
		t.Errorf("single readings: %q", got)
	}
	if got := w.run(nil, 595, 590, 605, 630, 655, 640, 590, 655, 590, 595); len(got) != 1 {
		t.Errorf("hovering: %q", got)
	}
	if got := w.run(nil, 670, 590, 670, 590); got != nil {
		t.Errorf("single readings above the margin: %q", got)
	}
	if got := w.run(nil, 670, 680, 690); len(got) != 1 || !strings.Contains(got[0], "no longer") {
		t.Errorf("over: %q", got)
	}
	if got := w.run(nil, 590, 580, 570); got != nil {
		t.Errorf("again within a day: %q", got)
	}
	w.clock = w.clock.Add(21 * time.Hour)
	if got := w.run(nil, 590, 580, 570); got != nil {
		t.Errorf("again 22 hours later: %q", got)
	}
	w.clock = w.clock.Add(3 * time.Hour)
	if got := w.run(nil, 590, 580, 570); len(got) != 1 {
		t.Errorf("again after a day: %q", got)
	}
}

func TestAForecastValueNeedsTwoForecasts(t *testing.T) {
	w := waitFor(t, "forecast flow < 600 cfs")
	w.outlook(0, nil) // falls below 600 cfs in a week
	if got := w.run(nil, 800, 800, 800); got != nil {
		t.Errorf("one forecast: %q", got)
	}
	w.outlook(0, nil)
	if got := w.run(nil, 800, 800); len(got) != 1 || !strings.Contains(got[0], "forecast flow at or below 600 cfs") {
		t.Errorf("two forecasts: %q", got)
	}
	w = waitFor(t, "forecast flow < 100 cfs")
	for range 3 {
		w.outlook(0, nil)
		if got := w.run(nil, 800, 800); got != nil {
			t.Errorf("no day is forecast so low: %q", got)
		}
	}
}
