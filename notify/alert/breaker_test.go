package alert

import (
	"testing"
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
