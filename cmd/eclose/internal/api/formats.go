package api

import (
	"encoding"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"example.org/eclose/forecast"
)

const (
	csvType = "text/csv"
	geoType = "application/geo+json"
	covType = "application/prs.coverage+json"
)

// A column is a column of CSV as the document describes it, in the words of JSON Schema.
type column struct {
	Name     string `json:"name"`
	Type     string `json:"type"`
	Format   string `json:"format,omitempty"`
	Enum     []any  `json:"enum,omitempty"`
	Nullable bool   `json:"nullable,omitempty"` // an empty field is no value
}

// csvMedia describes the rows of a list, which may carry the caution of one river.
func csvMedia(r huma.Registry, item reflect.Type, ofRiver bool) *huma.MediaType {
	columns := columnsOf(r, item)
	if ofRiver {
		columns = append(columns, columnsOf(r, reflect.TypeFor[CautionBrief]())...)
	}
	columns = append(columns, column{Name: "standing_caution", Type: huma.TypeString})
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.Name
	}
	return &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString, Description: "A line of names, then one row each: " + strings.Join(names, ", ") + ". An empty field is no value.",
		Extensions: map[string]any{"x-columns": columns}}}
}

func columnsOf(r huma.Registry, t reflect.Type) (out []column) {
	schema := huma.SchemaFromType(r, t)
	for name, f := range fieldsOf(reflect.New(t).Elem()) {
		p := schema.Properties[name]
		out = append(out, column{Name: name, Type: p.Type, Format: p.Format, Enum: p.Enum, Nullable: f.Kind() == reflect.Pointer || !slices.Contains(schema.Required, name)})
	}
	return out
}

func geoMedia(r huma.Registry) *huma.MediaType {
	return &huma.MediaType{Schema: r.Schema(reflect.TypeFor[featureCollection](), true, "")}
}

// onlyJSON is embedded in answers that have one form.
type onlyJSON struct{}

// ContentType is asked by huma.
func (onlyJSON) ContentType(string) string { return "application/json" }

// list is a page of some things, with what goes with all of them.
type list[T any] struct {
	Items    []T      `json:"items"`
	Matched  int      `json:"number_matched" doc:"on all pages together"`
	Returned int      `json:"number_returned"`
	Links    []link   `json:"links"`
	Caution  *caution `json:"caution,omitempty" doc:"of the river that all items are about"`
	Frame
}

// Frame goes with every answer that speaks of a river.
type Frame struct {
	Standing    string `json:"standing_caution" doc:"to be shown wherever any of this is"`
	Attribution string `json:"attribution" doc:"whose data it is and under which licence"`
	Notice      string `json:"notice,omitempty" doc:"of the owner of this installation"`
}

func (s *service) frame() Frame {
	return Frame{Standing: forecast.StandingCaution, Attribution: s.Credits, Notice: s.Notice}
}

// featured is what has a place.
type featured interface{ feature() Feature }

// ContentType is asked by huma: what has no such form is JSON.
func (l list[T]) ContentType(asked string) string {
	var x T
	switch _, place := any(x).(featured); {
	case asked == geoType && place:
		return geoType
	case asked == csvType:
		return csvType
	}
	return "application/json"
}

// Feature is a feature of RFC 7946; its properties carry the caution, since map
// programs drop what stands beside the features.
type Feature struct {
	Type       string         `json:"type" enum:"Feature"`
	ID         string         `json:"id"`
	Geometry   point          `json:"geometry"`
	Properties map[string]any `json:"properties" doc:"the members of the same thing as JSON"`
}

type point struct {
	Type        string     `json:"type" enum:"Point"`
	Coordinates [2]float64 `json:"coordinates" doc:"longitude, latitude, WGS 84"`
}

func pointAt(lat, lon float64) point { return point{"Point", [2]float64{lon, lat}} }

type featureCollection struct {
	onlyGeo
	Type     string    `json:"type" enum:"FeatureCollection"`
	Features []Feature `json:"features"`
	Matched  int       `json:"numberMatched"`
	Returned int       `json:"numberReturned"`
	Links    []link    `json:"links"`
	Frame
}

// onlyGeo is onlyJSON for features.
type onlyGeo struct{}

// ContentType is asked by huma.
func (onlyGeo) ContentType(string) string { return geoType }

// body is what every list has, whatever its items are: the code that writes the
// other formats is there once, not once for each type.
type body struct {
	items             reflect.Value
	matched, returned int
	links             []link
	caution           *caution
	frame             Frame
}

func (l list[T]) body() body {
	return body{reflect.ValueOf(l.Items), l.Matched, l.Returned, l.Links, l.Caution, l.Frame}
}

func (l body) geo() featureCollection {
	out := featureCollection{Type: "FeatureCollection", Features: []Feature{}, Matched: l.matched, Returned: l.returned, Links: l.links, Frame: l.frame}
	for i := range l.items.Len() {
		f := l.items.Index(i).Interface().(featured).feature()
		f.Properties["standing_caution"] = l.frame.Standing
		if l.caution != nil {
			maps.Copy(f.Properties, l.caution.brief().members())
		}
		out.Features = append(out.Features, f)
	}
	return out
}

func marshalGeo(w io.Writer, v any) error {
	if l, ok := v.(interface{ body() body }); ok {
		v = l.body().geo()
	}
	return json.NewEncoder(w).Encode(v) //nolint:wrapcheck // huma tells it
}

// members are the fields of a flat struct by the names that JSON gives them.
func members(v any) map[string]any {
	out := map[string]any{}
	for name, f := range fieldsOf(reflect.ValueOf(v)) {
		out[name] = f.Interface()
	}
	return out
}

// fieldsOf goes through the fields of a flat struct, those of embedded ones too.
func fieldsOf(v reflect.Value) func(yield func(string, reflect.Value) bool) {
	return func(yield func(string, reflect.Value) bool) {
		for i := range v.NumField() {
			f := v.Type().Field(i)
			if f.Anonymous {
				for name, x := range fieldsOf(v.Field(i)) {
					if !yield(name, x) {
						return
					}
				}
				continue
			}
			if name, _, _ := strings.Cut(f.Tag.Get("json"), ","); name != "" && name != "-" && !yield(name, v.Field(i)) {
				return
			}
		}
	}
}

func marshalCSV(w io.Writer, v any) error {
	l, ok := v.(interface{ body() body })
	if !ok {
		return fmt.Errorf("%T has no form as CSV", v)
	}
	return csv.NewWriter(w).WriteAll(l.body().rows()) //nolint:wrapcheck // huma tells it
}

// rows are the items as CSV, each with the caution of their river.
func (l body) rows() [][]string {
	var head []string
	for name := range fieldsOf(reflect.Zero(l.items.Type().Elem())) {
		head = append(head, name)
	}
	var tail []string
	if l.caution != nil {
		for name, f := range fieldsOf(reflect.ValueOf(l.caution.brief())) {
			head, tail = append(head, name), append(tail, cell(f))
		}
	}
	out := [][]string{append(head, "standing_caution")}
	tail = append(tail, l.frame.Standing)
	for i := range l.items.Len() {
		row := make([]string, 0, len(head)+1)
		for _, f := range fieldsOf(l.items.Index(i)) {
			row = append(row, cell(f))
		}
		out = append(out, append(row, tail...))
	}
	return out
}

// cell is a value as text; nothing is an empty field.
func cell(v reflect.Value) string {
	if v.Kind() == reflect.Pointer {
		if v.IsNil() {
			return ""
		}
		v = v.Elem()
	}
	switch x := v.Interface().(type) {
	case time.Time:
		return x.UTC().Format(time.RFC3339)
	case float64:
		return strconv.FormatFloat(x, 'g', -1, 64)
	case encoding.TextMarshaler:
		b, _ := x.MarshalText() // a date has no fault
		return string(b)
	default:
		return fmt.Sprint(x)
	}
}

// Paging is the part of a long list that is asked for.
type Paging struct {
	Limit  int `query:"limit" minimum:"1" maximum:"1000" default:"100" doc:"how many at most"`
	Offset int `query:"offset" minimum:"0" maximum:"1000000" default:"0" doc:"how many to leave out first; follow the link next instead of counting"`
	self   url.URL
	accept string // the format that is asked for
}

// Resolve keeps the address as it was asked for, its suffix too, for the link to the
// next page.
func (p *Paging) Resolve(ctx huma.Context) []error {
	r, _ := humago.Unwrap(ctx)
	u, err := url.ParseRequestURI(r.RequestURI)
	if err != nil {
		return []error{err}
	}
	p.self, p.accept = url.URL{Path: u.Path, RawQuery: u.RawQuery}, ctx.Header("Accept")
	return nil
}

// reply is what huma gets of any handler; get describes it by the handler's own type.
type reply struct {
	Link string `header:"Link" hidden:"true"`
	Body any
}

func (p *paged[T]) reply() *reply { return &reply{p.Link, p.Body} }
func (o *one[T]) reply() *reply   { return &reply{Body: o.Body} }

// paged is what a handler of a list returns.
type paged[T any] struct {
	Link string `header:"Link" doc:"the next page, as in RFC 8288"`
	Body list[T]
}

// page cuts a list and links to what follows.
func page[T any](s *service, p Paging, all []T, c *caution) *paged[T] {
	at := min(p.Offset, len(all))
	to := min(at+p.Limit, len(all))
	out := &paged[T]{Body: list[T]{Items: append([]T{}, all[at:to]...), Matched: len(all), Returned: to - at, Caution: c, Frame: s.frame()}}
	out.Body.Links, out.Link = s.pageLinks(p, out.Body.ContentType(p.accept), to, len(all))
	return out
}

func (s *service) pageLinks(p Paging, kind string, to, of int) (links []link, header string) {
	links = []link{{Href: s.PublicURL + p.self.RequestURI(), Rel: "self", Type: kind}}
	if to < of {
		q := p.self.Query()
		q.Set("offset", strconv.Itoa(to))
		next := s.PublicURL + (&url.URL{Path: p.self.Path, RawQuery: q.Encode()}).String()
		return append(links, link{Href: next, Rel: "next", Type: kind}), "<" + next + `>; rel="next"`
	}
	return links, ""
}

// one is what a handler of one thing returns.
type one[T any] struct{ Body T }

// badParameter is a fault of the caller.
func badParameter(format string, args ...any) error {
	return huma.NewError(http.StatusBadRequest, fmt.Sprintf(format, args...))
}
