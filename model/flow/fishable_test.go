package flow

import (
	"math"
	"strings"
	"testing"
)

func TestFlowsAreClassedByTheOwnersRangeAndTheRecord(t *testing.T) {
	m := Marks{Fishable: Range{5, 15}, Lowest: 2, Lower: 3, Upper: 20, Banks: 40}
	for q, want := range map[float64]Class{1: TooLow, 2: Low, 4.9: Low, 5: Within, 15: Within, 15.1: High, 39: High, 40: OutOfBanks} {
		if got := m.Of(q); got != want {
			t.Errorf("%v m3/s: %s, want %s", q, got.Words(), want.Words())
		}
	}
	m.Banks = 10 // a range that reaches beyond the banks calls no flood fishable
	if m.Of(12) != OutOfBanks {
		t.Error("a flood within the owner's range is called fishable")
	}
	m = Marks{Lowest: 2, Lower: 3, Upper: 20, Banks: math.NaN()}
	for q, want := range map[float64]Class{1: TooLow, 2.5: Low, 5: Between, 21: High, 1e6: High} {
		if got := m.Of(q); got != want {
			t.Errorf("without a range %v m3/s: %s, want %s", q, got.Words(), want.Words())
		}
	}
}

func TestNoClassInvitesToWade(t *testing.T) {
	for c := TooLow; c <= OutOfBanks; c++ {
		for _, word := range []string{"safe", "wad", "clear", "normal", "fine", "good", "easy"} {
			if strings.Contains(c.Words(), word) {
				t.Errorf("%q holds %q", c.Words(), word)
			}
		}
	}
}

func TestMarksComeFromTheRecord(t *testing.T) {
	in := wet.invent(4, 2)
	m := MarksOf(in.Flow, Range{}, math.NaN())
	if !(m.Lowest < m.Lower && m.Lower < m.Upper && m.Upper < m.Banks) {
		t.Errorf("marks are out of order: %+v", m)
	}
	if r := (Range{1, 5 * m.Banks}); MarksOf(in.Flow, r, math.NaN()).Of(4*m.Banks) != Within || MarksOf(in.Flow, r, m.Banks).Of(4*m.Banks) != OutOfBanks {
		t.Error("the rule of thumb for the banks overrules the owner, or the flood service does not")
	}
	if m := MarksOf(in.Flow, Range{}, 7); m.Banks != 7 {
		t.Errorf("the flood service's flow is not used: %v", m.Banks)
	}
	if m := MarksOf(in.Flow[:100], Range{}, math.NaN()); !unknown(m.Lower) {
		t.Error("a hundred days make marks")
	}
}
