package forecast

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"sync"

	"example.org/eclose/forecast/verify"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/flow"
	"example.org/eclose/model/watertemp"
)

// FlowSource says what the flow ahead rests on.
type FlowSource string

// The sources. Withheld stands for a regulated river without an official forecast,
// Unknown for a river with too little flow on record or none of late.
const (
	FlowStatistics FlowSource = "statistics"
	FlowOfficial   FlowSource = "official"
	FlowJoined     FlowSource = "official+statistics" // see FlowAhead.Services for whose
	FlowWithheld   FlowSource = "withheld"
	FlowUnknown    FlowSource = "unknown"
)

// SourceWords says in a sentence what the flow ahead rests on.
func (f *FlowAhead) SourceWords() string {
	const own = "this gauge's own record and past seasons' weather"
	switch f.Source {
	case FlowStatistics:
		if f.Unanswered {
			return fmt.Sprintf("from %s, since no official forecast came in the last %.0f hours", own, officialMaxAge.Hours())
		}
		return "from " + own
	case FlowOfficial, FlowJoined:
		if len(f.Services) == 0 { // of an older version
			return "official forecast, corrected against this gauge; beyond its reach from the gauge's own record"
		}
		var parts []string
		for _, s := range f.Services {
			parts = append(parts, fmt.Sprintf("%s to %s", s.Name, (f.Days[0].Date+Date(s.Days)-1).Short()))
		}
		text := strings.Join(parts, ", then ") + ", corrected against this gauge"
		if f.Source == FlowJoined {
			text += "; then " + own
		}
		return text
	case FlowWithheld:
		return "not forecast: releases from the dam decide, and there is no official forecast here"
	default:
		return "not forecast: too few or no recent flow readings"
	}
}

// Silence says in a sentence that a service was asked for its forecast of the flow and
// none is here; "" where one is, or none was asked for.
func (f *FlowAhead) Silence() string {
	if f == nil || !f.Unanswered {
		return ""
	}
	s := fmt.Sprintf("No official forecast of the flow came in the last %.0f hours", officialMaxAge.Hours())
	if len(f.Days) == 0 {
		return s + ": the flow ahead is not forecast."
	}
	return s + ": the flow ahead rests on the gauge's own record."
}

// FlowDay is the daily mean flow of a day ahead, m3/s.
type FlowDay struct {
	Date     Date     `json:"date"`
	P05      float64  `json:"p05_m3s"`
	P10      float64  `json:"p10_m3s"`
	P25      float64  `json:"p25_m3s"`
	P50      float64  `json:"p50_m3s"`
	P75      float64  `json:"p75_m3s"`
	P90      float64  `json:"p90_m3s"`
	P95      float64  `json:"p95_m3s"`
	Fishable *float64 `json:"p_fishable,omitempty"` // chance that the flow is within the owner's range; nil without one
	Rise     float64  `json:"p_rise"`               // chance that it is half as much again as the day before, as after heavy rain
}

// FlowAhead is the forecast of a river's flow. None of it speaks of wading.
type FlowAhead struct {
	Source FlowSource `json:"source"`
	NowM3s float64    `json:"last_m3s"` // daily mean of the last day known; 0 if none
	// The marks between which the words lie, m3/s; 0 where unknown.
	LowM3s   float64 `json:"fishable_low_m3s"` // the owner's
	HighM3s  float64 `json:"fishable_high_m3s"`
	LeastM3s float64 `json:"exceeded_95_m3s"` // of all days on record
	LowerM3s float64 `json:"exceeded_90_m3s"`
	UpperM3s float64 `json:"exceeded_10_m3s"`
	BanksM3s float64 `json:"banks_m3s"`
	// Services are whose forecasts the first days rest on, in the order in which they
	// take over; empty for a forecast from the gauge's own record.
	Services []FlowReach `json:"services,omitempty"`
	// Unanswered says that a service is asked for its forecast and none of the last 36
	// hours is here.
	Unanswered bool      `json:"no_recent_official_forecast,omitempty"`
	Colour     *Colour   `json:"colour,omitempty"` // nil: the gauge measures no turbidity
	Days       []FlowDay `json:"days"`
}

// FlowReach is a service, the last day of the forecast that rests on it, counted from 1,
// and how it did here.
type FlowReach struct {
	Name   string      `json:"name"`
	Days   int         `json:"days"`
	Scores []FlowScore `json:"scores,omitempty"`
}

// On returns the flow of a date; false where there is none, as without a forecast.
func (f *FlowAhead) On(d Date) (FlowDay, bool) {
	if f == nil || len(f.Days) == 0 {
		return FlowDay{}, false
	}
	if i := int(d - f.Days[0].Date); i >= 0 && i < len(f.Days) {
		return f.Days[i], true
	}
	return FlowDay{}, false
}

// Class puts a flow, m3/s, in words for anglers.
func (f *FlowAhead) Class(q float64) flow.Class {
	orNaN := func(v float64) float64 {
		if v == 0 {
			return math.NaN()
		}
		return v
	}
	return flow.Marks{Fishable: flow.Range{LowM3s: f.LowM3s, HighM3s: f.HighM3s}, Lowest: orNaN(f.LeastM3s), Lower: orNaN(f.LowerM3s), Upper: orNaN(f.UpperM3s), Banks: orNaN(f.BanksM3s)}.Of(q)
}

// trendDays is over how many days ahead the trend is shown. Our own default.
const trendDays = 3

// Trend says where the flow goes over the next days; "" without a forecast.
func (f *FlowAhead) Trend() flow.Trend {
	if f == nil || len(f.Days) < trendDays || f.NowM3s == 0 {
		return ""
	}
	return flow.TrendOf(f.NowM3s, f.Days[trendDays-1].P50)
}

// ChanceAbove is the chance that the day's flow is at or above a flow, m3/s: on lines
// between the quantiles in the logarithm, and no surer than the outermost of them.
func (d FlowDay) ChanceAbove(q float64) float64 {
	ps := [...]float64{0.05, 0.10, 0.25, 0.50, 0.75, 0.90, 0.95}
	qs := [...]float64{d.P05, d.P10, d.P25, d.P50, d.P75, d.P90, d.P95}
	if q <= qs[0] {
		return 1 - ps[0]
	}
	for i := 1; i < len(qs); i++ {
		if q <= qs[i] {
			share := 1.0
			if lo, hi := math.Log(qs[i-1]+1e-9), math.Log(qs[i]+1e-9); hi > lo {
				share = (math.Log(q+1e-9) - lo) / (hi - lo)
			}
			return 1 - (ps[i-1] + share*(ps[i]-ps[i-1]))
		}
	}
	return 1 - ps[len(ps)-1]
}

// mark sets the marks between which the words for a flow lie.
func (f *FlowAhead) mark(m flow.Marks) {
	or0 := func(v float64) float64 {
		if math.IsNaN(v) {
			return 0
		}
		return v
	}
	f.LeastM3s, f.LowerM3s, f.UpperM3s, f.BanksM3s = or0(m.Lowest), or0(m.Lower), or0(m.Upper), or0(m.Banks)
}

// flows are the members of flow ahead, m3/s by member and day, as far as the flow is
// forecast; nil where it is not. Their weather is that of the water's members. What
// only a reader wants of the flow is left out where opt asks for chances only.
func (rec Record) flows(r River, opt Options, seed uint64, weather func() []watertemp.Future) (rows [][]float64, about *FlowAhead) {
	about = &FlowAhead{Source: FlowUnknown, LowM3s: r.Fishable.LowM3s, HighM3s: r.Fishable.HighM3s, Days: []FlowDay{}}
	if !opt.ChancesOnly {
		about.Colour = rec.colour(ZoneOf(r.Zone))
	}
	if count(rec.Flow) == 0 {
		if r.Fishable.Known() || about.Colour != nil {
			return nil, about
		}
		return nil, nil
	}
	if !opt.ChancesOnly {
		about.mark(flow.MarksOf(rec.Flow, r.Fishable, math.NaN()))
	}
	last := len(rec.Flow) - 1
	for math.IsNaN(rec.Flow[last]) {
		last--
	}
	about.NowM3s = rec.Flow[last]
	services := rec.Official
	about.Unanswered = len(r.FlowAhead) > 0 && len(services) == 0
	if r.Regulated { // models of free-flowing rivers know nothing of the dam
		services = slices.DeleteFunc(slices.Clone(services), func(s FlowService) bool { return !s.Official })
		if len(services) == 0 {
			about.Source = FlowWithheld
			return nil, about
		}
	}
	in := rec.flowInput()
	m, err := opt.fitFlow(in, rec.Issue)
	if err != nil {
		return nil, about
	}
	futures := rec.futures(opt, weather())
	if rows = m.Forecast(in, futures, opt.Ahead, seed); rows == nil {
		return nil, about
	}
	about.Source = FlowStatistics
	if len(services) > 0 {
		about.Source = FlowJoined
		m.Join(rows, about.join(services, opt.Ahead), about.NowM3s, seed)
		if r.Regulated { // beyond the official forecast nobody knows what the dam does
			about.Source = FlowOfficial
			reach := about.Services[0].Days
			if !opt.ChancesOnly {
				about.sum(rec.Issue, rows, reach)
			}
			for k := range rows {
				rows[k] = rows[k][:reach]
			}
			return rows, about
		}
	}
	if !opt.ChancesOnly {
		about.sum(rec.Issue, rows, opt.Ahead)
	}
	return rows, about
}

func (rec Record) flowInput() flow.Input {
	in := flow.Input{Day0: int(rec.Day0), Flow: rec.Flow, Rain: rec.Rain}
	if count(rec.Air) > 0 {
		in.Air = rec.Air
	}
	if count(rec.Rain) == 0 {
		in.Rain = nil
	}
	return in
}

// weather draws the members' weather when it is first asked for: flow and water share it.
func (rec Record) weather(opt Options, seed uint64) func() []watertemp.Future {
	return sync.OnceValue(func() []watertemp.Future {
		return watertemp.Futures(rec.WaterInput(), rec.AirAhead, opt.Ahead, opt.Members, seed)
	})
}

// futures are the members' weather: that of the water model's, or without any air the
// past seasons in turn.
func (rec Record) futures(opt Options, shared []watertemp.Future) []flow.Future {
	out := make([]flow.Future, opt.Members)
	if shared != nil {
		for k, f := range shared {
			out[k] = flow.Future{Air: f.Air, Like: f.Like, Rain: rec.rainLike(f.Like, opt.Ahead)}
		}
		return out
	}
	years := max(1, len(rec.Flow)/366)
	for k := range out {
		out[k].Like = int(rec.Issue) - int(math.Round(365.25*float64(1+k%years)))
	}
	return out
}

// rainLike is the rain of a past season, mm; nil where none is known.
func (rec Record) rainLike(like, days int) []float64 {
	from := like - int(rec.Day0)
	if len(rec.Rain) == 0 || from < 0 || from >= len(rec.Rain) {
		return nil
	}
	return rec.Rain[from:min(from+days, len(rec.Rain))]
}

// muchRise is a rise in a day that heavy rain or a release makes, and that often
// colours the water. Our own default.
const muchRise = 1.5

// sum sums members up by day.
func (f *FlowAhead) sum(issue Date, rows [][]float64, days int) {
	f.Days = make([]FlowDay, days)
	n := float64(len(rows))
	for d := range f.Days {
		c := columnOf(rows, d)
		day := FlowDay{Date: issue + Date(d), P05: verify.QuantileOfSorted(c, 0.05), P10: verify.QuantileOfSorted(c, 0.10), P25: verify.QuantileOfSorted(c, 0.25), P50: verify.QuantileOfSorted(c, 0.50),
			P75: verify.QuantileOfSorted(c, 0.75), P90: verify.QuantileOfSorted(c, 0.90), P95: verify.QuantileOfSorted(c, 0.95)}
		within := 0.0
		for _, row := range rows {
			before := f.NowM3s
			if d > 0 {
				before = row[d-1]
			}
			if row[d] >= muchRise*before {
				day.Rise++
			}
			if f.Class(row[d]) == flow.Within {
				within++
			}
		}
		day.Rise = round(day.Rise/n, 1000)
		if f.HighM3s > 0 {
			p := round(within/n, 1000)
			day.Fishable = &p
		}
		for _, q := range []*float64{&day.P05, &day.P10, &day.P25, &day.P50, &day.P75, &day.P90, &day.P95} {
			*q = rounded3(*q)
		}
		f.Days[d] = day
	}
}

// rounded3 keeps four digits: more is not known of a flow.
func rounded3(q float64) float64 {
	if q <= 0 {
		return 0
	}
	scale := math.Pow(10, 3-math.Floor(math.Log10(q)))
	return math.Round(q*scale) / scale
}

// FitFlow fits the flow model to the record, for Options.FittedFlow; nil where there is
// too little flow for one.
func (rec Record) FitFlow() *flow.Model {
	m, err := (*Fits)(nil).fitFlow(rec.flowInput(), rec.Issue)
	if err != nil {
		return nil
	}
	return m
}

func (opt Options) fitFlow(in flow.Input, issue Date) (*flow.Model, error) {
	if opt.FittedFlow != nil {
		return opt.FittedFlow, nil
	}
	return opt.Fits.fitFlow(in, issue)
}

// rain adds the water that fell by day, mm: daily sums, or those of the hours.
func (g *gatherer) rain(s FeedSite, into *column) error {
	keys := g.of(s, ingest.Precipitation)
	slices.SortStableFunc(keys, func(a, b ingest.Key) int { return rank(a) - rank(b) })
	today := DateOf(g.issue.In(g.zone))
	*into = column{}
	for _, k := range keys {
		if k.Statistic != ingest.Sum {
			continue
		}
		days, err := g.store.Daily(g.ctx, k, g.query(), series.DayRule{Zone: g.zone, Unchecked: true})
		if err != nil {
			return fmt.Errorf("daily values of %s: %w", k, err)
		}
		for _, d := range days {
			date := DateOf(d.Date)
			if _, have := (*into)[date]; !have && d.Complete && date < today {
				(*into)[date] = dayValue{mean: d.Sum, low: math.NaN(), high: math.NaN()}
			}
		}
	}
	return nil
}

// FlowForecast is the flow ahead alone, without water temperature and insects; nil for a
// river without a flow gauge.
func (rec Record) FlowForecast(r River, days, members int) *FlowAhead {
	opt, seed := Options{Ahead: days, Members: members}, seedOf(r.Slug, rec.Issue)
	_, f := rec.flows(r, opt, seed, rec.weather(opt, seed))
	return f
}
