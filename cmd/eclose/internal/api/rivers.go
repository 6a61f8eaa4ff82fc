package api

import (
	"context"
	"time"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
)

// RiverRow is a river as lists and maps have it.
type RiverRow struct {
	River      string     `json:"river" doc:"short name, as in addresses"`
	RiverName  string     `json:"river_name"`
	Lat        float64    `json:"lat" doc:"degrees north"`
	Lon        float64    `json:"lon" doc:"degrees east"`
	Zone       string     `json:"zone" doc:"IANA time zone"`
	Region     string     `json:"region,omitempty" doc:"of the insect catalogue"`
	Regulated  bool       `json:"regulated" doc:"below a dam: it can rise without warning"`
	IssuedAt   *time.Time `json:"issued_at" doc:"of the newest forecast; null: there is none yet"`
	DataCutoff *time.Time `json:"data_cutoff" doc:"time of the newest reading behind that forecast"`
	FlowM3s    *float64   `json:"flow_m3s" doc:"last reading, taken at caution_reading_at or before; it says nothing about wading by itself"`
	WaterC     *float64   `json:"water_c" doc:"last reading of water temperature"`
	CautionBrief
}

func (r RiverRow) feature() Feature {
	return Feature{Type: "Feature", ID: r.River, Geometry: pointAt(r.Lat, r.Lon), Properties: members(r)}
}

func (s *service) riverOf(r forecast.River, st *pages.State) RiverRow {
	c := s.cautionOf(r, st)
	x := RiverRow{River: r.Slug, RiverName: r.Name, Lat: r.Lat, Lon: r.Lon, Zone: r.Zone, Region: r.Region, Regulated: r.Regulated, CautionBrief: c.brief()}
	if c.Flow != nil {
		x.FlowM3s = &c.Flow.Value
	}
	if c.Water != nil {
		x.WaterC = &c.Water.Value
	}
	if st != nil && st.Outlook != nil {
		x.IssuedAt, x.DataCutoff = given(st.Outlook.IssuedAt), given(st.Outlook.DataCutoff)
	}
	return x
}

// allRivers lists every river that keep holds for.
func (s *service) allRivers(ctx context.Context, keep func(forecast.River) bool) ([]RiverRow, error) {
	var out []RiverRow
	for _, r := range s.Data.Rivers() {
		if !keep(r) {
			continue
		}
		_, st, err := s.state(ctx, r.Slug)
		if err != nil {
			return nil, err
		}
		out = append(out, s.riverOf(r, st))
	}
	return out, nil
}

func (s *service) rivers(ctx context.Context, in *struct{ Paging }) (*paged[RiverRow], error) {
	all, err := s.allRivers(ctx, func(forecast.River) bool { return true })
	if err != nil {
		return nil, err
	}
	return page(s, in.Paging, all, nil), nil
}

type riverAnswer struct {
	onlyJSON
	RiverRow
	Caution *caution `json:"caution_in_full"`
	Links   []link   `json:"links"`
	Frame
}

func (s *service) river(ctx context.Context, in *ByRiver) (*one[riverAnswer], error) {
	r, st, err := s.state(ctx, in.River)
	if err != nil {
		return nil, err
	}
	at := "/rivers/" + r.Slug
	return &one[riverAnswer]{riverAnswer{RiverRow: s.riverOf(r, st), Caution: s.cautionOf(r, st), Frame: s.frame(), Links: []link{
		s.link("self", at, "application/json", ""),
		s.link("related", at+"/caution", "application/json", "Wading caution"),
		s.link("related", at+"/verdict", "application/json", "Which days"),
		s.link("related", at+"/forecasts", "application/json", "Issued forecasts"),
		s.link("related", at+"/forecasts/latest/windows", "application/json", "Windows of the newest forecast"),
		s.link("related", at+"/forecasts/latest/water", "application/json", "Water temperature"),
		s.link("related", at+"/forecasts/latest/flow", "application/json", "Flow"),
		s.link("related", at+"/scores", "application/json", "How forecasts of flow did here"),
	}}}, nil
}
