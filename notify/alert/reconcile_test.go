package alert

import (
	"context"
	"fmt"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/notify/subscribe"
)

// desk is a store with a clock and a carrier that always succeeds.
type desk struct {
	t      *testing.T
	s      *Store
	people *subscribe.Store
	clock  time.Time
	got    []Email
	answer func(Email) Outcome
	files  issuedFiles
}

func (d *desk) Send(_ context.Context, l Email, begin func() error) Outcome {
	if err := begin(); err != nil {
		d.t.Error(err)
	}
	if d.answer != nil {
		if o := d.answer(l); o.Result != Sent {
			return o
		}
	}
	d.got = append(d.got, l)
	return Outcome{Result: Sent, Code: 250}
}

// each runs a test on both databases.
func each(t *testing.T, test func(t *testing.T, d *desk)) {
	dbtest.Each(t, func(t *testing.T, base *db.DB) {
		d := &desk{t: t, clock: start}
		now := func() time.Time { return d.clock }
		var err error
		if d.people, err = subscribe.New(t.Context(), base, subscribe.Names{}, now); err != nil {
			t.Fatal(err)
		}
		d.s = New(base, now, d.files.find)
		test(t, d)
	})
}

func (d *desk) must(err error) {
	d.t.Helper()
	if err != nil {
		d.t.Fatal(err)
	}
}

func (d *desk) subscribe(address string, change func(*subscribe.Request)) {
	d.t.Helper()
	r := subscribe.Request{Address: address, Zone: "Europe/London", Subscriptions: []subscribe.Subscription{{River: "wend", Cautions: true}, {River: "garrow", Cautions: true}}}
	if change != nil {
		change(&r)
	}
	d.must(d.people.AddConfirmed(d.t.Context(), r))
}

func (d *desk) read(river string, level int) {
	d.t.Helper()
	d.must(d.s.AddReading(d.t.Context(), Reading{River: river, RiverName: river, Zone: "Europe/London", Gauge: "g", At: d.clock, Level: level, Known: true, Hold: level}))
}

func (d *desk) outlook(river string, p float64, from, to string) {
	d.t.Helper()
	st := Stage{Group: "blue-winged-olive", Name: "Blue-winged olive", Stage: "emergence", Fishable: true, From: from, Peak: from, To: to}
	st.Days = evenDays(start, 40, p)
	d.must(d.s.AddOutlook(d.t.Context(), d.files.add(Outlook{River: river, RiverName: river, Zone: "Europe/London", Issued: d.clock, Stages: []Stage{st}})))
}

// turns is a turn now and one when what waits to be grouped is due.
func (d *desk) turns() []Email {
	d.t.Helper()
	first := d.turn(time.Minute)
	return append(first, d.turn(10*time.Minute)...)
}

// turn does what the server does each minute, and returns what was sent.
func (d *desk) turn(after time.Duration) []Email {
	d.t.Helper()
	d.clock = d.clock.Add(after)
	d.got = nil
	d.must(d.s.Tick(d.t.Context()))
	_, err := d.s.Reconcile(d.t.Context())
	d.must(err)
	_, err = d.s.Deliver(d.t.Context(), d, 1)
	d.must(err)
	return d.got
}

func kinds(ls []Email) string {
	var out []string
	for _, l := range ls {
		var in []string
		for _, it := range l.Items {
			in = append(in, fmt.Sprintf("%s %s %d", it.River, it.Kind, it.Level))
		}
		out = append(out, strings.Join(in, ", "))
	}
	return strings.Join(out, "; ")
}

func (d *desk) expect(what string, ls []Email, want string) {
	d.t.Helper()
	if got := kinds(ls); got != want {
		d.t.Errorf("%s: %q, want %q", what, got, want)
	}
}

func TestARiverThatRisesAndFallsIsToldEachWayOnce(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", nil)
		d.read("wend", 3)
		d.expect("one reading is a spike", d.turn(15*time.Minute), "")
		d.read("wend", 3)
		d.expect("two are a flood", d.turn(0), "wend rise 3")
		d.expect("and told once", d.turn(15*time.Minute), "")
		var all []Email
		for i := range 30 { // fifteen hours below
			d.read("wend", 0)
			ls := d.turn(30 * time.Minute)
			if i < 11 && len(ls) > 0 {
				t.Errorf("cleared in the cool-down: %s", kinds(ls))
			}
			all = append(all, ls...)
		}
		d.expect("cleared once", all, "wend clear 0")
		if len(all) == 1 && (all[0].Items[0].Was != 3 || all[0].Items[0].After == "") {
			t.Errorf("%+v", all[0].Items[0])
		}
	})
}

func TestAPulseNobodyWasToldOfIsNotCleared(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", func(r *subscribe.Request) { r.QuietFrom, r.QuietTo = 12*60, 23*60+59 })
		d.read("wend", 3)
		d.turn(15 * time.Minute)
		d.read("wend", 3)
		d.turn(0)
		for range 30 { // it falls while the reader must not be woken
			d.read("wend", 0)
			d.expect("quiet", d.turn(20*time.Minute), "")
		}
		d.expect("after the quiet hours there is nothing left to say", d.turn(3*time.Hour), "")
	})
}

func TestLevel3WakesOnlyThoseWhoSaidSo(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		quiet := func(r *subscribe.Request) { r.QuietFrom, r.QuietTo = 12*60, 16*60 }
		d.subscribe("asleep@example.org", quiet)
		d.subscribe("awake@example.org", func(r *subscribe.Request) { quiet(r); r.WakeFor3 = true })
		d.read("wend", 3)
		d.turn(20 * time.Minute)
		d.read("wend", 3)
		ls := d.turn(0)
		if len(ls) != 1 || ls[0].Address != "awake@example.org" {
			t.Fatalf("%s", kinds(ls))
		}
		d.clock = time.Date(2026, 6, 6, 14, 30, 0, 0, time.UTC) // 15:30 in London
		d.read("wend", 3)
		d.expect("still quiet", d.turn(0), "")
		ls = d.turn(31 * time.Minute)
		if len(ls) != 1 || ls[0].Address != "asleep@example.org" {
			t.Fatalf("after the quiet hours: %s", kinds(ls))
		}
	})
}

func TestGoodNewsWaitsForTheRiver(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", func(r *subscribe.Request) { r.Subscriptions[0].Cautions = false })
		d.read("wend", 2)
		d.outlook("wend", 0.8, "2026-06-08", "2026-06-20")
		d.expect("one reading of level 2 is enough to wait", d.turn(10*time.Minute), "")
		for range 10 {
			d.read("wend", 2)
			d.expect("and it waits on", d.turn(30*time.Minute), "")
		}
		for range 8 {
			d.read("wend", 0)
			d.turn(30 * time.Minute)
			if f, _, err := flowOf(t.Context(), d.s.plain(), "wend"); err != nil || f.Level >= 2 && len(d.got) > 0 {
				t.Fatalf("told at level %d", f.Level)
			}
		}
		d.read("wend", 0)
		ls := d.turns()
		counts, err := d.s.Counts(t.Context())
		d.must(err)
		if counts[mailSent] != 1 {
			t.Errorf("%s; the books say %v, want the window told once after the fall", kinds(ls), counts)
		}
	})
}

func TestGoodNewsThatWasQueuedIsTakenBackWhenTheRiverRises(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", nil)
		d.read("wend", 0)
		d.outlook("wend", 0.8, "2026-06-08", "2026-06-20")
		d.expect("queued, to be grouped", d.turn(0), "")
		d.clock = d.clock.Add(10 * time.Minute)
		d.read("wend", 3)
		d.expect("overtaken", d.turn(0), "")
		counts, err := d.s.Counts(t.Context())
		d.must(err)
		if counts[mailDropped] != 1 {
			t.Errorf("%v", counts)
		}
	})
}

func TestWarmWaterIsSaidFirst(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", nil)
		d.outlook("wend", 0.8, "2026-06-08", "2026-06-20")
		d.turn(0)
		// It warmed after the outlook was issued.
		d.must(d.s.AddReading(t.Context(), Reading{River: "wend", At: d.clock, Level: 0, Known: true, Heat: heatWords(21.5)}))
		ls := d.turn(10 * time.Minute)
		d.expect("told", ls, "wend open 0")
		if len(ls) == 1 && !strings.Contains(ls[0].Items[0].Outlook.Heat, "stop fishing for trout") {
			t.Errorf("%+v", ls[0].Items[0].Outlook.Heat)
		}
	})
}

func TestAWindowOpensMovesAndClosesOnce(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", func(r *subscribe.Request) { r.Subscriptions = r.Subscriptions[:1] })
		step := func(what string, p float64, from, to, want string) {
			t.Helper()
			d.outlook("wend", p, from, to)
			d.expect(what, d.turns(), want)
			d.clock = d.clock.Add(24 * time.Hour)
		}
		step("unlikely", 0.3, "2026-06-14", "2026-06-24", "")
		step("just over the threshold is weighed twice", 0.52, "2026-06-14", "2026-06-24", "")
		step("and then told", 0.52, "2026-06-14", "2026-06-24", "wend open 0")
		step("three days are no news", 0.6, "2026-06-17", "2026-06-27", "")
		step("nine are", 0.6, "2026-06-23", "2026-07-03", "wend moved 0")
		step("one outlook below is weighed twice", 0.2, "2026-06-23", "2026-07-03", "")
		step("and then closes it", 0.2, "2026-06-23", "2026-07-03", "wend closed 0")
		step("nothing more", 0.2, "2026-06-23", "2026-07-03", "")
		step("and not again within the week", 0.9, "2026-06-23", "2026-07-03", "")
	})
}

// Who wants only the opener of a season hears that a window opens, and of no move or end.
func TestAnOpenerIsToldAndNothingAfterIt(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", func(r *subscribe.Request) {
			r.Subscriptions = r.Subscriptions[:1]
			r.Subscriptions[0].Cadence = subscribe.Opener
		})
		step := func(what string, p float64, from, to, want string) {
			t.Helper()
			d.outlook("wend", p, from, to)
			d.expect(what, d.turns(), want)
			d.clock = d.clock.Add(24 * time.Hour)
		}
		step("weighed twice", 0.6, "2026-06-14", "2026-06-24", "wend open 0")
		step("a move", 0.6, "2026-06-23", "2026-07-03", "")
		step("below", 0.2, "2026-06-23", "2026-07-03", "")
		step("its end", 0.2, "2026-06-23", "2026-07-03", "")
	})
}

func TestManyRiversMakeOneMailAndADayHasALimit(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", func(r *subscribe.Request) { r.PerDay = 2 })
		for _, river := range []string{"wend", "garrow"} {
			d.outlook(river, 0.8, "2026-06-08", "2026-06-20")
		}
		d.turn(0)
		d.expect("one mail for both", d.turn(groupWait), "garrow open 0, wend open 0")
		level := func(river string, level int) {
			for range 3 {
				d.read(river, level)
				d.clock = d.clock.Add(40 * time.Minute)
			}
		}
		level("wend", 2)
		d.turn(0)
		d.expect("the second of the day", d.turn(groupWait), "wend rise 2")
		level("garrow", 2)
		d.turn(0)
		d.expect("the third waits for the morning", d.turn(groupWait), "")
		level("garrow", 3)
		d.expect("but level 3 does not", d.turn(0), "garrow rise 3")
	})
}

func TestADigestComesInTheMorningOfItsReader(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", func(r *subscribe.Request) {
			r.Zone = "America/Denver"
			for i := range r.Subscriptions {
				r.Subscriptions[i].Cadence = subscribe.Digest
			}
		})
		d.outlook("wend", 0.8, "2026-06-08", "2026-06-20")
		d.expect("not at once", d.turn(0), "")
		d.clock = time.Date(2026, 6, 6, 12, 59, 0, 0, time.UTC)
		d.expect("not before seven", d.turn(0), "")
		ls := d.turn(time.Minute) // 07:00 in Denver
		d.expect("at seven", ls, "wend open 0")
	})
}

// 6 June 2026 is a Saturday: a reader of the Sunday digest hears on the 7th, at seven.
func TestASundayDigestWaitsForSunday(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", func(r *subscribe.Request) {
			r.Zone = "America/Denver"
			for i := range r.Subscriptions {
				r.Subscriptions[i].Cadence = subscribe.Weekly
			}
		})
		d.outlook("wend", 0.8, "2026-06-08", "2026-06-20")
		d.expect("not at once", d.turn(0), "")
		d.clock = time.Date(2026, 6, 6, 13, 30, 0, 0, time.UTC)
		d.expect("not on Saturday morning", d.turn(0), "")
		d.clock = time.Date(2026, 6, 7, 12, 59, 0, 0, time.UTC)
		d.expect("not before seven", d.turn(0), "")
		d.expect("on Sunday at seven", d.turn(time.Minute), "wend open 0")
	})
}

func TestSilenceIsToldOnceAndLiftsNothing(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", nil)
		for range 2 {
			d.read("wend", 3)
			d.clock = d.clock.Add(15 * time.Minute)
		}
		d.expect("told", d.turn(0), "wend rise 3")
		d.clock = d.clock.Add(3 * time.Hour)
		d.expect("no data", d.turns(), "wend no-data 3")
		for range 20 {
			d.expect("once", d.turn(time.Hour), "")
		}
		f, _, err := flowOf(t.Context(), d.s.plain(), "wend")
		if err != nil || f.Level != 3 || !f.NoData {
			t.Errorf("%+v %v", f, err)
		}
	})
}

func TestAnswersOfARelayDecideWhatHappens(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("a@example.org", nil)
		d.subscribe("gone@example.org", nil)
		first := map[string]string{}
		d.answer = func(l Email) Outcome {
			if l.Address == "gone@example.org" {
				return Outcome{Result: Refused, Code: 550, Enhanced: "5.1.1"}
			}
			if first[l.Key] == "" {
				first[l.Key] = l.MessageID
				return Outcome{Result: Deferred, Code: 450, Enhanced: "4.2.1"}
			}
			if first[l.Key] != l.MessageID {
				t.Error("a retry has another Message-ID")
			}
			return Outcome{Result: Sent}
		}
		d.outlook("wend", 0.8, "2026-06-08", "2026-06-20")
		d.turn(0)
		d.expect("450", d.turn(groupWait), "")
		d.expect("not tried at once", d.turn(5*time.Minute), "")
		d.expect("then 250", d.turn(6*time.Minute), "wend open 0")
		counts, err := d.s.Counts(t.Context())
		d.must(err)
		if counts[mailSent] != 1 || counts[mailFailed] != 1 {
			t.Errorf("%v", counts)
		}
		ps, err := d.people.List(t.Context())
		d.must(err)
		for _, p := range ps {
			if (p.Suppressed == subscribe.BounceHard) != (p.Address == "gone@example.org") {
				t.Errorf("%s suppressed: %q", p.Address, p.Suppressed)
			}
		}
		// A lost answer: a window is not sent again, a level 3 is.
		lost := 0
		d.answer = func(Email) Outcome {
			if lost++; lost == 1 {
				return Outcome{Result: Unknown}
			}
			return Outcome{Result: Sent}
		}
		d.outlook("garrow", 0.8, "2026-06-08", "2026-06-20")
		d.expect("not again", d.turns(), "")
		d.expect("ever", d.turn(time.Hour), "")
		lost = 0
		d.read("garrow", 3)
		d.clock = d.clock.Add(15 * time.Minute)
		d.read("garrow", 3)
		d.expect("lost", d.turn(0), "")
		d.expect("again", d.turn(time.Minute), "garrow rise 3")
	})
}

func TestARelayThatRefusesUsStopsTheQueue(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		for i := range 30 {
			d.subscribe(fmt.Sprintf("a%d@example.org", i), nil)
		}
		tried := 0
		d.answer = func(Email) Outcome { tried++; return Outcome{Result: SenderRejected, Code: 535, Enhanced: "5.7.8"} }
		d.outlook("wend", 0.8, "2026-06-08", "2026-06-20")
		d.turn(0)
		d.clock = d.clock.Add(groupWait)
		_, err := d.s.Deliver(t.Context(), d, 1)
		if err == nil || !strings.Contains(err.Error(), "rejected us") {
			t.Fatalf("%v", err)
		}
		if tried > 3 {
			t.Errorf("%d were tried", tried)
		}
		counts, err := d.s.Counts(t.Context())
		d.must(err)
		if counts[mailQueued] != 30 {
			t.Errorf("%v", counts)
		}
		ps, err := d.people.List(t.Context())
		d.must(err)
		for _, p := range ps {
			if p.Suppressed != "" {
				t.Errorf("%s pays for our mistake", p.Address)
			}
		}
	})
}

func TestWhoUnsubscribesOrPausesGetsNothingThatWaits(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		d.subscribe("gone@example.org", nil)
		d.subscribe("away@example.org", nil)
		d.outlook("wend", 0.8, "2026-06-08", "2026-06-20")
		d.turn(0)
		d.must(d.people.Remove(t.Context(), "gone@example.org"))
		d.must(d.people.Pause(t.Context(), "away@example.org", d.clock.AddDate(0, 0, 3)))
		d.expect("nothing", d.turn(groupWait), "")
		d.clock = d.clock.AddDate(0, 0, 4)
		d.outlook("wend", 0.8, "2026-06-12", "2026-06-20")
		d.turn(0)
		d.expect("after the pause", d.turn(groupWait), "wend open 0")
	})
}

func TestQuietHoursFollowTheClockOnTheWall(t *testing.T) {
	london := forecast.ZoneOf("Europe/London")
	h := habits{zone: london, quietFrom: 22 * 60, quietTo: 7 * 60}
	for _, tc := range []struct{ what, at, want string }{
		{"by day", "2026-06-06T12:00:00+01:00", "2026-06-06T12:00:00+01:00"},
		{"in the evening", "2026-06-06T23:00:00+01:00", "2026-06-07T07:00:00+01:00"},
		{"in the small hours", "2026-06-07T03:00:00+01:00", "2026-06-07T07:00:00+01:00"},
		{"the last minute", "2026-06-07T06:59:00+01:00", "2026-06-07T07:00:00+01:00"},
		{"the end itself", "2026-06-07T07:00:00+01:00", "2026-06-07T07:00:00+01:00"},
		{"the night the clock goes forward", "2026-03-28T23:00:00Z", "2026-03-29T07:00:00+01:00"},
		{"the night it goes back", "2026-10-24T23:00:00+01:00", "2026-10-25T07:00:00Z"},
	} {
		at, _ := time.Parse(time.RFC3339, tc.at)
		want, _ := time.Parse(time.RFC3339, tc.want)
		if got := h.allowed(at, 0); !got.Equal(want) {
			t.Errorf("%s: %s, want %s", tc.what, got, want)
		}
	}
	at, _ := time.Parse(time.RFC3339, "2026-06-06T23:00:00+01:00")
	if got := h.allowed(at, 3); got.Equal(at) {
		t.Error("level 3 woke somebody who did not ask for it")
	}
	h.wakeFor3 = true
	if got := h.allowed(at, 3); !got.Equal(at) {
		t.Error("level 3 waited")
	}
}
