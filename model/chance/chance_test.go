package chance

import (
	"math"
	"testing"
)

func TestNoChanceIsCertain(t *testing.T) {
	for _, c := range []struct {
		p                 float64
		table, text, word string
	}{
		{0, "<1%", "under 1%", "very unlikely"},
		{0.0099, "<1%", "under 1%", "very unlikely"},
		{0.01, "1%", "1%", "very unlikely"},
		{0.10, "10%", "10%", "unlikely"},
		{0.33, "33%", "33%", "about as likely as not"},
		{0.66, "66%", "66%", "about as likely as not"},
		{0.67, "67%", "67%", "likely"},
		{0.90, "90%", "90%", "likely"},
		{0.99, "99%", "99%", "very likely"},
		{0.9901, ">99%", "over 99%", "very likely"},
		{1, ">99%", "over 99%", "very likely"},
	} {
		if a, b, w := Percent(c.p), PercentInText(c.p), Likelihood(c.p); a != c.table || b != c.text || w != c.word {
			t.Errorf("%v: %q, %q, %q; want %q, %q, %q", c.p, a, b, w, c.table, c.text, c.word)
		}
	}
	if got := Percent(math.NaN()); got != "unknown" {
		t.Errorf("NaN is %q", got)
	}
}
