package alert

import (
	"math/rand/v2"
	"testing"
	"time"
)

// play feeds levels, one each 15 minutes; -1 is a reading that tells nothing,
// -2 is none at all.
func play(f *Flow, at time.Time, levels ...int) time.Time {
	for _, l := range levels {
		at = at.Add(15 * time.Minute)
		switch l {
		case -2:
		case -1:
			f.Read(Reading{At: at})
		default:
			f.Read(Reading{At: at, Level: l, Known: true, Hold: l})
		}
		f.Wait(at)
	}
	return at
}

func repeat(level, n int) []int {
	out := make([]int, n)
	for i := range out {
		out[i] = level
	}
	return out
}

func TestALevelIsConfirmedBeforeItHolds(t *testing.T) {
	for _, tc := range []struct {
		what   string
		levels []int
		want   int
	}{
		{"one reading of 3 is a spike", []int{0, 3, 0}, 0},
		{"two are not", []int{0, 3, 3}, 3},
		{"a reading that tells nothing neither confirms nor clears", []int{0, 3, -1, -1, 3}, 3},
		{"a lone 3 that nobody contradicts counts after an hour", []int{0, 3, -2, -2, -2, -2}, 3},
		{"level 2 must last an hour", []int{0, 2, 2, 2, 2}, 0},
		{"and then holds", []int{0, 2, 2, 2, 2, 2}, 2},
		{"a gap in it starts anew", []int{0, 2, 2, 2, 0, 2, 2}, 0},
		{"3 and 2 by turns hold 2", []int{0, 3, 2, 3, 2, 3, 2}, 2},
		{"an hour below is not enough to lift 3", append([]int{3, 3}, repeat(0, 5)...), 3},
		{"two hours are", append([]int{3, 3}, repeat(0, 9)...), 0},
		{"silence lifts nothing", append([]int{3, 3}, repeat(-2, 100)...), 3},
		{"readings that tell nothing lift nothing", append([]int{3, 3}, repeat(-1, 100)...), 3},
		{"3 falls to the highest level of the way down", append(append([]int{3, 3}, 2), repeat(1, 8)...), 2},
	} {
		f := &Flow{}
		play(f, start, tc.levels...)
		if f.Level != tc.want {
			t.Errorf("%s: level %d, want %d", tc.what, f.Level, tc.want)
		}
	}
}

func TestAReadingWithinTheMarginHolds(t *testing.T) {
	f := &Flow{}
	at := play(f, start, 3, 3)
	for range 40 {
		at = at.Add(15 * time.Minute)
		f.Read(Reading{At: at, Level: 2, Known: true, Hold: 3})
	}
	if f.Level != 3 {
		t.Errorf("level %d", f.Level)
	}
}

func TestQuickChangesHoldTheHigherLevelUntilItIsCalm(t *testing.T) {
	f := &Flow{}
	at := start
	for range 4 { // up and down, each confirmed
		at = play(f, at, 3, 3)
		at = play(f, at, repeat(0, 9)...)
	}
	if !f.Flapping || f.Level != 3 {
		t.Fatalf("flapping %t, level %d after four pulses", f.Flapping, f.Level)
	}
	at = play(f, at, repeat(0, 11*4-9)...)
	if f.Level != 3 {
		t.Error("lifted within twelve hours")
	}
	at = play(f, at, repeat(0, 12)...)
	if f.Level != 0 || f.Flapping {
		t.Errorf("level %d, flapping %t after twelve hours of calm", f.Level, f.Flapping)
	}
	if play(f, at, 3, 3); f.Level != 3 || f.Flapping {
		t.Errorf("level %d, flapping %t: one more rise is one rise", f.Level, f.Flapping)
	}
}

func TestTheLevelNeverFallsBelowWhatTheLastReadingsSay(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		f := &Flow{}
		at := start
		run, last := 0, -1
		for range 200 {
			l := rng.IntN(4)
			if rng.IntN(3) > 0 && last >= 0 {
				l = last
			}
			before := f.Level
			at = at.Add(time.Duration(5+rng.IntN(60)) * time.Minute)
			f.Read(Reading{At: at, Level: l, Known: true, Hold: l})
			if l == last {
				run++
			} else {
				run = 1
			}
			last = l
			if l == 3 && run >= 2 && f.Level != 3 {
				t.Fatalf("two readings of 3 in a row and level %d", f.Level)
			}
			if f.Level < before && l > f.Level {
				t.Fatalf("fell to %d on a reading of %d", f.Level, l)
			}
			if l >= 2 && !f.Inhibits() {
				t.Fatal("good news may leave on a reading of 2 or more")
			}
			was := *f
			f.Read(Reading{At: at, Level: rng.IntN(4), Known: true}) // the same again, as polls do
			if f.Level != was.Level || f.LastAt != was.LastAt || f.Up != was.Up {
				t.Fatal("the same reading counted twice")
			}
		}
	}
}
