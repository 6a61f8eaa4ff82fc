package civil

import (
	"testing"
	"time"
)

func TestDateIsTheDayOfTheTimesOwnZone(t *testing.T) {
	east := time.FixedZone("east", 10*3600)
	at := time.Date(2026, 2, 28, 20, 0, 0, 0, time.UTC)
	if d, e := DateOf(at), DateOf(at.In(east)); d.String() != "2026-02-28" || e.String() != "2026-03-01" || e-d != 1 {
		t.Fatalf("got %v in UTC and %v ten hours east", d, e)
	}
	if d := DateOf(time.Date(1969, 12, 31, 23, 0, 0, 0, time.UTC)); d != -1 {
		t.Fatalf("the day before 1970 is %d", int(d))
	}
}

func TestParseRefusesWhatIsNoDate(t *testing.T) {
	for _, s := range []string{"", "2026-02-30", "2026-2-3", "soon"} {
		if d, err := Parse(s); err == nil {
			t.Errorf("%q was read as %v", s, d)
		}
	}
	var d Date
	if err := d.UnmarshalText([]byte("2024-02-29")); err != nil || d.String() != "2024-02-29" || d.Short() != "29 Feb" {
		t.Fatalf("29 February 2024 was read as %v: %v", d, err)
	}
}
