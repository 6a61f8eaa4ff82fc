package alert

import (
	"fmt"
	"testing"
	"time"

	"example.org/eclose/ingest/db"
)

// The first reader whose mailbox is gone is no reason to stop; a relay that
// refuses everybody is, and so is one that refuses a fifth of many.
func TestWhenTheBreakerOpens(t *testing.T) {
	for _, c := range []struct {
		refused, sent int
		want          bool
	}{
		{0, 0, false}, {1, 0, false}, {2, 0, false}, {3, 0, true}, {3, 12, true}, {3, 13, false}, {20, 100, false}, {25, 100, true},
	} {
		if got := tooMany(c.refused, c.sent); got != c.want {
			t.Errorf("%d refused, %d sent: %v", c.refused, c.sent, got)
		}
	}
}

// Three refusals within a day open the breaker for an hour; one of them a moment
// older leaves it closed.
func TestTheBreakerLooksBackADayAndRestsAnHour(t *testing.T) {
	each(t, func(t *testing.T, d *desk) {
		refuse := func(n int, at time.Time) {
			t.Helper()
			if _, err := d.s.db.SQL.ExecContext(t.Context(), "INSERT INTO bounce (id, person_id, kind, status, source, at) VALUES ($1, $1, 'gone', '5.1.1', 'smtp', $2)", fmt.Sprint(n), db.Micros(at)); err != nil {
				t.Fatal(err)
			}
		}
		opens := func() bool {
			t.Helper()
			broken, err := d.s.Break(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			return broken
		}
		begin := d.clock
		refuse(1, begin)
		refuse(2, begin.Add(time.Hour))
		refuse(3, begin.Add(time.Hour))
		d.clock = begin.Add(24*time.Hour + time.Second)
		if opens() {
			t.Error("it opens for a refusal of more than a day ago")
		}
		d.clock = begin.Add(24*time.Hour - time.Second)
		if !opens() {
			t.Error("three refusals within a day leave it closed")
		}
		if until, err := d.s.PausedUntil(t.Context()); err != nil || !until.Equal(d.clock.Add(time.Hour)) {
			t.Errorf("mail rests until %s, %v; it is %s", until, err, d.clock)
		}
	})
}
