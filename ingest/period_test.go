package ingest

import (
	"testing"
	"time"
)

func TestPeriodsAreSpeltInOneWay(t *testing.T) {
	for in, want := range map[string]string{"PT1H": Hourly, "PT60M": Hourly, "PT24H": Daily, "P1D": Daily, "PT15M": "PT15M", "P1DT1H": "PT25H", "PT90S": "PT90S"} {
		d, err := ParsePeriod(in)
		if got := PeriodOf(d); err != nil || got != want {
			t.Errorf("%s is spelt %q, %v; want %q", in, got, err, want)
		}
	}
	if got := PeriodOf(time.Millisecond); got != NoPeriod {
		t.Errorf("a millisecond is spelt %q", got)
	}
}
