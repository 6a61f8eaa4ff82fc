package api

import (
	"context"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"example.org/eclose/forecast"
)

type landingAnswer struct {
	onlyJSON
	Title       string `json:"title"`
	Description string `json:"description"`
	Links       []link `json:"links"`
	Frame
}

func (s *service) landing(context.Context, *struct{}) (*one[landingAnswer], error) {
	const openapi = "application/openapi+json" // as huma serves it
	return &one[landingAnswer]{landingAnswer{Title: "Eclose", Description: "When river insects hatch and lay eggs, with the water behind it.", Frame: s.frame(), Links: []link{
		s.link("self", "", "application/json", "This page"),
		s.link("service-desc", "/openapi.json", openapi, "OpenAPI 3.1"),
		s.link("service-desc", "/openapi-3.0.json", openapi, "OpenAPI 3.0"),
		s.link("conformance", "/conformance", "application/json", "Standards"),
		s.link("data", "/collections", "application/json", "Collections"),
		s.link("related", "/rivers", "application/json", "Rivers"),
		s.link("related", "/verdict", "application/json", "Which river and which days"),
		s.link("related", "/scores", "application/json", "How past forecasts did"),
	}}}, nil
}

// classes are the conformance classes of which every requirement is met, each by a test
// of its own (conformance_test.go). OGC's own test suites have not been run. The series
// have the shapes of EDR 1.1, whose classes are not claimed: its core asks for the
// parameters crs and f, and its collections for parameter_names of every collection.
var classes = []string{
	"http://www.opengis.net/spec/ogcapi-common-1/1.0/conf/core",
	"http://www.opengis.net/spec/ogcapi-common-2/1.0/conf/collections",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/core",
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/geojson",
}

type conformanceAnswer struct {
	onlyJSON
	ConformsTo []string `json:"conformsTo"`
}

func (s *service) conformance(context.Context, *struct{}) (*one[conformanceAnswer], error) {
	return &one[conformanceAnswer]{conformanceAnswer{ConformsTo: classes}}, nil
}

// extent is where and when things of a collection are.
type extent struct {
	Spatial struct {
		BBox [][]float64 `json:"bbox"`
		CRS  string      `json:"crs"`
	} `json:"spatial"`
}

// parameter is a kind of value as EDR describes it.
type parameter struct {
	Type        string            `json:"type" enum:"Parameter"`
	Description map[string]string `json:"description"`
	Unit        struct {
		Symbol string `json:"symbol" doc:"UCUM"`
	} `json:"unit"`
	ObservedProperty struct {
		ID    string            `json:"id,omitempty"`
		Label map[string]string `json:"label"`
	} `json:"observedProperty"`
}

// dataQuery is one way in which EDR asks a collection.
type dataQuery struct {
	Link struct {
		Href      string `json:"href"`
		Rel       string `json:"rel"`
		Variables struct {
			QueryType string   `json:"query_type"`
			Formats   []string `json:"output_formats"`
		} `json:"variables"`
	} `json:"link"`
}

type collection struct {
	onlyJSON
	ID          string               `json:"id"`
	Title       string               `json:"title"`
	Description string               `json:"description"`
	ItemType    string               `json:"itemType,omitempty"`
	Extent      extent               `json:"extent"`
	CRS         []string             `json:"crs"`
	Links       []link               `json:"links"`
	DataQueries map[string]dataQuery `json:"data_queries,omitempty"`
	Parameters  map[string]parameter `json:"parameter_names,omitempty"`
	Formats     []string             `json:"output_formats,omitempty"`
}

const crs84 = "http://www.opengis.net/def/crs/OGC/1.3/CRS84"

func (s *service) allCollections() []collection {
	var e extent
	e.Spatial.CRS, e.Spatial.BBox = crs84, [][]float64{s.bounds()}
	make := func(id, title, description string) collection {
		return collection{ID: id, Title: title, Description: description, Extent: e, CRS: []string{crs84}, Links: []link{s.link("self", "/collections/"+id, "application/json", title)}}
	}
	rivers := make("rivers", "Rivers", "The rivers that are forecast, each with its caution in short.")
	windows := make("windows", "Windows", "When each insect group hatches and lays eggs, by the newest forecast of each river.")
	for _, c := range []*collection{&rivers, &windows} {
		c.ItemType = "feature"
		c.Links = append(c.Links, s.link("items", "/collections/"+c.ID+"/items", geoType, c.Title))
	}
	series := make("series", "Water temperature and flow", "Daily series of each river: measured, and forecast with bands. They say nothing about wading.")
	series.Parameters, series.Formats, series.DataQueries = map[string]parameter{}, []string{"CoverageJSON"}, map[string]dataQuery{}
	for _, p := range seriesParameters {
		series.Parameters[p.name] = p.parameter()
	}
	for kind, media := range map[string]string{"locations": geoType, "position": covType} {
		var q dataQuery
		q.Link.Href, q.Link.Rel = s.PublicURL+Root+"/collections/series/"+kind, "data"
		q.Link.Variables.QueryType, q.Link.Variables.Formats = kind, series.Formats
		series.DataQueries[kind] = q
		series.Links = append(series.Links, s.link("data", "/collections/series/"+kind, media, kind))
	}
	slices.SortFunc(series.Links[1:], func(a, b link) int { return strings.Compare(a.Href, b.Href) })
	return []collection{rivers, windows, series}
}

// bounds are the west, south, east and north of all rivers.
func (s *service) bounds() []float64 {
	b := []float64{180, 90, -180, -90}
	for _, r := range s.Data.Rivers() {
		b = []float64{min(b[0], r.Lon), min(b[1], r.Lat), max(b[2], r.Lon), max(b[3], r.Lat)}
	}
	return b
}

type collectionsAnswer struct {
	onlyJSON
	Collections []collection `json:"collections"`
	Links       []link       `json:"links"`
}

func (s *service) collections(context.Context, *struct{}) (*one[collectionsAnswer], error) {
	return &one[collectionsAnswer]{collectionsAnswer{Collections: s.allCollections(), Links: []link{s.link("self", "/collections", "application/json", "Collections")}}}, nil
}

func (s *service) collection(_ context.Context, in *struct {
	Collection string `path:"collection" maxLength:"100" example:"rivers"`
}) (*one[collection], error) {
	for _, c := range s.allCollections() {
		if c.ID == in.Collection {
			return &one[collection]{c}, nil
		}
	}
	return nil, huma.Error404NotFound("the collections are rivers, windows and series")
}

// Area narrows features by place and time.
type Area struct {
	BBox     []float64 `query:"bbox" minItems:"4" maxItems:"6" doc:"west,south,east,north in degrees; with heights, which are not looked at, six numbers" example:"[-132,44,-130,46]"`
	Datetime string    `query:"datetime" maxLength:"100" doc:"a time or an interval such as 2026-05-01T00:00:00Z/.. ; what has no time always matches" example:"2026-05-01T00:00:00Z/.."`
}

// within reads the area: which places lie in it, and the first and last day.
func (a Area) within() (in func(lat, lon float64) bool, from, to forecast.Date, err error) {
	in, from, to = func(float64, float64) bool { return true }, -1<<30, 1<<30
	if b := a.BBox; len(b) > 0 {
		if len(b) == 6 {
			b = []float64{b[0], b[1], b[3], b[4]}
		}
		if len(b) != 4 || slices.ContainsFunc(a.BBox, func(v float64) bool { return math.IsNaN(v) || math.IsInf(v, 0) }) || b[1] > b[3] {
			return nil, 0, 0, badParameter("query.bbox: west,south,east,north, or six numbers with heights")
		}
		in = func(lat, lon float64) bool {
			east := lon >= b[0] && lon <= b[2]
			if b[0] > b[2] { // over the antimeridian
				east = lon >= b[0] || lon <= b[2]
			}
			return east && lat >= b[1] && lat <= b[3]
		}
	}
	if a.Datetime != "" {
		first, last, interval := strings.Cut(a.Datetime, "/")
		if !interval {
			last = first
		}
		if from, err = boundOf(first, from); err == nil {
			to, err = boundOf(last, to)
		}
		if err != nil || to < from || strings.Trim(a.Datetime, "./") == "" {
			return nil, 0, 0, badParameter("query.datetime: a time such as 2026-05-01T00:00:00Z, or two with a slash; .. for an open end")
		}
	}
	return in, from, to, nil
}

func boundOf(text string, open forecast.Date) (forecast.Date, error) {
	if text == "" || text == ".." {
		return open, nil
	}
	if t, err := time.Parse(time.RFC3339, text); err == nil {
		return forecast.DateOf(t.UTC()), nil
	}
	var d forecast.Date
	return d, d.UnmarshalText([]byte(text))
}

func (s *service) riverItems(ctx context.Context, in *struct {
	Area
	Paging
}) (*one[featureCollection], error) {
	inside, _, _, err := in.within()
	if err != nil {
		return nil, err
	}
	all, err := s.allRivers(ctx, func(r forecast.River) bool { return inside(r.Lat, r.Lon) })
	if err != nil {
		return nil, err
	}
	in.accept = geoType
	return &one[featureCollection]{page(s, in.Paging, all, nil).Body.body().geo()}, nil
}

type featureAnswer struct {
	onlyGeo
	Feature
	Links []link `json:"links"`
}

func (s *service) featureOf(f featured, collection string) *one[featureAnswer] {
	a := featureAnswer{Feature: f.feature()}
	a.Properties["standing_caution"], a.Properties["attribution"] = forecast.StandingCaution, s.Credits
	a.Links = []link{s.link("self", "/collections/"+collection+"/items/"+a.ID, geoType, ""), s.link("collection", "/collections/"+collection, "application/json", "")}
	return &one[featureAnswer]{a}
}

func (s *service) riverItem(ctx context.Context, in *ByRiver) (*one[featureAnswer], error) {
	r, st, err := s.state(ctx, in.River)
	if err != nil {
		return nil, err
	}
	return s.featureOf(s.riverOf(r, st), "rivers"), nil
}

// placedWindow is a window with the caution of its river.
type placedWindow struct {
	WindowRow
	CautionBrief
}

func (w placedWindow) feature() Feature {
	f := w.WindowRow.feature()
	f.Properties = members(w)
	return f
}

// allWindows lists the windows of the newest forecasts that keep holds for.
func (s *service) allWindows(ctx context.Context, keep func(forecast.River, *forecast.StageOutlook) bool) ([]placedWindow, error) {
	var out []placedWindow
	for _, r := range s.Data.Rivers() {
		_, st, err := s.state(ctx, r.Slug)
		if err != nil {
			return nil, err
		}
		if st == nil || st.Outlook == nil {
			continue
		}
		c := s.cautionOf(r, st).brief()
		for i := range st.Outlook.Stages {
			if x := &st.Outlook.Stages[i]; keep(r, x) {
				out = append(out, placedWindow{windowOf(st.Outlook, x), c})
			}
		}
	}
	return out, nil
}

func (s *service) windowItems(ctx context.Context, in *struct {
	Area
	StageChoice
	Paging
	River string `query:"river" maxLength:"100" doc:"only this river"`
}) (*one[featureCollection], error) {
	inside, from, to, err := in.within()
	if err != nil {
		return nil, err
	}
	all, err := s.allWindows(ctx, func(r forecast.River, x *forecast.StageOutlook) bool {
		w := x.Window
		return (in.River == "" || in.River == r.Slug) && inside(r.Lat, r.Lon) && in.has(x) && (w.Start.P50 == 0 || w.Start.P50 <= to && w.End.P50 >= from)
	})
	if err != nil {
		return nil, err
	}
	in.accept = geoType
	return &one[featureCollection]{page(s, in.Paging, all, nil).Body.body().geo()}, nil
}

func (s *service) windowItem(ctx context.Context, in *struct {
	Window string `path:"window" maxLength:"200" doc:"river, group and stage with dots between" example:"wend.salmonfly.emergence"`
}) (*one[featureAnswer], error) {
	all, err := s.allWindows(ctx, func(r forecast.River, x *forecast.StageOutlook) bool {
		return in.Window == r.Slug+"."+x.Group+"."+string(x.Stage)
	})
	if err != nil {
		return nil, err
	}
	if i := slices.IndexFunc(all, func(w placedWindow) bool { return w.Window == in.Window }); i >= 0 {
		return s.featureOf(all[i], "windows"), nil
	}
	return nil, huma.Error404NotFound("unknown window; see " + Root + "/collections/windows/items")
}
