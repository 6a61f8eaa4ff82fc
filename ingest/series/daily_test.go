package series

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/eclose/ingest"
)

// zones with the traps: half hours and quarters, a half-hour summer time, days
// that lack their midnight or a whole date, clocks put back across midnight,
// and local mean time with seconds.
var zones = []string{
	"UTC", "America/Los_Angeles", "Europe/London", "Asia/Kolkata", "Asia/Kathmandu", "Australia/Lord_Howe", "Australia/Adelaide",
	"America/St_Johns", "America/Sao_Paulo", "America/Havana", "Asia/Beirut", "Pacific/Apia", "Pacific/Kwajalein", "Asia/Manila",
	"Africa/Cairo", "America/Asuncion", "Atlantic/Azores", "Pacific/Kiritimati", "Africa/Monrovia", "Antarctica/Troll",
}

func zone(t testing.TB, name string) *time.Location {
	t.Helper()
	z, err := time.LoadLocation(name)
	if err != nil {
		skip(t, "the time zone data are not there: "+err.Error())
	}
	return z
}

func TestLocalDaysConserveCountAndSumInEveryZone(t *testing.T) {
	for _, name := range zones {
		z := zone(t, name)
		r := rand.New(rand.NewPCG(1, uint64(len(name))))
		for range 20 {
			key := wendTemperature
			if r.IntN(2) == 0 {
				key.Period, key.Statistic = ingest.Hourly, ingest.Mean
			}
			one := ingest.Series{Key: key}
			// From 1900, so that local mean time and odd changes are met.
			at := time.Date(1900+r.IntN(130), time.Month(1+r.IntN(12)), 1+r.IntN(28), r.IntN(24), r.IntN(60), 0, 0, time.UTC)
			step := []time.Duration{15 * time.Minute, time.Hour, 7 * time.Hour}[r.IntN(3)]
			wantCount, wantSum := 0, 0.0
			for range 10000 / int(step/(15*time.Minute)) {
				at = at.Add(step)
				v, f := float64(r.IntN(1000)), ingest.Flag(1+2*r.IntN(2))
				switch r.IntN(10) {
				case 0:
					v, f = math.NaN(), ingest.Missing
				case 1:
					f = ingest.Fail
				case 2:
					f = ingest.NotEvaluated
				default:
					wantCount++
					wantSum += v // whole numbers add up exactly in any order
				}
				one.Time, one.Value, one.Flag = append(one.Time, at.UnixMicro()), append(one.Value, v), append(one.Flag, f)
			}
			days, err := Days(one, DayRule{Zone: z})
			if err != nil {
				t.Fatal(err)
			}
			count, sum := 0, 0.0
			for i, d := range days {
				count += d.Count
				sum += d.Sum
				if i > 0 && !d.Date.After(days[i-1].Date) {
					t.Fatalf("%s: %s follows %s", name, d.Date, days[i-1].Date)
				}
				if d.Share <= 0 || d.Share > 1 {
					t.Fatalf("%s %s: share %g", name, d.Date.Format(time.DateOnly), d.Share)
				}
				if d.Min > d.Mean || d.Mean > d.Max {
					t.Fatalf("%s %s: %g, %g, %g out of order", name, d.Date.Format(time.DateOnly), d.Min, d.Mean, d.Max)
				}
			}
			if count != wantCount || sum != wantSum {
				t.Fatalf("%s: %d readings that add up to %g, want %d and %g", name, count, sum, wantCount, wantSum)
			}
		}
	}
}

// Every reading lies on the date the clocks show, but for the hour that comes
// twice around midnight, and days follow each other without gap or overlap.
func TestADayIsOneStretchThatHoldsTheInstantsOfItsDate(t *testing.T) {
	for _, name := range zones {
		z := zone(t, name)
		for year := 1880; year < 2035; year++ {
			if year%10 != 0 && (year < 1985 || year > 2020) {
				continue
			}
			first := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC).Unix() / 86400
			for date := first; date < first+366; date++ {
				from, to := firstInstant(date, z), firstInstant(date+1, z)
				if from == to {
					continue // a date the zone left out
				}
				if length := time.Duration(to-from) * time.Microsecond; length < 20*time.Hour || length > 28*time.Hour {
					t.Fatalf("%s: date %s is %s long", name, time.Unix(date*86400, 0).UTC().Format(time.DateOnly), length)
				}
				if got := dateOf(from, z); got != date {
					t.Fatalf("%s: date %d begins on date %d", name, date, got)
				}
				if got := dateOf(from-1, z); got >= date {
					t.Fatalf("%s: date %d has begun before it begins", name, date)
				}
			}
		}
	}
}

func TestTheCompletenessRuleCountsTheHoursTheDayReallyHas(t *testing.T) {
	london := zone(t, "Europe/London")
	hours := func(from time.Time, n int) ingest.Series {
		one := regular(wendTemperature, from, time.Hour, make([]float64, n)...)
		for range n {
			one.Flag = append(one.Flag, ingest.Pass)
		}
		return one
	}
	for _, c := range []struct {
		name     string
		one      ingest.Series
		share    float64
		complete bool
	}{
		{"a day in spring that lacks an hour", hours(time.Date(2026, 3, 29, 0, 0, 0, 0, london), 23), 1, true},
		{"a day in autumn that has one more", hours(time.Date(2026, 10, 25, 0, 0, 0, 0, london), 25), 1, true},
		{"twenty hours of twenty-four", hours(time.Date(2026, 2, 1, 0, 0, 0, 0, london), 20), 20.0 / 24, true},
		{"nineteen hours of twenty-four", hours(time.Date(2026, 2, 1, 0, 0, 0, 0, london), 19), 19.0 / 24, false},
	} {
		days, err := Days(c.one, DayRule{Zone: london})
		if err != nil || len(days) != 1 {
			t.Fatalf("%s: %d days, %v", c.name, len(days), err)
		}
		if d := days[0]; d.Share != c.share || d.Complete != c.complete {
			t.Errorf("%s: share %g, complete %v; want %g, %v", c.name, d.Share, d.Complete, c.share, c.complete)
		}
	}
	// Many readings in one hour do not make up for the others.
	crowd := regular(wendTemperature, day(2026, 2, 1), time.Minute, make([]float64, 59)...)
	days, err := Days(crowd, DayRule{Unchecked: true})
	if err != nil || len(days) != 1 || days[0].Complete || days[0].Share != 1.0/24 {
		t.Errorf("an hour of minutes: %+v, %v", days, err)
	}
}

func TestDailyValuesKeepTheDateTheAgencyPrints(t *testing.T) {
	key := wendTemperature
	key.Period, key.Statistic = ingest.Daily, ingest.Mean
	one := regular(key, day(2026, 3, 1), 24*time.Hour, 5, 6)
	days, err := Days(one, DayRule{Zone: zone(t, "America/Los_Angeles"), Unchecked: true})
	if err != nil || len(days) != 2 || !days[0].Date.Equal(day(2026, 3, 1)) || days[1].Mean != 6 || !days[1].Complete {
		t.Errorf("%+v, %v", days, err)
	}
}

func TestAnHourThatEndsAtMidnightBelongsToTheDayBefore(t *testing.T) {
	key := wendTemperature
	key.Period, key.Statistic = ingest.Hourly, ingest.Mean
	days, err := Days(regular(key, day(2026, 3, 1).Add(23*time.Hour), time.Hour, 1, 2, 4), DayRule{Unchecked: true})
	if err != nil || len(days) != 2 || days[0].Sum != 3 || days[1].Sum != 4 {
		t.Errorf("%+v, %v", days, err)
	}
}

func TestReadingsNobodyCheckedEnterOnlyIfTheRuleSaysSo(t *testing.T) {
	one := regular(wendTemperature, day(2026, 3, 1), time.Hour, 1, 2)
	days, err := Days(one, DayRule{})
	if err != nil || len(days) != 0 {
		t.Errorf("%+v, %v", days, err)
	}
	days, err = Days(one, DayRule{Unchecked: true})
	if err != nil || len(days) != 1 || days[0].Count != 2 {
		t.Errorf("%+v, %v", days, err)
	}
}

func TestDaysFromTheStoreAreThoseFromMemory(t *testing.T) {
	backends(t, func(t *testing.T, open func() *Store) {
		s := open()
		one := quarterHours(ingest.WaterTemperature, 2023, 3)
		one.Flag[100] = ingest.Suspect
		mustPut(t, s, one, day(2026, 1, 1))
		rule := DayRule{Zone: zone(t, "Australia/Lord_Howe")}
		want, err := Days(mustRead(t, s, one.Key, Query{}), rule)
		if err != nil {
			t.Fatal(err)
		}
		got, err := s.Daily(t.Context(), one.Key, Query{}, rule)
		if err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, got); diff != "" {
			t.Error(diff)
		}
	})
}
