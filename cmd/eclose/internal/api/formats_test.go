package api

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

// formatFaults holds an answer against what the OpenAPI document says of its CSV, against
// RFC 7946 and against RFC 9457.
func (w *world) formatFaults(address string, a *httptest.ResponseRecorder) []string {
	switch kind := a.Header().Get("Content-Type"); {
	case a.Code >= 400:
		return problemFaults(a)
	case kind == csvType:
		return w.csvFaults(address, a.Body.String())
	case kind == geoType:
		return geoFaults(a.Body.Bytes())
	}
	return nil
}

// documented reads the columns of CSV from the document, once.
func (w *world) documented() map[string][]column {
	if w.columns != nil {
		return w.columns
	}
	var document struct {
		Paths map[string]struct {
			Get struct {
				Responses map[string]struct {
					Content map[string]struct {
						Schema struct {
							Type    string
							Columns []column `json:"x-columns"`
						}
					}
				}
			}
		}
	}
	w.columns = map[string][]column{}
	if json.Unmarshal(w.get(Root+"/openapi.json").Body.Bytes(), &document) == nil {
		for path, x := range document.Paths {
			if c := x.Get.Responses["200"].Content[csvType].Schema.Columns; len(c) > 0 {
				w.columns[path] = c
			}
		}
	}
	return w.columns
}

func (w *world) csvFaults(address, body string) (out []string) {
	path, _, _ := strings.Cut(address, "?")
	parts := strings.Split(strings.TrimSuffix(path, ".csv"), "/")
	for i, name := range map[int]string{4: "{river}", 6: "{issue}"} { // /api/v1/rivers/{river}/forecasts/{issue}/...
		if len(parts) > i {
			parts[i] = name
		}
	}
	columns := w.documented()[strings.Join(parts, "/")]
	if columns == nil {
		return []string{"the document has no columns for " + strings.Join(parts, "/")}
	}
	r := csv.NewReader(strings.NewReader(body)) // it also holds each row to as many fields as the head has
	rows, err := r.ReadAll()
	if err != nil || len(rows) == 0 {
		return []string{fmt.Sprintf("%d rows, %v", len(rows), err)}
	}
	names := make([]string, len(columns))
	for i, c := range columns {
		names[i] = c.Name
	}
	if !slices.Equal(rows[0], names) {
		return []string{fmt.Sprintf("the head is %v, the document says %v", rows[0], names)}
	}
	for k, row := range rows[1:] {
		for i, c := range columns {
			if fault := c.fault(row[i]); fault != "" {
				out = append(out, fmt.Sprintf("row %d, %s: %q %s", k+1, c.Name, row[i], fault))
			}
		}
	}
	return out
}

// fault says why a field cannot be what its column says.
func (c column) fault(text string) string {
	if text == "" {
		if !c.Nullable && c.Type != "string" {
			return "is empty"
		}
		return ""
	}
	var err error
	switch c.Type {
	case "integer":
		_, err = strconv.ParseInt(text, 10, 64)
	case "number":
		var v float64
		if v, err = strconv.ParseFloat(text, 64); err == nil && (math.IsNaN(v) || math.IsInf(v, 0)) {
			return "is no number"
		}
	case "boolean":
		if text != "true" && text != "false" {
			return "is not true or false"
		}
	case "string":
		switch c.Format {
		case "date":
			_, err = time.Parse(time.DateOnly, text)
		case "date-time":
			_, err = time.Parse(time.RFC3339, text)
		}
		if len(c.Enum) > 0 && !slices.Contains(c.Enum, any(text)) {
			return fmt.Sprintf("is not of %v", c.Enum)
		}
	default:
		return "has a column of type " + c.Type
	}
	if err != nil {
		return err.Error()
	}
	return ""
}

// geoFaults are the rules of RFC 7946 for what we serve, by their sections: collections
// and features of points.
func geoFaults(b []byte) (out []string) {
	fault := func(section, format string, args ...any) {
		out = append(out, "RFC 7946, "+section+": "+fmt.Sprintf(format, args...))
	}
	var top map[string]any
	if err := json.Unmarshal(b, &top); err != nil {
		return []string{err.Error()}
	}
	has := func(o map[string]any, where, section string, not ...string) {
		for _, name := range not {
			if _, ok := o[name]; ok {
				fault(section, "%s has a member %q", where, name)
			}
		}
	}
	feature := func(where string, f map[string]any) {
		has(f, where, "7.1", "coordinates", "geometries", "features")
		has(f, where, "4", "crs")
		if f["type"] != "Feature" {
			fault("3.2", "%s is a %v", where, f["type"])
		}
		switch id := f["id"].(type) {
		case nil, string, float64:
		default:
			fault("3.2", "%s has an id of %T", where, id)
		}
		if p, ok := f["properties"]; !ok || p != nil && !isObject(p) {
			fault("3.2", "%s has no properties", where)
		}
		g, ok := f["geometry"].(map[string]any)
		if !ok {
			if g, there := f["geometry"]; !there || g != nil {
				fault("3.2", "%s has no geometry", where)
			}
			return
		}
		has(g, where+"'s geometry", "7.1", "geometry", "properties", "features")
		at, _ := g["coordinates"].([]any)
		if g["type"] != "Point" || len(at) < 2 || len(at) > 3 {
			fault("3.1.2", "%s is at %v", where, g)
			return
		}
		for i, limit := range []float64{180, 90} { // longitude first
			if v, ok := at[i].(float64); !ok || math.Abs(v) > limit {
				fault("4", "%s lies at %v", where, at)
			}
		}
	}
	switch top["type"] {
	case "FeatureCollection":
		has(top, "the collection", "7.1", "coordinates", "geometries", "geometry", "properties")
		has(top, "the collection", "4", "crs")
		all, ok := top["features"].([]any)
		if !ok {
			fault("3.3", "features is %T", top["features"])
		}
		ids := map[any]bool{}
		for i, x := range all {
			f, ok := x.(map[string]any)
			if !ok {
				fault("3.3", "feature %d is %T", i, x)
				continue
			}
			feature(fmt.Sprintf("feature %d", i), f)
			if ids[f["id"]] {
				fault("3.2", "two features are %v", f["id"])
			}
			ids[f["id"]] = true
		}
	case "Feature":
		feature("the feature", top)
	default:
		fault("1.4", "type is %v", top["type"])
	}
	return out
}

func isObject(v any) bool { _, ok := v.(map[string]any); return ok }

// problemFaults are the rules of RFC 9457, section 3.
func problemFaults(a *httptest.ResponseRecorder) (out []string) {
	var p map[string]any
	if err := json.Unmarshal(a.Body.Bytes(), &p); err != nil {
		return []string{err.Error()}
	}
	if kind := a.Header().Get("Content-Type"); kind != "application/problem+json" {
		out = append(out, "a problem as "+kind)
	}
	if p["status"] != float64(a.Code) || p["title"] != http.StatusText(a.Code) {
		out = append(out, fmt.Sprintf("status %v and title %v for %d", p["status"], p["title"], a.Code))
	}
	if d, _ := p["detail"].(string); d == "" || strings.Contains(d, "goroutine") || strings.Contains(d, ".go:") || strings.Contains(d, "SQL") {
		out = append(out, fmt.Sprintf("detail %q", d))
	}
	for _, name := range []string{"type", "instance"} {
		if v, ok := p[name]; ok {
			if s, isText := v.(string); !isText {
				out = append(out, name+" is no string")
			} else if _, err := url.Parse(s); err != nil {
				out = append(out, err.Error())
			}
		}
	}
	return out
}

// The columns that the document gives for CSV are those that it gives for the items of the
// same list as JSON, with the caution behind them; and the judges find what is wrong.
func TestTheDocumentSaysWhatTheColumnsAre(t *testing.T) {
	w := newWorld(t, nil)
	var document struct {
		Paths map[string]struct {
			Get struct {
				Responses map[string]struct {
					Content map[string]struct {
						Schema struct {
							Ref string `json:"$ref"`
						}
					}
				}
			}
		}
		Components struct {
			Schemas map[string]struct {
				Properties map[string]struct {
					Type   any
					Format string
					Items  struct {
						Ref string `json:"$ref"`
					}
				}
			}
		}
	}
	if err := json.Unmarshal(w.get(Root+"/openapi.json").Body.Bytes(), &document); err != nil {
		t.Fatal(err)
	}
	schema := func(ref string) string { return ref[strings.LastIndex(ref, "/")+1:] }
	all := w.documented()
	if len(all) < 8 {
		t.Fatalf("%d lists have columns", len(all))
	}
	for path, columns := range all {
		of := document.Components.Schemas[schema(document.Paths[path].Get.Responses["200"].Content["application/json"].Schema.Ref)].Properties["items"].Items.Ref
		items := document.Components.Schemas[schema(of)].Properties
		seen := 0
		for _, c := range columns {
			p, ok := items[c.Name]
			if !ok {
				if !strings.Contains(c.Name, "caution") {
					t.Errorf("%s: the column %s is no member of %s", path, c.Name, of)
				}
				continue
			}
			seen++
			if kind := fmt.Sprint(p.Type); !strings.Contains(kind, c.Type) || c.Nullable && c.Type != "string" && !strings.Contains(kind, "null") || p.Format != c.Format && (c.Format == "date" || c.Format == "date-time") {
				t.Errorf("%s, %s: %s %s as CSV, %v %s as JSON", path, c.Name, c.Type, c.Format, p.Type, p.Format)
			}
		}
		if seen != len(items) || columns[len(columns)-1].Name != "standing_caution" {
			t.Errorf("%s: %d of %d members are columns, the last is %s", path, seen, len(items), columns[len(columns)-1].Name)
		}
	}
	good := w.get(Root + "/rivers/wend/forecasts/latest/water.csv").Body.String()
	for what, bad := range map[string]string{
		"a name": strings.Replace(good, "p50_c", "p51_c", 1), "a number": strings.Replace(good, ",11.", ",eleven.", 1), "a date": strings.Replace(good, "2026-", "26-", 1), "a boolean": strings.Replace(good, ",false,", ",no,", 1), "a missing field": strings.Replace(good, "2026-04-20,", "", 1),
	} {
		if bad == good || len(w.csvFaults(Root+"/rivers/wend/forecasts/latest/water.csv", bad)) == 0 {
			t.Errorf("%s that is wrong passes", what)
		}
	}
	feature := w.get(Root + "/rivers.geojson").Body.String()
	for what, bad := range map[string]string{
		"3.1.2": strings.Replace(feature, `"Point"`, `"Pont"`, 1), "4": strings.Replace(feature, "[-131.4,", "[-1314,", 1), "3.3": strings.Replace(feature, `"features":[`, `"features":[5,`, 1), "3.2": strings.Replace(feature, `"properties"`, `"property"`, 1), "7.1": strings.Replace(feature, `"geometry"`, `"coordinates":[1,2],"geometry"`, 1), "1.4": strings.Replace(feature, "FeatureCollection", "FeatureList", 1), "4, crs": strings.Replace(feature, `"features"`, `"crs":{},"features"`, 1),
	} {
		if faults := geoFaults([]byte(bad)); bad == feature || len(faults) == 0 {
			t.Errorf("section %s: what breaks it passes", what)
		}
	}
}

// Every answer that is not 200 is a problem of RFC 9457, from before and behind the
// operations alike.
func TestEachFaultIsAProblem(t *testing.T) {
	w := newWorld(t, func(o *Options) { o.PerSecond = 4 })
	codes := map[int]bool{}
	check := func(method, path string) {
		t.Helper()
		a := httptest.NewRecorder()
		w.ServeHTTP(a, httptest.NewRequest(method, path, nil))
		if a.Code < 400 {
			return
		}
		codes[a.Code] = true
		if faults := problemFaults(a); len(faults) > 0 {
			t.Errorf("%s %s: %v in %s", method, path, faults, a.Body)
		}
	}
	check(http.MethodGet, Root+"/nothing")
	check(http.MethodGet, "/api/v2/rivers")
	check(http.MethodGet, Root+"/rivers?limit=0")
	check(http.MethodGet, Root+"/rivers?limit="+strings.Repeat("1", 5000))
	check(http.MethodPost, Root+"/rivers")
	for _, path := range []string{"/rivers/nowhere", "/rivers?colour=red", "/rivers/wend/forecasts/never", "/collections/none", "/collections/rivers/items?bbox=1,2", "/collections/rivers/items?bbox=1,2,3,4,5", "/collections/rivers/items?bbox=a,b,c,d", "/collections/series/position", "/verdict?group=unicorn"} {
		check(http.MethodGet, Root+path)
	}
	for range 40 {
		check(http.MethodGet, Root+"/conformance")
	}
	broken := newWorld(t, func(o *Options) { o.Issues = brokenIssues{o.Issues} })
	a := broken.get(Root + "/rivers/wend/forecasts")
	if faults := problemFaults(a); a.Code != 500 || len(faults) > 0 || strings.Contains(a.Body.String(), "/var/lib") {
		t.Errorf("%d %v in %s", a.Code, faults, a.Body)
	}
	for _, code := range []int{400, 404, 405, 414, 429} {
		if !codes[code] {
			t.Errorf("no fault was a %d: %v", code, codes)
		}
	}
}
