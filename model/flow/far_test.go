package flow

import (
	"slices"
	"testing"
)

// farLeads are the leads at which a plan asks for the chance of high water, days.
var farLeads = []int{14, 21, 30, 45, 60}

// farScore is of one gauge at one lead: sums over n cases.
type farScore struct{ n, crps, climate, brier, brierClimate, within float64 }

// far judges a model's forecasts far ahead: its CRPS, and the chance of a flow that is
// exceeded on a fifth of all days, against the same dates of the fitted years.
func far(in Input, cut, step int, m *Model) (out [5]farScore) {
	const members = 200
	last := farLeads[len(farLeads)-1]
	climate := climatologyEnsemble{in, cut, 7}
	high := slices.Clone(in.Flow[:cut])
	high = slices.DeleteFunc(high, unknown)
	slices.Sort(high)
	limit := quantile(high, 0.8)
	above := func(sorted []float64) float64 {
		i, _ := slices.BinarySearch(sorted, limit)
		return float64(len(sorted)-i) / float64(len(sorted))
	}
	column := make([]float64, members)
	for i := cut; i+last <= len(in.Flow); i += step {
		history := in.slice(0, i)
		rows := m.Forecast(history, pastFutures(history, last, members), last, uint64(i))
		if rows == nil {
			continue
		}
		for l, lead := range farLeads {
			y := in.Flow[i+lead-1]
			if unknown(y) {
				continue
			}
			for k, row := range rows {
				column[k] = row[lead-1]
			}
			slices.Sort(column)
			past := climate.at(in.Day0 + i - 1 + lead)
			came := 0.0
			if y >= limit {
				came = 1
			}
			s := &out[l]
			s.n++
			s.crps += crps(y, column)
			s.climate += crps(y, past)
			p, q := above(column)-came, above(past)-came
			s.brier += p * p
			s.brierClimate += q * q
			if y >= quantile(column, 0.1) && y <= quantile(column, 0.9) {
				s.within++
			}
		}
	}
	return out
}

// A plan weeks ahead counts on the forecast of the flow rather than on past seasons as
// far as it has the lower Brier score for high water. Fit and check as in
// TestFlowAheadOnGaugesOfTheUnitedStates, of which this takes the last water year.
func TestFlowFarAheadBeatsPastSeasons(t *testing.T) {
	gs := readGauges(t)
	every, step := 1, 7
	if !long() {
		every, step = 15, 21
	}
	var check []gauge
	for i, g := range gs {
		if i%designEvery != 0 {
			check = append(check, g)
		}
	}
	scores := make([][5]farScore, (len(check)+every-1)/every)
	each(len(scores), func(k int) {
		in, cut := rotated(check[k*every].in, 3)
		m, err := FitUnder(in.slice(0, cut), &pooled)
		if err != nil {
			t.Errorf("gauge %s: %v", check[k*every].id, err)
			return
		}
		scores[k] = far(in, cut, step, m)
	})
	summarizeFar(t, scores)
}

// The same on two long records without air, where past seasons are many.
func TestFlowFarAheadOnLongRecords(t *testing.T) {
	if !long() {
		t.Skip("fits fifty years")
	}
	for _, name := range []string{"deschutes-culver-14076500-1967-2020.rdb", "deschutes-madras-14092500-1952-2020.tsv"} {
		in := readDaily(t, name)
		in = in.slice(max(0, dayOf(1980, 10, 1)-in.Day0), len(in.Flow))
		cut := dayOf(2012, 10, 1) - in.Day0
		t.Log(name)
		summarizeFar(t, [][5]farScore{far(in, cut, 9, fitted(t, in.slice(0, cut)))})
	}
}

func summarizeFar(t *testing.T, scores [][5]farScore) {
	t.Helper()
	for l, lead := range farLeads {
		var sum farScore
		var ratio []float64
		for i := range scores {
			s := scores[i][l]
			if s.n == 0 {
				continue
			}
			ratio = append(ratio, s.crps/s.climate)
			sum.n, sum.brier, sum.brierClimate, sum.within = sum.n+s.n, sum.brier+s.brier, sum.brierClimate+s.brierClimate, sum.within+s.within
		}
		t.Logf("%d days ahead, %d gauges, %.0f forecasts: median CRPS over climatology's %.3f; Brier score of high water %.4f, past seasons %.4f; 80 %% band holds %.1f %%", lead, len(ratio), sum.n, median(ratio), sum.brier/sum.n, sum.brierClimate/sum.n, 100*sum.within/sum.n)
		if sum.brier >= sum.brierClimate {
			t.Errorf("%d days ahead: Brier score %.4f, past seasons %.4f", lead, sum.brier/sum.n, sum.brierClimate/sum.n)
		}
	}
}
