package sun_test

import (
	"fmt"
	"time"

	"example.org/eclose/model/sun"
)

// The longest day at 54 degrees north. Times are UTC.
func ExampleDay() {
	t := sun.Day(time.Date(2026, 6, 21, 0, 0, 0, 0, time.UTC), 54, 0)
	fmt.Printf("rise %s, set %s, %.1f hours; civil dusk %s\n", t.Rise.Format("15:04"), t.Set.Format("15:04"), t.DaylengthHours, t.CivilDusk.Format("15:04"))
	// Output: rise 03:27, set 20:36, 17.1 hours; civil dusk 21:30
}
