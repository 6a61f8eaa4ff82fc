package api

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest"
)

// seriesParameter is one column of the series.
type seriesParameter struct {
	name, label, unit, standard string // unit in UCUM; standard name of the CF conventions
	water                       func(waterDay) *float64
	flow                        func(flowDay) *float64
}

const waterName = "water temperature, daily mean"

var seriesParameters = []seriesParameter{
	{"water_observed", waterName + ", measured", "Cel", "water_temperature", func(d waterDay) *float64 { return d.ObservedC }, nil},
	{"water_p10", waterName + ", 10 % point", "Cel", "water_temperature", func(d waterDay) *float64 { return &d.P10C }, nil},
	{"water_p50", waterName + ", median", "Cel", "water_temperature", func(d waterDay) *float64 { return &d.P50C }, nil},
	{"water_p90", waterName + ", 90 % point", "Cel", "water_temperature", func(d waterDay) *float64 { return &d.P90C }, nil},
	{"flow_observed", "flow, daily mean, measured", "m3/s", "water_volume_transport_in_river_channel", nil, func(d flowDay) *float64 { return d.Observed }},
	{"flow_p10", "flow, daily mean, modelled, 10 % point", "m3/s", "water_volume_transport_in_river_channel", nil, func(d flowDay) *float64 { return d.P10 }},
	{"flow_p50", "flow, daily mean, modelled, median", "m3/s", "water_volume_transport_in_river_channel", nil, func(d flowDay) *float64 { return d.P50 }},
	{"flow_p90", "flow, daily mean, modelled, 90 % point", "m3/s", "water_volume_transport_in_river_channel", nil, func(d flowDay) *float64 { return d.P90 }},
}

func (p seriesParameter) parameter() parameter {
	x := parameter{Type: "Parameter", Description: map[string]string{"en": p.label}}
	x.Unit.Symbol = p.unit
	x.ObservedProperty.ID, x.ObservedProperty.Label = "http://vocab.nerc.ac.uk/standard_name/"+p.standard+"/", map[string]string{"en": p.label}
	return x
}

// coverage is a point series as CoverageJSON (OGC 21-069).
type coverage struct {
	onlyCoverage
	Type   string `json:"type" enum:"Coverage"`
	ID     string `json:"id"`
	Domain struct {
		Type       string `json:"type" enum:"Domain"`
		DomainType string `json:"domainType" enum:"PointSeries"`
		Axes       struct {
			X axis[float64] `json:"x"`
			Y axis[float64] `json:"y"`
			T axis[string]  `json:"t"`
		} `json:"axes"`
		Referencing []referencing `json:"referencing"`
	} `json:"domain"`
	Parameters map[string]parameter `json:"parameters"`
	Ranges     map[string]ndArray   `json:"ranges"`
	Caution    *caution             `json:"eclose:caution"`
	Frame
}

type axis[T any] struct {
	Values []T `json:"values"`
}

type referencing struct {
	Coordinates []string `json:"coordinates"`
	System      struct {
		Type     string `json:"type"`
		ID       string `json:"id,omitempty"`
		Calendar string `json:"calendar,omitempty"`
	} `json:"system"`
}

type ndArray struct {
	Type      string     `json:"type" enum:"NdArray"`
	DataType  string     `json:"dataType" enum:"float"`
	AxisNames []string   `json:"axisNames"`
	Shape     []int      `json:"shape"`
	Values    []*float64 `json:"values"`
}

// onlyCoverage is onlyJSON for CoverageJSON.
type onlyCoverage struct{}

// ContentType is asked by huma.
func (onlyCoverage) ContentType(string) string { return covType }

// SeriesChoice narrows a series as EDR does.
type SeriesChoice struct {
	Datetime   string   `query:"datetime" maxLength:"100" doc:"a time or an interval such as 2026-05-01T00:00:00Z/.. ; without it from 30 days before the issue on"`
	Parameters []string `query:"parameter-name" maxItems:"20" doc:"only these parameters, with commas" example:"water_p50,flow_p50"`
}

func (s *service) seriesOf(ctx context.Context, r forecast.River, st *pages.State, in SeriesChoice) (*one[coverage], error) {
	st, err := st.Whole(ctx)
	if err != nil {
		return nil, fmt.Errorf("reading the newest forecast of %s: %w", r.Slug, err)
	}
	if st == nil || st.Outlook == nil {
		return nil, huma.Error404NotFound("no forecast of this river has been issued yet")
	}
	o := st.Outlook
	_, from, to, err := Area{Datetime: in.Datetime}.within()
	if err != nil {
		return nil, err
	}
	if in.Datetime == "" {
		from = o.IssueDate() - daysBack
	}
	for _, name := range in.Parameters {
		if !slices.ContainsFunc(seriesParameters, func(p seriesParameter) bool { return p.name == name }) {
			return nil, badParameter("query.parameter-name: unknown parameter %q", name)
		}
	}
	water, flow := waterDays(o, st, from, to), flowDays(o, st, from, to)
	at := map[string]int{}
	var days []string
	note := func(day string) {
		if _, ok := at[day]; !ok {
			at[day] = 0
			days = append(days, day)
		}
	}
	for _, d := range water {
		note(d.Day)
	}
	for _, d := range flow {
		note(d.Day)
	}
	slices.Sort(days)
	c := coverage{Type: "Coverage", ID: r.Slug, Parameters: map[string]parameter{}, Ranges: map[string]ndArray{}, Caution: s.cautionOf(r, st), Frame: s.frame()}
	c.Domain.Type, c.Domain.DomainType = "Domain", "PointSeries"
	c.Domain.Axes.X.Values, c.Domain.Axes.Y.Values, c.Domain.Axes.T.Values = []float64{r.Lon}, []float64{r.Lat}, []string{}
	place, clock := referencing{Coordinates: []string{"x", "y"}}, referencing{Coordinates: []string{"t"}}
	place.System.Type, place.System.ID = "GeographicCRS", crs84
	clock.System.Type, clock.System.Calendar = "TemporalRS", "Gregorian"
	c.Domain.Referencing = []referencing{place, clock}
	for i, d := range days {
		at[d] = i
		c.Domain.Axes.T.Values = append(c.Domain.Axes.T.Values, d) // a date of the river's own calendar, without a time
	}
	for _, p := range seriesParameters {
		if len(in.Parameters) > 0 && !slices.Contains(in.Parameters, p.name) {
			continue
		}
		n := ndArray{Type: "NdArray", DataType: "float", AxisNames: []string{"t"}, Shape: []int{len(days)}, Values: make([]*float64, len(days))}
		for _, d := range water {
			if p.water != nil {
				n.Values[at[d.Day]] = p.water(d)
			}
		}
		for _, d := range flow {
			if p.flow != nil {
				n.Values[at[d.Day]] = p.flow(d)
			}
		}
		c.Parameters[p.name], c.Ranges[p.name] = p.parameter(), n
	}
	return &one[coverage]{c}, nil
}

func (s *service) locationSeries(ctx context.Context, in *struct {
	ByRiver
	SeriesChoice
}) (*one[coverage], error) {
	r, st, err := s.state(ctx, in.River)
	if err != nil {
		return nil, err
	}
	return s.seriesOf(ctx, r, st, in.SeriesChoice)
}

// farthest is how far from a point its river may lie, km; our own.
const farthest = 25

func (s *service) positionSeries(ctx context.Context, in *struct {
	Coords string `query:"coords" required:"true" maxLength:"100" doc:"a point as well-known text: longitude, then latitude" example:"POINT(-131.4 45.2)"`
	SeriesChoice
}) (*one[coverage], error) {
	var lon, lat float64
	if n, err := fmt.Sscanf(strings.ToUpper(strings.ReplaceAll(in.Coords, " (", "(")), "POINT(%g %g)", &lon, &lat); err != nil || n != 2 || !(math.Abs(lat) <= 90) || !(math.Abs(lon) <= 360) {
		return nil, badParameter("query.coords: write a point as POINT(longitude latitude)")
	}
	best, km := "", math.Inf(1)
	for _, r := range s.Data.Rivers() {
		if d := ingest.DistanceKm(lat, lon, r.Lat, r.Lon); d < km {
			best, km = r.Slug, d
		}
	}
	if km > farthest {
		return nil, huma.Error404NotFound(fmt.Sprintf("no river within %d km of this point", farthest))
	}
	r, st, err := s.state(ctx, best)
	if err != nil {
		return nil, err
	}
	return s.seriesOf(ctx, r, st, in.SeriesChoice)
}

func (s *service) locations(ctx context.Context, in *struct {
	Area
	Paging
}) (*one[featureCollection], error) {
	return s.riverItems(ctx, in)
}
