package alert

import (
	"math"

	"example.org/eclose/forecast"
	"example.org/eclose/ingest"
	"example.org/eclose/model/civil"
	"example.org/eclose/notify/subscribe"
)

// aheadDays is for how many days ahead mails know flow and water: as far as a
// subscription may look.
const aheadDays = 60

// ahead takes the flow and the water of the coming days from an outlook.
func (o *Outlook) ahead(from *forecast.Outlook) {
	issue := from.IssueDate()
	if from.Flow != nil {
		o.FishableM3s, o.FlowBasis = [2]float64{from.Flow.LowM3s, from.Flow.HighM3s}, from.Flow.SourceWords()
	}
	for d := issue; d < issue+aheadDays; d++ {
		if x, ok := from.Flow.On(d); ok {
			o.FlowDays = append(o.FlowDays, x)
		}
		if x, ok := from.WaterOn(d); ok {
			o.WaterDays = append(o.WaterDays, WaterDay{Date: d.String(), P10: x.P10, P50: x.P50, P90: x.P90})
		}
	}
}

// likeliest is the day on which a condition is most likely met by the forecast, and how
// likely; false where no day is forecast.
func (o *Outlook) likeliest(c subscribe.Condition, from, to civil.Date) (day string, chance float64, ok bool) {
	take := func(d string, above float64) {
		p := above
		if !c.Above {
			p = 1 - above
		}
		if !ok || p > chance {
			day, chance, ok = d, p, true
		}
	}
	if c.Variable == ingest.Discharge {
		for _, d := range o.FlowDays {
			if d.Date >= from && d.Date <= to {
				take(d.Date.String(), d.ChanceAbove(c.Value))
			}
		}
		return day, chance, ok
	}
	for _, d := range o.WaterDays {
		if date, err := civil.Parse(d.Date); err == nil && date >= from && date <= to {
			take(d.Date, d.chanceAbove(c.Value))
		}
	}
	return day, chance, ok
}

// chanceAbove is the chance that the day's mean reaches a temperature, °C, by a normal
// curve through the 10 and 90 % points.
func (d WaterDay) chanceAbove(c float64) float64 {
	sd := (d.P90 - d.P10) / (2 * 1.2816)
	if sd <= 0 {
		if d.P50 >= c {
			return 1
		}
		return 0
	}
	return 0.5 * math.Erfc((c-d.P50)/sd/math.Sqrt2)
}
