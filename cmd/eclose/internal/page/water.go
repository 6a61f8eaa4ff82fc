package page

import (
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/chart"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/wading"
)

type waterDay struct {
	Date          forecast.Date
	Mean, Low, Hi string
	Warmest       string
	Advice        string
	FlowOdds      trip.Odds
}

// waterDays is how many days the table lists, and past how many days back the
// pictures begin. Our own.
const (
	waterDays = 10
	waterBack = 120
	waterSpan = 330
)

func (s *site) water(r *http.Request) (*answer, error) {
	river, h, st, err := s.headAsked(r)
	if err != nil {
		return nil, err
	}
	if st == nil {
		return nil, errNotFound
	}
	u := unitsOf(r.Context())
	var body struct {
		head
		Unit           string
		Picture, Flows template.HTML
		FlowYears      int
		Days           []waterDay
		Heat           []string
		Limits         []string
		Rough          bool
		Notices        string
		Regulated      bool
		FlowAhead      []string
		LevelsAhead    []string
	}
	body.head, body.Notices, body.Regulated = h, river.Notices, river.Regulated
	body.Tab, body.Unit = "water", degree(u)
	o := st.Outlook
	from := max(h.Today-waterBack, o.Water[0].Date)
	body.Picture = template.HTML(o.WaterPicture(from, waterSpan, u == wading.US).Inline()) //nolint:gosec // our own drawing
	if st.Flows != nil {
		f, years := flowPicture(st.Flows, river.Name, from, waterSpan, h.Today, u)
		body.FlowYears = years
		body.Flows = template.HTML(f.Inline()) //nolint:gosec // our own drawing, its names escaped
	}
	body.FlowAhead = o.Flow.Lines(u)
	body.LevelsAhead = forecast.LevelWords(forecast.LevelsAhead(o.Flow, h.Today, st.Caution.Limits, st.Caution.Level, st.Caution.Known, levelDays))
	if l := st.Caution.Limits; l != nil {
		body.Rough = l.Rough
		body.Limits = []string{"take care from " + u.Flow(l.CareM3s), "better not to wade from " + u.Flow(l.BetterNotM3s), "keep out from " + u.Flow(l.KeepOutM3s)}
	}
	for d := h.Today; d < h.Today+waterDays; d++ {
		w, ok := o.WaterOn(d)
		if !ok {
			break
		}
		x := waterDay{Date: d, Mean: degrees(u, w.P50), Low: degrees(u, w.P10), Hi: degrees(u, w.P90), Warmest: degrees(u, w.MaxP90)}
		if a := wading.AdviceFor(w.MaxP90); a != wading.FishNone {
			x.Advice = a.Words()
		}
		body.Days = append(body.Days, x)
	}
	for _, x := range o.Heat {
		base, sum, unit := x.BaseC, x.SumCDays, "°C"
		normal := x.Climatology
		if u == wading.US {
			base, sum, normal, unit = base*1.8+32, sum*1.8, normal*1.8, "°F"
		}
		t := fmt.Sprintf("%.0f degree-days above %.0f %s since %s", sum, base, unit, x.SinceWords())
		if x.Climatology > 0 {
			t += fmt.Sprintf("; average by this date %.0f", normal)
		}
		body.Heat = append(body.Heat, t+fmt.Sprintf("; %d of %d days measured", x.Measured, x.Days))
	}
	return &answer{name: "water", title: river.Name + ": water and flow", here: "rivers", body: body}, nil
}

// levelDays is how many days ahead chances of caution levels are shown. Our own default.
const levelDays = 7

// degree is the unit of a reader's thermometer, and degrees a temperature on it,
// for a column whose head names the unit.
func degree(u wading.Units) string {
	if u == wading.US {
		return "°F"
	}
	return "°C"
}

func degrees(u wading.Units, c float64) string {
	if u == wading.US {
		return fmt.Sprintf("%.0f", wading.CtoF(c))
	}
	return fmt.Sprintf("%.1f", c)
}

// flowPicture puts this season's daily flow among those of past seasons within
// a week of each date.
func flowPicture(f *trip.Flows, name string, from forecast.Date, days int, today forecast.Date, u wading.Units) (chart.Flow, int) {
	p := chart.Flow{Title: name + ": daily mean flow", Day0: from.Time(), Today: int(today - from), Per: 1, Label: func(m3s float64) string { return fmt.Sprintf("%.3g m³/s", m3s) }}
	if u == wading.US {
		p.Per, p.Label = wading.Foot3M3, func(m3s float64) string { return fmt.Sprintf("%.0f cfs", m3s/wading.Foot3M3) }
	}
	nan := func() []float64 {
		v := make([]float64, days)
		for i := range v {
			v[i] = math.NaN()
		}
		return v
	}
	p.Low, p.Mid, p.High, p.Observed = nan(), nan(), nan(), nan()
	at := func(d forecast.Date) float64 {
		if i := int(d - f.Day0); i >= 0 && i < len(f.M3s) {
			return f.M3s[i]
		}
		return math.NaN()
	}
	years := 0
	for y := 1; y <= 80; y++ {
		if d := forecast.DateOf(today.Time().AddDate(-y, 0, 0)); d < f.Day0 {
			break
		}
		years++
	}
	pool := make([]float64, 0, 15*years)
	for i := range days {
		d := from + forecast.Date(i)
		if d < today {
			p.Observed[i] = at(d)
		}
		pool = pool[:0]
		for y := 1; y <= years; y++ {
			then := forecast.DateOf(d.Time().AddDate(-y, 0, 0))
			if d.Time().Year() > today.Time().Year() {
				then = forecast.DateOf(d.Time().AddDate(-y-1, 0, 0))
			}
			for k := forecast.Date(-7); k <= 7; k++ {
				if v := at(then + k); !math.IsNaN(v) && then+k < today {
					pool = append(pool, v)
				}
			}
		}
		if len(pool) < 30 {
			continue
		}
		slices.Sort(pool)
		q := func(x float64) float64 { return pool[int(x*float64(len(pool)-1)+0.5)] }
		p.Low[i], p.Mid[i], p.High[i] = q(0.1), q(0.5), q(0.9)
	}
	if l := f.Limits; l != nil {
		p.Limits = []chart.Limit{{M3s: l.CareM3s, Name: "care"}, {M3s: l.BetterNotM3s, Name: "better not"}, {M3s: l.KeepOutM3s, Name: "keep out"}}
	}
	return p, years
}
