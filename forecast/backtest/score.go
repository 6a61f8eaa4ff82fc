package backtest

import (
	"math"

	"example.org/eclose/forecast/verify"
)

// TaxonScore is what a taxon's hindcasts are worth; dates in days. JSON has
// exactly these keys.
type TaxonScore struct {
	Taxon        string  `json:"taxon"`
	Seasons      int     `json:"seasons"`
	RMSEModel    float64 `json:"rmse_days_model"`
	RMSECalendar float64 `json:"rmse_days_calendar"`
	CRPSModel    float64 `json:"crps_model"`
	CRPSCalendar float64 `json:"crps_calendar"`
	Coverage80   float64 `json:"coverage_80"` // share of seasons whose date fell within the central 80 %
}

// Score sums forecasts up by taxon, in their order. Sites of one taxon are
// scored together, and seasons counts years.
func Score(forecasts []Forecast) []TaxonScore {
	var out []TaxonScore
	for i := 0; i < len(forecasts); {
		j := i
		years := map[int]bool{}
		var model, calendar, crps, crpsCal []float64
		in := 0
		for ; j < len(forecasts) && forecasts[j].Taxon == forecasts[i].Taxon; j++ {
			f := forecasts[j]
			years[f.Year] = true
			model = append(model, (f.Model-f.Observed)*(f.Model-f.Observed))
			calendar = append(calendar, (f.Calendar-f.Observed)*(f.Calendar-f.Observed))
			crps = append(crps, verify.CRPS(f.Observed, f.Members))
			crpsCal = append(crpsCal, verify.CRPSNormal(f.Observed, f.Calendar, f.CalendarSD))
			if lo, hi := f.Interval(0.8); lo <= f.Observed && f.Observed <= hi {
				in++
			}
		}
		out = append(out, TaxonScore{
			Taxon: forecasts[i].Taxon, Seasons: len(years),
			RMSEModel: math.Sqrt(mean(model)), RMSECalendar: math.Sqrt(mean(calendar)),
			CRPSModel: mean(crps), CRPSCalendar: mean(crpsCal), Coverage80: float64(in) / float64(j-i),
		})
		i = j
	}
	return out
}

// Interval is the central interval of the forecast's distribution.
func (f *Forecast) Interval(level float64) (low, high float64) {
	return verify.Quantile(f.Members, (1-level)/2), verify.Quantile(f.Members, (1+level)/2)
}

// SquaredErrors are the squared errors of a taxon's forecasts and their years,
// for the uncertainty of a skill.
func SquaredErrors(forecasts []Forecast, taxon string) (years []int, model, calendar []float64) {
	for _, f := range forecasts {
		if f.Taxon == taxon {
			years = append(years, f.Year)
			model = append(model, (f.Model-f.Observed)*(f.Model-f.Observed))
			calendar = append(calendar, (f.Calendar-f.Observed)*(f.Calendar-f.Observed))
		}
	}
	return years, model, calendar
}

// RMSEReduction is a figure for verify.BootstrapBySeason: by which share the root
// mean square error lies below the calendar's.
func RMSEReduction(model, calendar []float64) func(cases []int) float64 {
	return func(cases []int) float64 {
		var m, c float64
		for _, i := range cases {
			m, c = m+model[i], c+calendar[i]
		}
		return 1 - math.Sqrt(m/c)
	}
}
