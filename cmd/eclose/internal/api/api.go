package api

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/netip"
	"reflect"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"
	"github.com/rs/zerolog"

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/model/insects"
)

// Root is where the API of this version lies. A change that breaks a reader gets
// another root.
const Root = "/api/v1"

// Issues are the outlooks that were issued; archive.Archive is one.
type Issues interface {
	List(ctx context.Context, river string, from, to time.Time) ([]archive.Head, error)
	Load(ctx context.Context, river string, issued time.Time, modelVersion string) (*forecast.Outlook, error)
}

// Options of the API. Data, Catalogue and Now are needed.
type Options struct {
	Data      pages.Data
	Issues    Issues // nil: only the newest outlook of each river
	Catalogue *insects.Catalogue
	Now       func() time.Time
	PublicURL string // root of links; empty: links are paths
	Credits   string // whose data it is
	Notice    string // of the installation's owner; may be empty
	Reports   fs.FS  // folder with scores.csv of a backtest; nil: none
	// PerSecond is how many requests a second one network may make over a while;
	// 0: pages.DefaultPerSecond.
	PerSecond float64
	ClientOf  func(*http.Request) netip.Addr // nil: the other end of the connection
	Log       *zerolog.Logger                // gets why a response failed; nil: no log
}

type service struct {
	Options
	limits *pages.Limiter
	mux    *http.ServeMux
	huma   huma.API
	kept   *kept
}

// burst is how many requests one network may make at once, in seconds of its rate.
// Our own default, that of the pages.
const burst = 5

// New returns the handler of all that lies under /api/.
func New(o Options) (http.Handler, error) {
	if o.Data == nil || o.Catalogue == nil || o.Now == nil {
		return nil, errors.New("api: Data, Catalogue and Now are required")
	}
	if o.PerSecond == 0 {
		o.PerSecond = pages.DefaultPerSecond
	}
	if o.ClientOf == nil {
		o.ClientOf = pages.Remote
	}
	if o.Log == nil {
		none := zerolog.Nop()
		o.Log = &none
	}
	o.PublicURL = strings.TrimSuffix(o.PublicURL, "/")
	s := &service{Options: o, limits: pages.NewLimiter(o.PerSecond, int(o.PerSecond*burst)+1), mux: http.NewServeMux(), kept: newKept(maxKept)}
	config := huma.Config{
		OpenAPI: &huma.OpenAPI{
			OpenAPI: "3.1.0",
			Info: &huma.Info{Title: "Eclose", Version: "1", Description: "When river insects hatch and lay eggs, with the water behind it. Read only. " +
				"Every answer about a river carries its wading caution with an end of validity: past that moment the caution level is unknown. " +
				"Ask for another format with Accept, or add .json, .csv or .geojson to a path. " + forecast.StandingCaution},
			Components: &huma.Components{Schemas: huma.NewMapRegistry("#/components/schemas/", huma.DefaultSchemaNamer)},
		},
		OpenAPIPath:                  Root + "/openapi",
		Formats:                      map[string]huma.Format{"application/json": huma.DefaultJSONFormat, "json": huma.DefaultJSONFormat, csvType: {Marshal: marshalCSV}, geoType: {Marshal: marshalGeo}},
		DefaultFormat:                "application/json",
		RejectUnknownQueryParameters: true, // OGC API - Features - Part 1, requirement 8
	}
	if o.PublicURL != "" {
		config.Servers = []*huma.Server{{URL: o.PublicURL}}
	}
	config.OnAddOperation = []huma.AddOpFunc{func(_ *huma.OpenAPI, op *huma.Operation) { delete(op.Responses, "422") }} // it is a 400: see huma.NewError
	s.huma = humago.New(s.mux, config)
	s.register()
	s.mux.HandleFunc("/", func(w http.ResponseWriter, r *http.Request) {
		refuse(w, http.StatusNotFound, "There is nothing at this address; see "+Root+" and "+Root+"/openapi.json.")
	})
	return s, nil
}

// get registers one operation. formats are those besides JSON.
//
// What is returned is described here: huma compiles 20 kB of code for each pair of
// types that it gets, so it gets one type for all answers.
func get[I any, O interface{ reply() *reply }](s *service, id, path, summary string, formats []string, handle func(context.Context, *I) (O, error)) {
	huma.Register(s.huma, s.operation(id, path, summary, formats, reflect.TypeFor[O]().Elem()), func(ctx context.Context, in *I) (*reply, error) {
		out, err := handle(ctx, in)
		if err != nil {
			s.logFault(ctx, id, err)
			return nil, err
		}
		return out.reply(), nil
	})
}

// operation describes one operation by what its handler returns.
func (s *service) operation(id, path, summary string, formats []string, out reflect.Type) huma.Operation {
	op := huma.Operation{OperationID: id, Method: http.MethodGet, Path: Root + path, Summary: summary,
		Errors: []int{http.StatusBadRequest, http.StatusNotFound, http.StatusTooManyRequests}}
	known := s.huma.OpenAPI().Components.Schemas
	body, _ := out.FieldByName("Body")
	kind := "application/json"
	if f, ok := reflect.TypeAssert[huma.ContentTypeFilter](reflect.New(body.Type)); ok {
		kind = f.ContentType(kind)
	}
	content := map[string]*huma.MediaType{kind: {Schema: known.Schema(body.Type, true, "")}}
	for _, f := range formats {
		content[f] = geoMedia(known)
		if f == csvType { // a list
			items, _ := body.Type.FieldByName("Items")
			content[f] = csvMedia(known, items.Type.Elem(), strings.Contains(path, "{river}"))
		}
	}
	ok := &huma.Response{Description: "OK", Content: content, Headers: map[string]*huma.Header{}}
	if link, paged := out.FieldByName("Link"); paged {
		ok.Headers["Link"] = &huma.Header{Schema: huma.SchemaFromField(known, link, "")}
	}
	op.Responses = map[string]*huma.Response{"200": ok}
	return op
}

// logFault logs what is not the caller's fault.
func (s *service) logFault(ctx context.Context, id string, err error) {
	if !errors.As(err, new(huma.StatusError)) && ctx.Err() == nil {
		s.Log.Error().Err(err).Str("operation", id).Msg("answering a program")
	}
}

func (s *service) register() {
	table, features := []string{csvType}, []string{csvType, geoType}
	get(s, "landing", "", "What there is, with links", nil, s.landing)
	get(s, "conformance", "/conformance", "The standards whose shapes these answers have", nil, s.conformance)
	get(s, "collections", "/collections", "The collections of OGC API Features and EDR", nil, s.collections)
	get(s, "collection", "/collections/{collection}", "One collection", nil, s.collection)
	get(s, "riverItems", "/collections/rivers/items", "Rivers as features", nil, s.riverItems)
	get(s, "riverItem", "/collections/rivers/items/{river}", "One river as a feature", nil, s.riverItem)
	get(s, "windowItems", "/collections/windows/items", "Windows of the newest forecasts as features", nil, s.windowItems)
	get(s, "windowItem", "/collections/windows/items/{window}", "One window as a feature", nil, s.windowItem)
	get(s, "locations", "/collections/series/locations", "Where series are known", nil, s.locations)
	get(s, "locationSeries", "/collections/series/locations/{river}", "Water temperature and flow of a river as CoverageJSON", nil, s.locationSeries)
	get(s, "positionSeries", "/collections/series/position", "The same of the river nearest to a point", nil, s.positionSeries)

	get(s, "rivers", "/rivers", "Rivers, with their caution in short", features, s.rivers)
	get(s, "river", "/rivers/{river}", "One river", nil, s.river)
	get(s, "caution", "/rivers/{river}/caution", "The wading caution as it stands now", nil, s.caution)
	get(s, "verdict", "/verdict", "Which river and which days", nil, s.verdict)
	get(s, "riverVerdict", "/rivers/{river}/verdict", "Which days at one river", nil, s.riverVerdict)
	get(s, "forecasts", "/rivers/{river}/forecasts", "Issued forecasts, newest first", table, s.forecasts)
	get(s, "forecast", "/rivers/{river}/forecasts/{issue}", "One issued forecast: what it rests on", nil, s.forecast)
	get(s, "windows", "/rivers/{river}/forecasts/{issue}/windows", "When each group hatches and lays eggs", features, s.windows)
	get(s, "days", "/rivers/{river}/forecasts/{issue}/days", "Chances by day", table, s.days)
	get(s, "water", "/rivers/{river}/forecasts/{issue}/water", "Water temperature with its bands, and what was measured", table, s.water)
	get(s, "flow", "/rivers/{river}/forecasts/{issue}/flow", "Flow with its bands, and what was measured", table, s.flow)
	get(s, "flowScores", "/rivers/{river}/scores", "How forecasts of flow did at this gauge", table, s.flowScores)
	get(s, "scores", "/scores", "How past forecasts did, from the last backtest of this installation", table, s.scores)
}

// link is a link of RFC 8288 in the members that OGC API uses.
type link struct {
	Href  string `json:"href"`
	Rel   string `json:"rel"`
	Type  string `json:"type,omitempty"`
	Title string `json:"title,omitempty"`
}

func (s *service) link(rel, path, kind, title string) link {
	return link{Href: s.PublicURL + Root + path, Rel: rel, Type: kind, Title: title}
}

// findRiver is a river by its short name.
func (s *service) findRiver(slug string) (forecast.River, error) {
	for _, r := range s.Data.Rivers() {
		if r.Slug == slug {
			return r, nil
		}
	}
	return forecast.River{}, huma.Error404NotFound(fmt.Sprintf("unknown river %q", slug))
}

// state is a river with the newest that is known of it; the state is nil where
// nothing is yet.
func (s *service) state(ctx context.Context, slug string) (forecast.River, *pages.State, error) {
	r, err := s.findRiver(slug)
	if err != nil {
		return r, nil, err
	}
	st, err := s.Data.State(ctx, slug)
	if err != nil {
		return r, nil, fmt.Errorf("reading the state of %s: %w", slug, err)
	}
	return r, st, nil
}
