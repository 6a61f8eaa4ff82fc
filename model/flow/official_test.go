package flow

import (
	"math"
	"slices"
	"testing"
)

// spate is an official forecast of a flood of so many days.
func spate(members, days int, peak float64) Official {
	o := Official{LastDayM3s: math.NaN()}
	for k := range members {
		row := make([]float64, days)
		for d := range row {
			row[d] = peak * (0.9 + 0.2*float64(k)/float64(members)) * math.Exp(-math.Pow(float64(d)-4, 2)/8)
		}
		o.Members = append(o.Members, row)
	}
	return o
}

func TestOfficialMembersJoinWithoutAJump(t *testing.T) {
	in := wet.invent(6, 11)
	in.Rain = nil
	m := fitted(t, in)
	plain := m.Forecast(in, pastFutures(in, 60, 200), 60, 1)
	joined := m.Forecast(in, pastFutures(in, 60, 200), 60, 1)
	now := in.Flow[len(in.Flow)-1]
	o := spate(6, 10, 6*now)
	m.Join(joined, []Official{o}, now, 1)
	got, without := medians(joined), medians(plain)
	if got[4] < 4*now {
		t.Errorf("a forecast flood of %.1f m3/s makes a median of %.1f", 6*now, got[4])
	}
	// What a member moves by from the last official day to the next is what days of
	// this river move by, not the distance between two forecasts.
	steps, seams := make([]float64, len(joined)), make([]float64, len(joined))
	for k, row := range joined {
		seams[k] = math.Abs(m.log(row[10]) - m.log(row[9]))
		steps[k] = math.Abs(m.log(plain[k][10]) - m.log(plain[k][9]))
	}
	if a, b := median(seams), median(steps); a > b+0.15 {
		t.Errorf("members jump by %.2f in log flow where the official forecast ends; elsewhere a day is %.2f", a, b)
	}
	if far := math.Abs(math.Log(got[59] / without[59])); far > 0.15 {
		t.Errorf("two months on, the official forecast still moves the median by %.2f in log flow", far)
	}
}

func TestOfficialBiasIsLearnedFromTheGauge(t *testing.T) {
	in := wet.invent(6, 12)
	m := fitted(t, in)
	now := in.Flow[len(in.Flow)-1]
	o := Official{Members: [][]float64{{2 * now, 2 * now, 2 * now}}, LastDayM3s: math.NaN()}
	day := func(o Official) float64 {
		rows := m.Forecast(in, pastFutures(in, 10, 200), 10, 1)
		m.Join(rows, []Official{o}, now, 1)
		return medians(rows)[2]
	}
	untaught := day(o)
	for range 200 {
		o.Past = append(o.Past, Verified{Lead: 3, ForecastM3s: 2, ObservedM3s: 1})
	}
	if taught := day(o); taught > 0.65*untaught {
		t.Errorf("forecasts twice too high 200 times over move the median from %.2f to %.2f only", untaught, taught)
	}
	// What the source says of today, beside what the gauge says, moves the first days.
	o.Past, o.LastDayM3s = nil, 2*now
	if anchored := day(o); anchored > 0.9*untaught {
		t.Errorf("a source that has twice today's flow is not moved: %.2f, without %.2f", anchored, untaught)
	}
}

func TestBadOfficialForecastsMakeWiderBands(t *testing.T) {
	in := wet.invent(6, 13)
	m := fitted(t, in)
	now := in.Flow[len(in.Flow)-1]
	width := func(errors float64) float64 {
		o := Official{Members: [][]float64{{now, now, now, now, now}}, LastDayM3s: math.NaN()}
		for k := range 200 {
			o.Past = append(o.Past, Verified{Lead: 3, ForecastM3s: 1, ObservedM3s: math.Exp(errors * float64(2*(k%2)-1))})
		}
		rows := m.Forecast(in, pastFutures(in, 10, 200), 10, 1)
		m.Join(rows, []Official{o}, now, 1)
		c := make([]float64, len(rows))
		for k := range rows {
			c[k] = m.log(rows[k][2])
		}
		slices.Sort(c)
		return quantile(c, 0.9) - quantile(c, 0.1)
	}
	if good, bad := width(0.02), width(0.5); bad < 2*good {
		t.Errorf("the band is %.2f wide after good forecasts and %.2f after bad ones", good, bad)
	}
}

// Three sources in a row: on each day the first that reaches it, no jump where one ends,
// and a model that is off by a third at the seam is not believed to be right after it.
func TestSourcesJoinOneAfterAnother(t *testing.T) {
	in := wet.invent(6, 14)
	in.Rain = nil
	m := fitted(t, in)
	now := in.Flow[len(in.Flow)-1]
	flat := func(days int, q float64) [][]float64 {
		row := make([]float64, days)
		for d := range row {
			row[d] = q
		}
		return [][]float64{row}
	}
	rows, plain := m.Forecast(in, pastFutures(in, 60, 200), 60, 1), m.Forecast(in, pastFutures(in, 60, 200), 60, 1)
	join := func(past int) []float64 {
		model := Official{Members: flat(20, 3*now), LastDayM3s: math.NaN(), Untied: true}
		for range past {
			model.Past = append(model.Past, Verified{Lead: 8, ForecastM3s: 3, ObservedM3s: 3})
		}
		rows = m.Forecast(in, pastFutures(in, 60, 200), 60, 1)
		m.Join(rows, []Official{{Members: flat(5, 2*now), LastDayM3s: math.NaN()}, model}, now, 1)
		return medians(rows)
	}
	got := join(0)
	for d := range 5 {
		if math.Abs(math.Log(got[d]/(2*now))) > 0.05 {
			t.Errorf("day %d: %.2f, the first source says %.2f", d, got[d], 2*now)
		}
	}
	for _, d := range []int{5, 20} { // where one ends
		forgets := (1 - m.keeps[0]) * math.Abs(math.Log(got[d-1]/medians(plain)[d-1]))
		if jump := math.Abs(math.Log(got[d] / got[d-1])); jump > forgets+0.1 {
			t.Errorf("the median jumps by %.2f in log flow on day %d; the river forgets %.2f of it in a day", jump, d, forgets)
		}
	}
	if got[15] > 2.5*now || got[15] < 1.9*now {
		t.Errorf("day 15: %.2f; a model that said %.2f on the day when the official forecast said %.2f", got[15], 3*now, 2*now)
	}
	if proven := join(400)[15]; proven < 2.5*now {
		t.Errorf("day 15: %.2f; the model was right 400 times and says %.2f", proven, 3*now)
	}
	if far := math.Abs(math.Log(got[59] / medians(plain)[59])); far > 0.15 {
		t.Errorf("two months on, the services still move the median by %.2f in log flow", far)
	}
}
