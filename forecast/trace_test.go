package forecast

import (
	"errors"
	"math"
	"testing"
	"time"

	"example.org/eclose/model/insects"
)

// A record of ten months has days of the year on which nothing was ever read: no
// past year can be continued over them, and nothing is made up for them.
func TestARecordThatBeginsInSpringSaysThatTooLittleIsKnown(t *testing.T) {
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	from := time.Date(2024, 5, 19, 0, 0, 0, 0, time.UTC)
	refused, issued := 0, 0
	for days := 280; days <= 460; days += 9 {
		issue := from.AddDate(0, 0, days)
		rec := Record{Day0: DateOf(from), Issue: DateOf(issue), IssuedAt: issue.Add(19 * time.Hour)}
		for d := range days {
			wave := math.Cos(2 * math.Pi * float64(from.AddDate(0, 0, d).YearDay()-205) / 365.25)
			rec.Air = append(rec.Air, 8+11*wave+3*math.Sin(float64(d)))
			rec.Water = append(rec.Water, 8+7*wave+math.Sin(float64(d)/2))
			rec.Flow = append(rec.Flow, 10)
		}
		rec.WaterMax, rec.WaterMin = rec.Water, rec.Water
		o, err := rec.Outlook(beck, c, Options{Members: 12, Ahead: 340})
		switch {
		case errors.Is(err, ErrNothingKnown):
			refused++
			if issued > 0 {
				t.Errorf("%d days: too little, and fewer were enough", days)
			}
		case err != nil:
			t.Errorf("%d days: %v", days, err)
		default:
			issued++
			for _, w := range o.Water {
				if math.IsNaN(w.P50) {
					t.Errorf("%d days: no water on %s", days, w.Date)
				}
			}
		}
	}
	if refused == 0 || issued == 0 {
		t.Errorf("%d refused, %d issued: the test shows nothing", refused, issued)
	}
}
