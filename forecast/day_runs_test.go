package forecast

import (
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
)

func TestDaysOfWhichTheSameIsToldShareAnEntry(t *testing.T) {
	may30 := DateOf(time.Date(2026, 5, 30, 0, 0, 0, 0, time.UTC))
	days := []DayText{{may30, "5%"}, {may30 + 1, "1%"}, {may30 + 2, "1%"}, {may30 + 4, "1%"}, {may30 + 5, "1%"}, {may30 + 6, "2%"}}
	want := []string{"30 May 5%", "31 May to 1 Jun 1%", "3 to 4 Jun 1%", "5 Jun 2%"}
	if diff := cmp.Diff(want, DayRuns(days, " ")); diff != "" {
		t.Error(diff)
	}
}
