package flow

import (
	"math"
	"slices"
	"testing"
)

func fitted(t testing.TB, in Input) *Model {
	t.Helper()
	m, err := Fit(in)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// medians of members by day.
func medians(rows [][]float64) []float64 {
	out := make([]float64, len(rows[0]))
	column := make([]float64, len(rows))
	for d := range out {
		for k := range rows {
			column[k] = rows[k][d]
		}
		out[d] = median(column)
	}
	return out
}

// same is one weather for all members.
func same(n, days, like int, air, rain float64) []Future {
	f := Future{Air: make([]float64, days), Rain: make([]float64, days), Like: like}
	for d := range days {
		f.Air[d], f.Rain[d] = air, rain
	}
	out := make([]Future, n)
	for k := range out {
		out[k] = f
	}
	return out
}

// On invented basins alone, since no published set here has rain: a wet week must raise
// the flow above a dry one, and rain that would fall as snow must not.
func TestRainAheadRaisesTheFlow(t *testing.T) {
	in := wet.invent(6, 3)
	m := fitted(t, in)
	if !m.Rain {
		t.Fatal("rain is not used")
	}
	day := in.Day0 + len(in.Flow)
	ahead := func(air, rain float64) float64 {
		return medians(m.Forecast(in, same(100, 7, day-365, air, rain), 7, 1))[3]
	}
	dry, wetWeek := ahead(12, 0), ahead(12, 20)
	if wetWeek < 1.3*dry {
		t.Errorf("four days on: %.2f m3/s dry, %.2f wet", dry, wetWeek)
	}
	if frozen := ahead(-12, 20); frozen > 1.15*ahead(-12, 0) {
		t.Errorf("20 mm a day of snow raise the flow from %.2f to %.2f m3/s", ahead(-12, 0), frozen)
	}
}

// Warm days must bring more flow than cold ones while snow lies, and not once it is gone.
func TestWarmAirMeltsSnowWhileThereIsSome(t *testing.T) {
	in := snowy.invent(8, 5)
	in.Rain = nil
	m := fitted(t, in)
	effect := func(doy int) float64 {
		history := in.until(7*365 + doy)
		day := history.Day0 + len(history.Flow)
		normal := m.airWave.at(day)
		rows := func(by float64) float64 {
			return medians(m.Forecast(history, same(100, 7, day-365, normal+by, math.NaN()), 7, 1))[6]
		}
		return rows(6) / rows(-6)
	}
	spring, autumn := effect(190), effect(330) // days from 1 October
	if spring < 1.15 {
		t.Errorf("in spring 12 °C more change the flow by a factor of %.2f", spring)
	}
	if autumn > spring-0.1 {
		t.Errorf("12 °C more change the flow by a factor of %.2f in spring and %.2f in late summer", spring, autumn)
	}
}

// The rain of the days ahead, known, must be worth something where the basin obeys it.
func TestKnownRainBeatsUnknownRain(t *testing.T) {
	in := wet.invent(6, 9)
	cut := 5 * 365
	with := fitted(t, in.slice(0, cut))
	without := in
	without.Rain = nil
	blind := fitted(t, without.slice(0, cut))
	var a, b float64
	for i := cut; i+5 < len(in.Flow); i += 9 {
		came := make([]Future, 100)
		past := pastFutures(without.slice(0, i), 5, 100)
		for k := range came {
			came[k] = Future{Air: in.Air[i : i+5], Rain: in.Rain[i : i+5], Like: past[k].Like}
		}
		score := func(rows [][]float64) float64 {
			c := make([]float64, len(rows))
			for k := range rows {
				c[k] = rows[k][3]
			}
			slices.Sort(c)
			return crps(in.Flow[i+3], c)
		}
		a += score(with.Forecast(in.slice(0, i), came, 5, 1))
		b += score(blind.Forecast(without.slice(0, i), past, 5, 1))
	}
	if a > 0.85*b {
		t.Errorf("CRPS %.3f with the rain known, %.3f without", a, b)
	}
}

func TestForecastsRepeatAndStayWithinReason(t *testing.T) {
	in := snowy.invent(4, 7)
	m := fitted(t, in)
	futures := pastFutures(in, 60, 50)
	a, b := m.Forecast(in, futures, 60, 4), m.Forecast(in, futures, 60, 4)
	high := slices.Max(in.Flow)
	for k := range a {
		if !slices.Equal(a[k], b[k]) {
			t.Fatal("the same seed gives other members")
		}
		for d, q := range a[k] {
			if unknown(q) || q < 0 || q > 2.5*high {
				t.Fatalf("member %d, day %d: %v m3/s; the record's highest is %.1f", k, d, q, high)
			}
		}
	}
	old := in
	old.Flow = slices.Clone(in.Flow)
	for i := range maxAge {
		old.Flow[len(old.Flow)-1-i] = math.NaN()
	}
	if m.Forecast(old, futures, 60, 4) != nil {
		t.Error("a flow a month old is forecast from")
	}
	if _, err := Fit(in.slice(0, 200)); err == nil {
		t.Error("200 days are fitted")
	}
}

// No forecast may know what came after its issue.
func TestForecastsDoNotSeeTheFuture(t *testing.T) {
	in := snowy.invent(5, 8)
	m := fitted(t, in.slice(0, 4*365))
	i := 4*365 + 100
	a := m.Forecast(in.slice(0, i), pastFutures(in.slice(0, i), 20, 30), 20, 1)
	for j := i; j < len(in.Flow); j++ {
		in.Flow[j] *= 3
	}
	b := m.Forecast(in.slice(0, i), pastFutures(in.slice(0, i), 20, 30), 20, 1)
	for k := range a {
		if !slices.Equal(a[k], b[k]) {
			t.Fatal("the flow after the issue changes the forecast")
		}
	}
}
