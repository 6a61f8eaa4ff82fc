package api

import (
	"context"
	"fmt"
	"math"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
)

// waterDay is one day of water temperature, °C.
type waterDay struct {
	Day         string   `json:"day" format:"date"`
	ObservedC   *float64 `json:"observed_c" doc:"measured daily mean as it is known now; null: not measured, not trusted or still to come"`
	P10C        float64  `json:"p10_c" doc:"daily mean, 10 % point over members"`
	P50C        float64  `json:"p50_c"`
	P90C        float64  `json:"p90_c"`
	MaxP50C     float64  `json:"max_p50_c" doc:"warmest hour of the day"`
	MaxP90C     float64  `json:"max_p90_c"`
	Climatology *float64 `json:"climatology_c" doc:"mean of past seasons on this date"`
}

// flowDay is one day of flow at the gauge, m³/s.
type flowDay struct {
	Day       string   `json:"day" format:"date"`
	Observed  *float64 `json:"observed_m3s" doc:"measured daily mean as it is known now; null: not measured or still to come"`
	P05       *float64 `json:"p05_m3s" doc:"daily mean, modelled, 5 % point over members; null: not forecast. It says nothing about wading"`
	P10       *float64 `json:"p10_m3s"`
	P25       *float64 `json:"p25_m3s"`
	P50       *float64 `json:"p50_m3s"`
	P75       *float64 `json:"p75_m3s"`
	P90       *float64 `json:"p90_m3s"`
	P95       *float64 `json:"p95_m3s"`
	PFishable *float64 `json:"p_fishable" doc:"chance of a flow within the range that the owner of this installation fishes at"`
}

// daysBack is how much of the past a series shows where no first day is asked for.
// Our own default.
const daysBack = 30

type seriesAsked struct {
	ByIssue
	DayRange
	Paging
}

// seriesOf lists the days that are asked for of one forecast, beside what is known of
// its river now.
func seriesOf[D any](ctx context.Context, s *service, in *seriesAsked, days func(o *forecast.Outlook, st *pages.State, from, to forecast.Date) []D) (*paged[D], error) {
	o, c, err := s.outlook(ctx, in.ByIssue)
	if err != nil {
		return nil, err
	}
	from, to, err := in.days(o.IssueDate() - daysBack)
	if err != nil {
		return nil, err
	}
	st, err := s.Data.State(ctx, o.River)
	if err != nil {
		return nil, err
	}
	if st, err = st.Whole(ctx); err != nil {
		return nil, fmt.Errorf("reading the newest forecast of %s: %w", o.River, err)
	}
	return page(s, in.Paging, days(o, st, from, to), c), nil
}

func (s *service) water(ctx context.Context, in *seriesAsked) (*paged[waterDay], error) {
	return seriesOf(ctx, s, in, waterDays)
}

func waterDays(o *forecast.Outlook, st *pages.State, from, to forecast.Date) (out []waterDay) {
	measured := map[forecast.Date]*float64{}
	if st != nil && st.Outlook != nil { // the newest forecast knows what came since an older one
		for _, d := range st.Outlook.Water {
			measured[d.Date] = d.Observed
		}
	}
	for _, d := range o.Water {
		if d.Date < from || d.Date > to {
			continue
		}
		x := waterDay{d.Date.String(), d.Observed, d.P10, d.P50, d.P90, d.MaxP50, d.MaxP90, d.Climatology}
		if x.ObservedC == nil {
			x.ObservedC = measured[d.Date]
		}
		out = append(out, x)
	}
	return out
}

func (s *service) flow(ctx context.Context, in *seriesAsked) (*paged[flowDay], error) {
	return seriesOf(ctx, s, in, flowDays)
}

func flowDays(o *forecast.Outlook, st *pages.State, from, to forecast.Date) (out []flowDay) {
	first, last := forecast.Date(1<<30), forecast.Date(0)
	observed := func(forecast.Date) *float64 { return nil }
	if st != nil && st.Flows != nil && len(st.Flows.M3s) > 0 {
		f := st.Flows
		first, last = f.Day0, f.Day0+forecast.Date(len(f.M3s)-1)
		observed = func(d forecast.Date) *float64 {
			if d < f.Day0 || d > f.Day0+forecast.Date(len(f.M3s)-1) || math.IsNaN(f.M3s[d-f.Day0]) {
				return nil
			}
			q := math.Round(1e4*f.M3s[d-f.Day0]) / 1e4
			return &q
		}
	}
	if o.Flow != nil && len(o.Flow.Days) > 0 {
		first, last = min(first, o.Flow.Days[0].Date), max(last, o.Flow.Days[len(o.Flow.Days)-1].Date)
	}
	for d := max(first, from); d <= min(last, to); d++ {
		x := flowDay{Day: d.String(), Observed: observed(d)}
		f, ok := o.Flow.On(d)
		if ok {
			x.P05, x.P10, x.P25, x.P50, x.P75, x.P90, x.P95, x.PFishable = &f.P05, &f.P10, &f.P25, &f.P50, &f.P75, &f.P90, &f.P95, f.Fishable
		}
		if ok || x.Observed != nil {
			out = append(out, x)
		}
	}
	return out
}
