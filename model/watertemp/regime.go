package watertemp

import (
	"fmt"
	"math"
)

// response is how the water answers the air through the year.
type response struct {
	ratio   float64 // of the yearly amplitudes, water over air
	lagDays float64 // of the water's year behind the air's
	above   float64 // the water's mean over the air's, °C
	flow    float64 // amplitude of the logarithm of the flow through the year
	peak    float64 // day of the year of the highest flow
	quick   float64 // °C of water on the day for 1 °C of air that lasts a day
}

func (m *Model) response() response {
	amplitude := func(y year) float64 { return math.Hypot(y[1], y[2]) }
	peak := func(y year) float64 { return math.Mod(math.Atan2(y[2], y[1])/twoPi*365.25+365.25, 365.25) }
	r := response{ratio: amplitude(m.Water) / max(amplitude(m.Air), 0.1), above: m.Water[0] - m.Air[0], flow: amplitude(m.Flow), peak: peak(m.Flow)}
	r.lagDays = math.Remainder(peak(m.Water)-peak(m.Air), 365.25)
	a, b := math.Exp(m.Params[pSurface]), math.Exp(m.Params[pInflow])
	air := m.Params[pFeature+fAir] + (1-keepFast)*m.Params[pFeature+fFast] + (1-keepSlow)*m.Params[pFeature+fSlow]
	r.quick = air * a / (a + b) * (1 - math.Exp(-a-b))
	return r
}

// regime says in words what feeds the reach, as far as temperature and flow
// show it. The limits are our own default: they split the rivers of the check
// sets as their names and dams do, and no more.
func (m *Model) regime() string {
	r := m.response()
	var what string
	late := r.lagDays > 18
	melt := m.MeanFlow > 0 && r.flow > 0.5 && r.peak > 100 && r.peak < 215
	switch {
	case late && r.quick < 0.12:
		what = "below a lake or dam: seasonal cycle delayed, little response to daily weather"
	case r.ratio < 0.5 && r.quick < 0.2 && r.above > -0.5 && !melt:
		what = "groundwater-fed: small seasonal range, little response to daily weather"
	case melt && (m.Air[0] < 9 || r.ratio < 0.5):
		what = "snowmelt-fed: flow peaks in spring or early summer and keeps the water cold"
	case late:
		what = "slow to respond: large volume or a lake upstream, seasonal cycle delayed"
	default:
		what = "follows air temperature"
	}
	if m.Climatology != nil {
		what += fmt.Sprintf("; apparently regulated: the seasonal mean predicts more here than elsewhere and gets %.0f%% of the weight", 100*m.ClimatologyWeight)
	}
	return fmt.Sprintf("%s (seasonal range %.0f%% of the air's, %s)", what, 100*r.ratio, r.behind())
}

// behind says how the water's year lies to the air's.
func (r response) behind() string {
	switch d := math.Round(r.lagDays); {
	case d == 1:
		return "a day behind it"
	case d == -1:
		return "a day ahead of it"
	case d > 0:
		return fmt.Sprintf("%.0f days behind it", d)
	case d < 0:
		return fmt.Sprintf("%.0f days ahead of it", -d)
	}
	return "on the same day"
}

// Words says what the fitted numbers mean, a sentence each.
func (m *Model) Words() []string {
	r := m.response()
	a, b := math.Exp(m.Params[pSurface]), math.Exp(m.Params[pInflow])
	out := []string{
		fmt.Sprintf("At median flow an anomaly decays with a time constant of %.1f days.", 1/(a+b)),
		fmt.Sprintf("One day 1 °C warmer raises the water by %.2f °C that day.", r.quick),
		fmt.Sprintf("The seasonal range is %.0f%% of the air's, %s.", 100*r.ratio, r.behind()),
	}
	if m.MeanFlow > 0 {
		out = append(out, fmt.Sprintf("At median flow (%.3g m³/s) inflow has %.0f%% of the weight, more when the river is high.", m.MeanFlow, 100*b/(a+b)))
	}
	if m.Lags != nil {
		out = append(out, fmt.Sprintf("These describe the heat budget, which has %.0f%% of the weight; a regression on recent air temperature and flow has the rest.", 100*(1-lagShare)))
	}
	if m.Kriged != nil {
		out = append(out, fmt.Sprintf("Errors that recur with season, flow and recent warmth are then corrected (%.2f °C RMS).", m.krigedRMS))
	}
	return append(out, fmt.Sprintf("Expected error outside the fitted years: %.2f °C (standard deviation).", m.Error.SD))
}
