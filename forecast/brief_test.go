package forecast

import (
	"math/rand/v2"
	"testing"
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
