package forecast

import (
	"math"
	"testing"

	"pgregory.net/rapid"
)

// Days give back what went in, in their steps, wherever days of nothing lie, and days
// of nothing at the ends take no room.
func TestDaysGiveBackWhatWentIn(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 40).Draw(t, "days")
		days := make([]Day, n)
		first, last := -1, -1
		for i := range days {
			days[i].Date = 9000 + Date(i)
			if rapid.Bool().Draw(t, "something") {
				x := rapid.Custom(func(t *rapid.T) float64 { return float64(rapid.IntRange(0, 1000).Draw(t, "step")) / 1000 })
				days[i].P, days[i].PCalendar, days[i].Calendar = x.Draw(t, "p"), x.Draw(t, "calendar"), x.Draw(t, "share")
				days[i].Activity = [3]float64{x.Draw(t, "p10"), x.Draw(t, "p50"), x.Draw(t, "p90")}
			}
			if !days[i].Nothing() {
				if last = i; first < 0 {
					first = i
				}
			}
		}
		d := DaysOf(days)
		if d.Len() != n || d.From != 9000 {
			t.Fatalf("%d days from %d", d.Len(), d.From)
		}
		for i, x := range d.All() {
			want := days[i]
			if x.Date != want.Date || math.Abs(x.P-want.P) > 1e-12 || math.Abs(x.PCalendar-want.PCalendar) > 1e-12 || math.Abs(x.Calendar-want.Calendar) > 1e-12 {
				t.Fatalf("day %d is %+v, want %+v", i, x, want)
			}
			for k := range x.Activity {
				if math.Abs(x.Activity[k]-want.Activity[k]) > 1e-12 {
					t.Fatalf("day %d is %+v, want %+v", i, x, want)
				}
			}
			if on, ok := d.On(x.Date); !ok || on != x {
				t.Fatalf("on %s: %+v, %t", x.Date, on, ok)
			}
		}
		room := 0
		if first >= 0 {
			room = dayColumns * (last + 1 - first)
		}
		if len(d.all) != room {
			t.Fatalf("%d numbers are held, want %d", len(d.all), room)
		}
		if !d.Equal(DaysOf(days)) || n > 1 && d.Equal(DaysOf(days[1:])) {
			t.Fatal("Equal errs")
		}
		for _, out := range []Date{d.From - 1, d.From + Date(n)} {
			if _, ok := d.On(out); ok {
				t.Fatalf("there is a day on %s", out)
			}
		}
	})
}

func TestThereIsNoDayOutside(t *testing.T) {
	d := DaysOf([]Day{{Date: 9000}, {Date: 9001, P: 0.5}, {Date: 9002}})
	for _, i := range []int{-1, 3} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("day %d of three", i)
				}
			}()
			d.At(i)
		}()
	}
}
