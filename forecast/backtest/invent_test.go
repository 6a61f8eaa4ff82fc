package backtest

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

// invention is an invented record: taxa at one brook over some years.
type invention struct {
	records, water strings.Builder
}

// inventRecords makes years seasons of taxa whose median date answers to the
// temperature by the given share of a degree-day rule (the rest is the
// calendar), with noise of so many days; traps are emptied every fourth day.
func inventRecords(seed uint64, years int, share, noise float64, taxa int) *invention {
	return inventVisits(seed, years, share, noise, taxa, 4)
}

// inventVisits is inventRecords with a visit every so many days.
func inventVisits(seed uint64, years int, share, noise float64, taxa, every int) *invention {
	rng := rand.New(rand.NewPCG(seed, 3))
	var v invention
	v.records.WriteString("date,taxon,count\n")
	v.water.WriteString("date,temp_c\n")
	for y := range years {
		year := 1990 + y
		water := make([]float64, daysIn(year))
		dep, warm := 0.0, 0.9*rng.NormFloat64()
		for d := range water {
			dep = 0.93*dep + 0.5*rng.NormFloat64()
			water[d] = math.Max(0.1, 8-6.5*math.Cos(2*math.Pi*float64(d-25)/365)+warm+dep)
			fmt.Fprintf(&v.water, "%s,%.2f\n", day(year, d+1), water[d])
		}
		for k := range taxa {
			need := 250 + 60*float64(k)
			usual := 150 + 8*float64(k)
			t50 := share*reachedDay(water, need) + (1-share)*usual + noise*rng.NormFloat64()
			n := 150 * math.Exp(0.5*rng.NormFloat64())
			for d := every; d < 300; d += every {
				f := 0.5 * (math.Erf((float64(d)-t50)/12) - math.Erf((float64(d-every)-t50)/12))
				if c := int(n*f + rng.Float64()); c > 0 {
					fmt.Fprintf(&v.records, "%s,taxon %d,%d\n", day(year, d), k, c)
				}
			}
		}
	}
	return &v
}

func day(year, doy int) string {
	return time.Date(year, 1, doy, 0, 0, 0, 0, time.UTC).Format(time.DateOnly)
}

func (v *invention) read(t *testing.T) (Records, *Temperatures) {
	t.Helper()
	rec, err := ReadRecords("records", strings.NewReader(v.records.String()))
	if err != nil {
		t.Fatal(err)
	}
	w, err := ReadWater("water", strings.NewReader(v.water.String()))
	if err != nil {
		t.Fatal(err)
	}
	return rec, w
}

// reachedDay is the day of the year by which water has gathered so many
// degree-days above 4 °C, linear within the day.
func reachedDay(water []float64, need float64) float64 {
	for d, v := range water {
		rate := math.Max(0, v-4)
		if rate >= need {
			return float64(d) + need/math.Max(rate, 1e-9)
		}
		need -= rate
	}
	return float64(len(water))
}

// ratio is the model's error over the calendar's, all taxa together.
func ratio(f []Forecast, k Knowledge) float64 {
	var m, c float64
	for _, x := range f {
		m += (x.By[k].Mean - x.Observed) * (x.By[k].Mean - x.Observed)
		c += (x.Calendar.Mean - x.Observed) * (x.Calendar.Mean - x.Observed)
	}
	return math.Sqrt(m / c)
}
