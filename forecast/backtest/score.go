package backtest

import (
	"math"

	"gonum.org/v1/gonum/stat"

	"example.org/eclose/forecast/verify"
)

// TaxonScore is what a taxon's hindcasts on one rung of knowledge are worth;
// dates in days. JSON has exactly these keys.
type TaxonScore struct {
	Taxon        string  `json:"taxon"`
	Seasons      int     `json:"seasons"`
	RMSEModel    float64 `json:"rmse_days_model"`
	RMSECalendar float64 `json:"rmse_days_calendar"`
	RMSERecent   float64 `json:"-"`
	CRPSModel    float64 `json:"crps_model"`
	CRPSCalendar float64 `json:"crps_calendar"`
	CRPSRecent   float64 `json:"-"`
	Coverage80   float64 `json:"coverage_80"` // share of seasons whose date fell within the central 80 %
	UsualDOY     float64 `json:"-"`           // mean of the calendar's dates
}

// errors of the forecasts of one taxon, season by season.
type errorsOf struct {
	years                   []int
	model, calendar, recent []float64 // squared, days²
}

func taxonErrors(forecasts []Forecast, k Knowledge) errorsOf {
	var e errorsOf
	for _, f := range forecasts {
		sq := func(n Normal) float64 { return (n.Mean - f.Observed) * (n.Mean - f.Observed) }
		e.years = append(e.years, f.Year)
		e.model, e.calendar, e.recent = append(e.model, sq(f.By[k])), append(e.calendar, sq(f.Calendar)), append(e.recent, sq(f.Recent))
	}
	return e
}

// ByTaxon splits forecasts by taxon, in their order.
func ByTaxon(forecasts []Forecast) [][]Forecast {
	var out [][]Forecast
	for i := 0; i < len(forecasts); {
		j := i
		for j < len(forecasts) && forecasts[j].Taxon == forecasts[i].Taxon {
			j++
		}
		out = append(out, forecasts[i:j])
		i = j
	}
	return out
}

// Score sums forecasts on one rung up by taxon. Sites of one taxon are scored
// together, and seasons counts years.
func Score(forecasts []Forecast, k Knowledge) []TaxonScore {
	var out []TaxonScore
	for _, of := range ByTaxon(forecasts) {
		e := taxonErrors(of, k)
		s := TaxonScore{Taxon: of[0].Taxon, RMSEModel: math.Sqrt(stat.Mean(e.model, nil)),
			RMSECalendar: math.Sqrt(stat.Mean(e.calendar, nil)), RMSERecent: math.Sqrt(stat.Mean(e.recent, nil))}
		years := map[int]bool{}
		n := float64(len(of))
		for _, f := range of {
			years[f.Year] = true
			s.CRPSModel += f.By[k].crps(f.Observed) / n
			s.CRPSCalendar += f.Calendar.crps(f.Observed) / n
			s.CRPSRecent += f.Recent.crps(f.Observed) / n
			s.UsualDOY += f.Calendar.Mean / n
			if lo, hi := f.By[k].Interval(0.8); lo <= f.Observed && f.Observed <= hi {
				s.Coverage80 += 1 / n
			}
		}
		s.Seasons = len(years)
		out = append(out, s)
	}
	return out
}

func (n Normal) crps(observed float64) float64 { return verify.CRPSNormal(observed, n.Mean, n.SD) }

// Interval is the central interval of a normal distribution.
func (n Normal) Interval(level float64) (low, high float64) {
	z := math.Sqrt2 * math.Erfinv(level)
	return n.Mean - z*n.SD, n.Mean + z*n.SD
}

// FewScored is how many scored seasons let a taxon enter a summary.
const FewScored = 5

// SpringEnd is the day of the year, 24 July, before which a taxon counts as one of
// spring and early summer. Our own default.
const SpringEnd = 205

// Summary is the gain over the calendars in the median taxon: by which share the
// error lies below theirs, with 90 % intervals from resampled seasons.
type Summary struct {
	Taxa, SpringTaxa int
	Worse            int             // taxa worse than the plain calendar by more than 3 %
	RMSE, CRPS       verify.Interval // below the plain calendar's
	RMSERecent       verify.Interval // below that of the calendar that trusts recent years
	CRPSRecent       verify.Interval
	Spring           verify.Interval // RMSE below the plain calendar's in spring taxa
	SpringRecent     verify.Interval
	Coverage80       float64 // share of dates within the central 80 %
}

// Summarize compares forecasts on one rung with both calendars, over taxa with
// FewScored seasons.
func Summarize(forecasts []Forecast, k Knowledge) Summary {
	var out Summary
	var taxon, years []int
	var model, calendar, recent, crps, crpsCalendar, crpsRecent []float64
	spring := map[int]bool{}
	inside := 0.0
	for _, of := range ByTaxon(forecasts) {
		s := Score(of, k)[0]
		if s.Seasons < FewScored {
			continue
		}
		e := taxonErrors(of, k)
		for _, f := range of {
			taxon = append(taxon, out.Taxa)
			crps = append(crps, f.By[k].crps(f.Observed))
			crpsCalendar = append(crpsCalendar, f.Calendar.crps(f.Observed))
			crpsRecent = append(crpsRecent, f.Recent.crps(f.Observed))
		}
		years = append(years, e.years...)
		model, calendar, recent = append(model, e.model...), append(calendar, e.calendar...), append(recent, e.recent...)
		inside += s.Coverage80 * float64(len(of))
		if s.UsualDOY < SpringEnd {
			spring[out.Taxa] = true
			out.SpringTaxa++
		}
		if s.RMSEModel > 1.03*s.RMSECalendar {
			out.Worse++
		}
		out.Taxa++
	}
	if out.Taxa == 0 {
		return out
	}
	out.Coverage80 = inside / float64(len(taxon))
	all := func(int) bool { return true }
	gain := func(score, reference []float64, of func(int) bool, power float64) verify.Interval {
		return verify.BootstrapBySeason(years, medianGain(taxon, out.Taxa, score, reference, of, power), 0.9, 300, 1)
	}
	inSpring := func(t int) bool { return spring[t] }
	out.RMSE, out.RMSERecent = gain(model, calendar, all, 0.5), gain(model, recent, all, 0.5)
	out.CRPS, out.CRPSRecent = gain(crps, crpsCalendar, all, 1), gain(crps, crpsRecent, all, 1)
	out.Spring, out.SpringRecent = gain(model, calendar, inSpring, 0.5), gain(model, recent, inSpring, 0.5)
	return out
}

// medianGain is a figure for verify.BootstrapBySeason: by which share the sum of
// scores lies below that of a reference, both to a power, in the median taxon.
func medianGain(taxon []int, taxa int, score, reference []float64, of func(taxon int) bool, power float64) func([]int) float64 {
	return func(cases []int) float64 {
		a, b := make([]float64, taxa), make([]float64, taxa)
		for _, i := range cases {
			a[taxon[i]] += score[i]
			b[taxon[i]] += reference[i]
		}
		var gains []float64
		for t := range a {
			if b[t] > 0 && of(t) {
				gains = append(gains, 1-math.Pow(a[t]/b[t], power))
			}
		}
		return median(gains)
	}
}

// GainBySeason is by which share the root mean square error of one taxon's
// forecasts lies below the plain calendar's, with its interval.
func GainBySeason(forecasts []Forecast, k Knowledge) verify.Interval {
	e := taxonErrors(forecasts, k)
	one := make([]int, len(e.years))
	return verify.BootstrapBySeason(e.years, medianGain(one, 1, e.model, e.calendar, func(int) bool { return true }, 0.5), 0.9, 1000, 1)
}
