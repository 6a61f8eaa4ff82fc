package forecast

import (
	"math/rand/v2"
	"testing"
	"time"
)

// The chances of a brief outlook are those of the whole one, from a day on, whatever they
// do: rise slowly, jump, or be nothing.
func TestChancesAreKeptAsTheyAre(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 5))
	for range 2000 {
		days := make([]Day, 1+rng.IntN(60))
		from, p, jumps := Date(20000), 0.0, rng.IntN(2) == 0
		for i := range days {
			if p += 0.03 * rng.NormFloat64(); jumps && rng.IntN(5) == 0 {
				p = rng.Float64()
			}
			days[i] = Day{Date: from + Date(i), P: min(max(p, 0), 1), PCalendar: min(max(1-2*p, 0), 1), Activity: [3]float64{0, 0.01, 0.1}}
		}
		whole := DaysOf(days)
		since := from + Date(rng.IntN(70)-5)
		got := whole.chances(since)
		if got.Len() != whole.Len() || got.From != whole.From {
			t.Fatalf("%d days from %s, want %d from %s", got.Len(), got.From, whole.Len(), whole.From)
		}
		for i, want := range whole.All() {
			x := got.At(i)
			if want.Date < since && (x.P == 0 && x.PCalendar == 0) {
				continue
			}
			if x.Date != want.Date || x.P != want.P || x.PCalendar != want.PCalendar || x.Activity != [3]float64{} {
				t.Fatalf("day %d since %s: %+v, want %+v", i, since, x, want)
			}
		}
		if again := got.chances(since); !again.Equal(got) {
			t.Fatal("the chances of chances are others")
		}
	}
}

// A plan asks what an early or late season would bring on its days: a brief outlook keeps
// the chances of two weeks and the width of the peak's range before the issue.
func TestABriefOutlookKeepsWhatAPlanLooksBackTo(t *testing.T) {
	at := time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)
	o := &Outlook{Zone: "UTC", IssuedAt: at}
	issue := o.IssueDate()
	var days []Day
	for d := issue - 60; d < issue+60; d++ {
		days = append(days, Day{Date: d, P: 0.25})
	}
	s := StageOutlook{Group: "trico", Stage: Emergence, Days: DaysOf(days)}
	s.Window.Peak = Range{P10: issue + 10, P50: issue + 20, P90: issue + 30}
	o.Stages = []StageOutlook{s}
	for d := range Date(200) {
		o.Water = append(o.Water, WaterDay{Date: issue - 60 + d})
	}
	b := o.Brief()
	for _, x := range []struct {
		date Date
		want float64
	}{{issue - 35, 0}, {issue - 34, 0.25}, {issue, 0.25}, {issue + 59, 0.25}} {
		day, _ := b.Stages[0].On(x.date)
		if day.P != x.want {
			t.Errorf("%s: chance %g, want %g", x.date, day.P, x.want)
		}
	}
	if b.Water[0].Date != issue {
		t.Errorf("the water begins on %s, want %s", b.Water[0].Date, issue)
	}
}
