package jobs

import (
	"testing"
	"time"
)

func TestLatestSlot(t *testing.T) {
	at := func(s string) time.Time {
		x, err := time.Parse(time.RFC3339, s)
		if err != nil {
			t.Fatal(err)
		}
		return x.UTC()
	}
	for _, c := range []struct{ name, schedule, now, want string }{
		{"each quarter of an hour", "*/15 * * * *", "2026-05-18T12:14:59Z", "2026-05-18T12:00:00Z"},
		{"on the dot", "*/15 * * * *", "2026-05-18T12:15:00Z", "2026-05-18T12:15:00Z"},
		{"once a day, just before", "0 6 * * *", "2026-05-18T05:59:59Z", "2026-05-17T06:00:00Z"},
		{"once a year", "0 0 29 2 *", "2025-05-18T00:00:00Z", ""}, // more than 400 days ago: not made up for
		{"a day of the year", "0 0 1 3 *", "2026-02-27T00:00:00Z", "2025-03-01T00:00:00Z"},
		{"morning at a place, through the change of clocks", "CRON_TZ=America/Denver 0 5 * * *", "2026-03-08T12:00:00Z", "2026-03-08T11:00:00Z"},
		{"every so often, the same for all", "@every 10m", "2026-05-18T12:14:59Z", "2026-05-18T12:10:00Z"},
		{"hourly", "@hourly", "2026-05-18T12:14:59Z", "2026-05-18T12:00:00Z"},
	} {
		s, err := ParseSchedule(c.schedule)
		if err != nil {
			t.Fatal(err)
		}
		got := latest(utc{s}, at(c.now))
		if c.want == "" && got.IsZero() {
			continue
		}
		if !got.Equal(at(c.want)) {
			t.Errorf("%s: %s before %s: %s, want %s", c.name, c.schedule, c.now, got, c.want)
		}
	}
	for _, bad := range []string{"", "often", "* * * *", "61 * * * *"} {
		if _, err := ParseSchedule(bad); err == nil {
			t.Errorf("%q is no fault", bad)
		}
	}
}

func TestPausesGrowAndStayWithinBounds(t *testing.T) {
	for n := range 60 {
		p := pause(n)
		if p < firstPause*8/10 || p > longestPause*12/10 {
			t.Errorf("after attempt %d: %s", n, p)
		}
	}
	if pause(1) > 6*time.Second || pause(20) < 24*time.Minute {
		t.Errorf("from %s to %s", pause(1), pause(20))
	}
}

func TestSpreadStaysInBounds(t *testing.T) {
	t0 := time.Date(2026, 5, 18, 0, 0, 0, 0, time.UTC)
	seen := map[time.Time]bool{}
	for _, k := range []string{"wend usgs", "garrow usgs", "little-ash usgs", "wend open-meteo"} {
		s := Spread(t0, k, 5*time.Minute)
		if s.Before(t0) || !s.Before(t0.Add(5*time.Minute)) || !s.Equal(Spread(t0, k, 5*time.Minute)) {
			t.Errorf("%s: %s", k, s)
		}
		seen[s] = true
	}
	if len(seen) != 4 {
		t.Error("two keys share a moment")
	}
	if !Spread(t0, "x", 0).Equal(t0) {
		t.Error("no spread is no spread")
	}
}
