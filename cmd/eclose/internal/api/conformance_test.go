package api

import (
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"net/url"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast"
)

// requirements are those of each conformance class that we claim, from the texts of the
// standards: OGC API Common Part 1 (19-072), clause 7; Common Part 2 (20-024), requirements
// class collections; Features Part 1 (17-069r4), clauses 7 and 8.
var requirements = map[string][]string{
	"http://www.opengis.net/spec/ogcapi-common-1/1.0/conf/core": {
		"common-1/req/core/http", "common-1/req/core/query-param-name-unknown", "common-1/req/core/query-param-value-invalid", "common-1/req/core/query-param-capitalization", "common-1/req/core/query-param-list-delimiter",
	},
	"http://www.opengis.net/spec/ogcapi-common-2/1.0/conf/collections": {
		"common-2/req/collections/collections-list-op", "common-2/req/collections/collections-list-success", "common-2/req/collections/collections-list-links", "common-2/req/collections/collections-list-collections",
		"common-2/req/collections/description-op", "common-2/req/collections/description-success", "common-2/req/collections/description-links", "common-2/req/collections/description-extent", "common-2/req/collections/description-extent-multi",
	},
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/core": {
		"features-1/req/core/root-op", "features-1/req/core/root-success", "features-1/req/core/api-definition-op", "features-1/req/core/api-definition-success", "features-1/req/core/conformance-op", "features-1/req/core/conformance-success",
		"features-1/req/core/http", "features-1/req/core/query-param-unknown", "features-1/req/core/query-param-invalid", "features-1/req/core/crs84", "features-1/req/core/fc-md-op", "features-1/req/core/fc-md-success", "features-1/req/core/fc-md-links",
		"features-1/req/core/fc-md-items", "features-1/req/core/fc-md-items-links", "features-1/req/core/fc-md-extent", "features-1/req/core/fc-md-extent-multi", "features-1/req/core/sfc-md-op", "features-1/req/core/sfc-md-success",
		"features-1/req/core/fc-op", "features-1/req/core/fc-limit-definition", "features-1/req/core/fc-limit-response-1", "features-1/req/core/fc-bbox-definition", "features-1/req/core/fc-bbox-response", "features-1/req/core/fc-time-definition", "features-1/req/core/fc-time-response",
		"features-1/req/core/fc-response", "features-1/req/core/fc-links", "features-1/req/core/fc-rel-type", "features-1/req/core/fc-timeStamp", "features-1/req/core/fc-numberMatched", "features-1/req/core/fc-numberReturned", "features-1/req/core/f-op", "features-1/req/core/f-success", "features-1/req/core/f-links",
	},
	"http://www.opengis.net/spec/ogcapi-features-1/1.0/conf/geojson": {"features-1/req/geojson/definition", "features-1/req/geojson/content"},
}

// ogc is the API as a client of OGC API sees it.
type ogc struct {
	*testing.T
	w *world
}

func (o ogc) get(path string) (*httptest.ResponseRecorder, map[string]any) {
	o.Helper()
	a := o.w.get(path)
	if a.Code != http.StatusOK {
		o.Fatalf("%s: %d %s", path, a.Code, a.Body)
	}
	return a, object(o.T, a.Body.Bytes())
}

func (o ogc) code(want int, path string) {
	o.Helper()
	if a := o.w.get(path); a.Code != want {
		o.Errorf("%s: %d, want %d", path, a.Code, want)
	}
}

// links returns the links of an answer, each with rel and type.
func (o ogc) links(in map[string]any) (out []link) {
	o.Helper()
	b, _ := json.Marshal(in["links"])
	if err := json.Unmarshal(b, &out); err != nil || len(out) == 0 {
		o.Fatalf("no links: %v", err)
	}
	for _, l := range out {
		if l.Rel == "" || l.Type == "" || l.Href == "" {
			o.Errorf("a link lacks rel, type or href: %+v", l)
		}
	}
	return out
}

// leads asks for the first link of a relation and holds its media type to be that of the
// answer.
func (o ogc) leads(links []link, rel string) *httptest.ResponseRecorder {
	o.Helper()
	i := slices.IndexFunc(links, func(l link) bool { return l.Rel == rel })
	if i < 0 {
		o.Fatalf("no link %q among %+v", rel, links)
	}
	a := o.w.get(strings.TrimPrefix(links[i].Href, "http://rivers.example.org"))
	kind, _, _ := strings.Cut(a.Header().Get("Content-Type"), ";")
	if a.Code != http.StatusOK || kind != links[i].Type {
		o.Errorf("%s leads to %d %s, and says %s", links[i].Href, a.Code, kind, links[i].Type)
	}
	return a
}

func (o ogc) collections() (out []map[string]any) {
	o.Helper()
	_, all := o.get(Root + "/collections")
	for _, c := range all["collections"].([]any) {
		out = append(out, c.(map[string]any))
	}
	return out
}

// featureCollections are the collections that have items.
func (o ogc) featureCollections() (ids []string) {
	o.Helper()
	for _, c := range o.collections() {
		if c["itemType"] == "feature" {
			ids = append(ids, c["id"].(string))
		}
	}
	if len(ids) != 2 {
		o.Fatalf("%v have features", ids)
	}
	return ids
}

func (o ogc) features(query string) (all []map[string]any, answer map[string]any) {
	o.Helper()
	_, answer = o.get(Root + "/collections/" + query)
	for _, f := range answer["features"].([]any) {
		all = append(all, f.(map[string]any))
	}
	return all, answer
}

// parameter is what the OpenAPI document says of a parameter of an operation.
func (o ogc) parameter(path, name string) (out struct {
	In       string
	Required bool
	Explode  *bool
	Style    string
	Schema   struct {
		Type             any
		Minimum, Maximum *float64
		Default          any
		MinItems         *int
		MaxItems         *int
		Items            struct{ Type any }
	}
}) {
	o.Helper()
	var document struct {
		Paths map[string]struct {
			Get struct{ Parameters []json.RawMessage }
		}
	}
	if err := json.Unmarshal(o.w.get(Root+"/openapi.json").Body.Bytes(), &document); err != nil {
		o.Fatal(err)
	}
	for _, p := range document.Paths[path].Get.Parameters {
		var named struct{ Name string }
		if json.Unmarshal(p, &named) == nil && named.Name == name {
			if err := json.Unmarshal(p, &out); err != nil {
				o.Fatal(err)
			}
			if out.In != "query" || out.Required || out.Style != "" && out.Style != "form" || out.Explode != nil && *out.Explode && out.Schema.Type == "array" {
				o.Errorf("%s of %s: %+v", name, path, out)
			}
			return out
		}
	}
	o.Fatalf("%s has no parameter %s", path, name)
	return out
}

// http11 asks over a connection: the other checks call the handler.
func http11(o ogc) {
	server := httptest.NewServer(o.w)
	defer server.Close()
	res, err := http.Get(server.URL + Root)
	if err != nil {
		o.Fatal(err)
	}
	res.Body.Close()
	if res.ProtoMajor != 1 || res.ProtoMinor != 1 || res.StatusCode != http.StatusOK || res.Header.Get("Date") == "" {
		o.Errorf("%s %s", res.Proto, res.Status)
	}
}

func unknownParameter(o ogc) {
	for _, path := range []string{"", "/conformance", "/collections", "/collections/rivers", "/collections/rivers/items", "/collections/windows/items", "/collections/rivers/items/wend", "/collections/series/locations/wend"} {
		o.code(http.StatusBadRequest, Root+path+"?unknown=1")
	}
}

func invalidParameter(o ogc) {
	for _, q := range []string{"limit=0", "limit=x", "limit=10001", "bbox=1,2,3", "bbox=1,2,3,4,5", "bbox=1,2,3,4,5,6,7", "bbox=a,2,3,4", "bbox=0,5,1,4", "datetime=x", "datetime=../..", "datetime=/", "datetime=..", "datetime=2026-05-02T00:00:00Z/2026-05-01T00:00:00Z", "datetime=2026-05-01T00:00:00Z/2026-05-02T00:00:00Z/2026-05-03T00:00:00Z"} {
		for _, c := range o.featureCollections() {
			o.code(http.StatusBadRequest, Root+"/collections/"+c+"/items?"+q)
		}
	}
}

func collectionsAreListed(o ogc) {
	_, all := o.get(Root + "/collections")
	self := o.leads(o.links(all), "self")
	if !reflect.DeepEqual(object(o.T, self.Body.Bytes()), all) {
		o.Error("self is another answer")
	}
	ids := map[string]bool{}
	for _, c := range o.collections() {
		ids[c["id"].(string)] = true
		if c["id"] == "" || c["links"] == nil {
			o.Errorf("%v", c)
		}
	}
	if len(ids) != 3 || !ids["rivers"] || !ids["windows"] || !ids["series"] {
		o.Errorf("%v", ids)
	}
}

func collectionIsAsListed(o ogc) {
	for _, c := range o.collections() {
		a := o.leads(o.links(c), "self")
		if !reflect.DeepEqual(object(o.T, a.Body.Bytes()), c) {
			o.Errorf("%s differs from what the list says", c["id"])
		}
	}
	o.code(http.StatusNotFound, Root+"/collections/none")
}

// extentsHold looks that the boxes include all geometries.
func extentsHold(o ogc) {
	for _, c := range o.collections() {
		spatial := c["extent"].(map[string]any)["spatial"].(map[string]any)
		box := spatial["bbox"].([]any)[0].([]any)
		if spatial["crs"] != crs84 || len(box) != 4 {
			o.Errorf("%s: %v", c["id"], spatial)
		}
		if c["itemType"] != "feature" {
			continue
		}
		features, _ := o.features(c["id"].(string) + "/items?limit=1000")
		for _, f := range features {
			at := f["geometry"].(map[string]any)["coordinates"].([]any)
			x, y := at[0].(float64), at[1].(float64)
			if x < box[0].(float64) || y < box[1].(float64) || x > box[2].(float64) || y > box[3].(float64) {
				o.Errorf("%v lies outside %v", f["id"], box)
			}
		}
	}
}

// onlyOneBox: the first box must include the others; there is one only.
func onlyOneBox(o ogc) {
	for _, c := range o.collections() {
		if n := len(c["extent"].(map[string]any)["spatial"].(map[string]any)["bbox"].([]any)); n != 1 {
			o.Errorf("%s has %d boxes", c["id"], n)
		}
	}
}

func bboxSelects(o ogc) {
	for _, c := range o.featureCollections() {
		all, _ := o.features(c + "/items?limit=1000")
		for _, box := range [][4]float64{{-132, 45.1, -131.2, 46}, {-131.2, 44, -131, 44.9}, {0, 0, 1, 1}, {170, -90, -131.3, 90}, {-180, -90, 180, 90}} {
			got := map[any]bool{}
			// Six numbers have heights, in the third and sixth place.
			for _, q := range []string{fmt.Sprintf("%g,%g,%g,%g", box[0], box[1], box[2], box[3]), fmt.Sprintf("%g,%g,-5,%g,%g,9000", box[0], box[1], box[2], box[3])} {
				some, _ := o.features(c + "/items?limit=1000&bbox=" + q)
				for _, f := range some {
					got[f["id"]] = true
				}
				for _, f := range all {
					at := f["geometry"].(map[string]any)["coordinates"].([]any)
					x, y := at[0].(float64), at[1].(float64)
					in := x >= box[0] && x <= box[2]
					if box[0] > box[2] {
						in = x >= box[0] || x <= box[2]
					}
					if in = in && y >= box[1] && y <= box[3]; in != got[f["id"]] {
						o.Errorf("%v at %v, box %v: found %v", f["id"], at, box, got[f["id"]])
					}
				}
			}
		}
	}
}

func timeSelects(o ogc) {
	all, _ := o.features("windows/items?limit=1000")
	timeless := 0
	for _, x := range []struct{ query, from, to string }{{"2026-05-20T12:00:00Z", "2026-05-20", "2026-05-20"}, {"2026-05-01T00:00:00Z/2026-05-31T00:00:00Z", "2026-05-01", "2026-05-31"}, {"../2026-03-01T00:00:00Z", "0000", "2026-03-01"}, {"/2026-03-01T00:00:00Z", "0000", "2026-03-01"}, {"2026-09-01T00:00:00Z/..", "2026-09-01", "9999"}, {"2026-09-01T00:00:00Z/", "2026-09-01", "9999"}, {"1999-01-01T00:00:00Z", "1999-01-01", "1999-01-01"}} {
		got := map[any]bool{}
		some, _ := o.features("windows/items?limit=1000&datetime=" + url.QueryEscape(x.query))
		for _, f := range some {
			got[f["id"]] = true
		}
		for _, f := range all {
			p := f["properties"].(map[string]any)
			start, has := p["start_p50"].(string)
			end, _ := p["end_p50"].(string)
			want := !has || start <= x.to && end >= x.from // what has no time always matches
			if !has {
				timeless++
			}
			if got[f["id"]] != want {
				o.Errorf("%v, %s to %s, asked for %s: found %v", f["id"], start, end, x.query, got[f["id"]])
			}
		}
	}
	if rivers, _ := o.features("rivers/items?datetime=1999-01-01T00:00:00Z"); len(rivers) != 3 {
		o.Errorf("of rivers, which have no time, %d match", len(rivers))
	}
	if timeless == 0 {
		o.Error("no window is without a time, so the rule for them is not looked at")
	}
}

func pagesHold(o ogc) {
	for _, c := range o.featureCollections() {
		all, whole := o.features(c + "/items?limit=1000")
		some, first := o.features(c + "/items?limit=2")
		if len(some) != 2 || first["numberReturned"] != 2.0 || first["numberMatched"] != float64(len(all)) || whole["numberMatched"] != float64(len(all)) || whole["numberReturned"] != float64(len(all)) {
			o.Errorf("%s: %d of %d; %v and %v", c, len(some), len(all), first["numberMatched"], whole["numberReturned"])
		}
		a := o.leads(o.links(first), "next")
		next := object(o.T, a.Body.Bytes())["features"].([]any)[0].(map[string]any)
		if next["id"] != all[2]["id"] {
			o.Errorf("%s: next begins with %v, want %v", c, next["id"], all[2]["id"])
		}
		if _, stamped := whole["timeStamp"]; stamped {
			o.Errorf("%s has a timeStamp, which must then be that of the answer", c)
		}
	}
}

func collectionLinks(o ogc) {
	for _, c := range o.featureCollections() {
		_, answer := o.features(c + "/items?limit=1")
		links := o.links(answer)
		if self := object(o.T, o.leads(links, "self").Body.Bytes()); fmt.Sprint(self["features"]) != fmt.Sprint(answer["features"]) {
			o.Errorf("%s: self is another answer", c)
		}
		// There is one encoding, whatever is asked for, so that no alternate is missing.
		for _, accept := range []string{"application/json", csvType, "text/html", geoType} {
			if a := o.w.get(Root+"/collections/"+c+"/items", "Accept", accept); a.Header().Get("Content-Type") != geoType {
				o.Errorf("%s as %s: %s", c, accept, a.Header().Get("Content-Type"))
			}
		}
	}
}

func featuresAreThemselves(o ogc) {
	for _, c := range o.featureCollections() {
		all, _ := o.features(c + "/items?limit=5")
		for _, f := range all {
			a, again := o.get(Root + "/collections/" + c + "/items/" + url.PathEscape(f["id"].(string)))
			if again["type"] != "Feature" || again["id"] != f["id"] || !reflect.DeepEqual(again["geometry"], f["geometry"]) || a.Header().Get("Content-Type") != geoType {
				o.Errorf("%s %v: %v", c, f["id"], again)
			}
			links := o.links(again)
			o.leads(links, "self")
			if object(o.T, o.leads(links, "collection").Body.Bytes())["id"] != c {
				o.Errorf("%v is not of %s", f["id"], c)
			}
		}
		o.code(http.StatusNotFound, Root+"/collections/"+c+"/items/none")
	}
}

// checks hold each requirement, by its name.
var checks = map[string]func(ogc){
	"common-1/req/core/http": http11, "features-1/req/core/http": http11,
	"common-1/req/core/query-param-name-unknown": unknownParameter, "features-1/req/core/query-param-unknown": unknownParameter,
	"common-1/req/core/query-param-value-invalid": invalidParameter, "features-1/req/core/query-param-invalid": invalidParameter,
	"common-1/req/core/query-param-capitalization": func(o ogc) { // names and values are case sensitive
		o.code(http.StatusBadRequest, Root+"/collections/rivers/items?LIMIT=1")
		o.code(http.StatusBadRequest, Root+"/collections/windows/items?stage=EMERGENCE")
		o.code(http.StatusNotFound, Root+"/collections/RIVERS")
	},
	"common-1/req/core/query-param-list-delimiter": func(o ogc) { // a comma
		_, c := o.get(Root + "/collections/series/locations/wend?parameter-name=water_p50,flow_p50")
		if len(c["ranges"].(map[string]any)) != 2 {
			o.Errorf("%v", c["ranges"])
		}
		o.code(http.StatusBadRequest, Root+"/collections/series/locations/wend?parameter-name=water_p50;flow_p50")
		o.code(http.StatusBadRequest, Root+"/collections/rivers/items?bbox="+url.QueryEscape("-132 44 -130 46"))
	},
	"common-2/req/collections/collections-list-op": collectionsAreListed, "common-2/req/collections/collections-list-success": collectionsAreListed, "common-2/req/collections/collections-list-links": collectionsAreListed, "common-2/req/collections/collections-list-collections": collectionsAreListed,
	"common-2/req/collections/description-op": collectionIsAsListed, "common-2/req/collections/description-success": collectionIsAsListed, "common-2/req/collections/description-links": collectionIsAsListed, "common-2/req/collections/description-extent": extentsHold, "common-2/req/collections/description-extent-multi": onlyOneBox,
	"features-1/req/core/root-op": func(o ogc) { o.code(http.StatusOK, Root); o.code(http.StatusOK, Root+"/") },
	"features-1/req/core/root-success": func(o ogc) {
		_, landing := o.get(Root)
		links := o.links(landing)
		for _, rel := range []string{"service-desc", "conformance", "data"} {
			o.leads(links, rel)
		}
	},
	"features-1/req/core/api-definition-op": func(o ogc) {
		_, landing := o.get(Root)
		for _, l := range o.links(landing) {
			if l.Rel == "service-desc" {
				o.leads([]link{l}, "service-desc")
			}
		}
	},
	"features-1/req/core/api-definition-success": func(o ogc) { // what is sent is what its media type says
		_, landing := o.get(Root)
		if v := object(o.T, o.leads(o.links(landing), "service-desc").Body.Bytes())["openapi"]; v != "3.1.0" {
			o.Errorf("OpenAPI %v", v)
		}
	},
	"features-1/req/core/conformance-op": func(o ogc) { o.code(http.StatusOK, Root+"/conformance") },
	"features-1/req/core/conformance-success": func(o ogc) {
		_, c := o.get(Root + "/conformance")
		if n := len(c["conformsTo"].([]any)); n != len(classes) {
			o.Errorf("%d classes", n)
		}
	},
	"features-1/req/core/crs84": func(o ogc) { // longitude, then latitude, whatever is asked for
		all, _ := o.features("rivers/items")
		at := all[0]["geometry"].(map[string]any)["coordinates"].([]any)
		if all[0]["id"] != "wend" || at[0] != -131.4 || at[1] != 45.2 || math.Abs(at[0].(float64)) <= 90 {
			o.Errorf("%v at %v", all[0]["id"], at)
		}
	},
	"features-1/req/core/fc-md-op": collectionsAreListed, "features-1/req/core/fc-md-success": collectionsAreListed, "features-1/req/core/fc-md-links": collectionsAreListed, "features-1/req/core/fc-md-items": collectionsAreListed,
	"features-1/req/core/fc-md-items-links": func(o ogc) {
		for _, c := range o.collections() {
			if c["itemType"] == "feature" {
				o.leads(o.links(c), "items")
			}
		}
	},
	"features-1/req/core/fc-md-extent": extentsHold, "features-1/req/core/fc-md-extent-multi": onlyOneBox, "features-1/req/core/sfc-md-op": collectionIsAsListed, "features-1/req/core/sfc-md-success": collectionIsAsListed,
	"features-1/req/core/fc-op": func(o ogc) {
		for _, c := range o.featureCollections() {
			o.code(http.StatusOK, Root+"/collections/"+c+"/items")
		}
	},
	"features-1/req/core/fc-limit-definition": func(o ogc) {
		for _, c := range o.featureCollections() {
			p := o.parameter(Root+"/collections/"+c+"/items", "limit").Schema
			if p.Type != "integer" || p.Minimum == nil || *p.Minimum != 1 || p.Maximum == nil || *p.Maximum > 10000 || p.Default == nil {
				o.Errorf("%+v", p)
			}
		}
	},
	"features-1/req/core/fc-limit-response-1": pagesHold,
	"features-1/req/core/fc-bbox-definition": func(o ogc) {
		for _, c := range o.featureCollections() {
			p := o.parameter(Root+"/collections/"+c+"/items", "bbox").Schema
			if !strings.Contains(fmt.Sprint(p.Type), "array") || p.Items.Type != "number" || p.MinItems == nil || *p.MinItems != 4 || p.MaxItems == nil || *p.MaxItems != 6 {
				o.Errorf("%+v", p)
			}
		}
	},
	"features-1/req/core/fc-bbox-response": bboxSelects,
	"features-1/req/core/fc-time-definition": func(o ogc) {
		for _, c := range o.featureCollections() {
			if p := o.parameter(Root+"/collections/"+c+"/items", "datetime").Schema; p.Type != "string" {
				o.Errorf("%+v", p)
			}
		}
	},
	"features-1/req/core/fc-time-response": timeSelects,
	"features-1/req/core/fc-response": func(o ogc) { // what is found is what every condition holds for
		some, _ := o.features("windows/items?limit=1000&bbox=-132,45.1,-131.2,46&datetime=2026-05-20T00:00:00Z&stage=emergence")
		for _, f := range some {
			if p := f["properties"].(map[string]any); p["river"] != "wend" || p["stage"] != "emergence" || p["start_p50"] != nil && (p["start_p50"].(string) > "2026-05-20" || p["end_p50"].(string) < "2026-05-20") {
				o.Errorf("%v", f["id"])
			}
		}
		if len(some) == 0 {
			o.Error("nothing is found")
		}
	},
	"features-1/req/core/fc-links": collectionLinks, "features-1/req/core/fc-rel-type": collectionLinks, "features-1/req/core/fc-timeStamp": pagesHold, "features-1/req/core/fc-numberMatched": pagesHold, "features-1/req/core/fc-numberReturned": pagesHold,
	"features-1/req/core/f-op": featuresAreThemselves, "features-1/req/core/f-success": featuresAreThemselves, "features-1/req/core/f-links": featuresAreThemselves,
	"features-1/req/geojson/definition": func(o ogc) {
		for path, kind := range map[string]string{"": "application/json", "/conformance": "application/json", "/collections": "application/json", "/collections/rivers": "application/json", "/collections/rivers/items": geoType, "/collections/windows/items": geoType, "/collections/rivers/items/wend": geoType} {
			if a, _ := o.get(Root + path); a.Header().Get("Content-Type") != kind {
				o.Errorf("%s is %s", path, a.Header().Get("Content-Type"))
			}
		}
	},
	"features-1/req/geojson/content": func(o ogc) {
		for _, path := range []string{"/collections/rivers/items", "/collections/windows/items?limit=1000", "/collections/rivers/items/wend", "/collections/series/locations"} {
			a, answer := o.get(Root + path)
			if faults := geoFaults(a.Body.Bytes()); len(faults) > 0 || answer["links"] == nil {
				o.Errorf("%s: %v", path, faults)
			}
		}
	},
}

// Each class that is claimed has its requirements here, and each requirement its check;
// the classes of EDR, which we do not meet in full, are not claimed.
func TestEachRequirementOfTheClaimedClassesIsMet(t *testing.T) {
	w := newWorld(t, nil)
	st, _ := w.memory.State(t.Context(), "garrow")
	changed, o := *st, *st.Outlook
	o.Stages = slices.Clone(o.Stages)
	o.Stages[0].Window = forecast.Window{} // a window without a time
	changed.Outlook = &o
	w.memory.Put("garrow", &changed)
	w.now = noon.Add(time.Minute)
	var claimed struct{ ConformsTo []string }
	if err := json.Unmarshal(w.get(Root+"/conformance").Body.Bytes(), &claimed); err != nil {
		t.Fatal(err)
	}
	for _, class := range claimed.ConformsTo {
		if len(requirements[class]) == 0 {
			t.Errorf("%s is claimed and its requirements are not known here", class)
		}
		for _, id := range requirements[class] {
			check := checks[id]
			if check == nil {
				t.Errorf("%s has no check", id)
				continue
			}
			t.Run(id, func(t *testing.T) { check(ogc{t, w}) })
		}
	}
	if len(claimed.ConformsTo) != len(requirements) {
		t.Errorf("%d classes are claimed, %d are checked", len(claimed.ConformsTo), len(requirements))
	}
	// The core of EDR asks for the parameter crs; as long as it is refused nothing of EDR may be claimed.
	if a := w.get(Root + "/collections/series/locations/wend?crs=CRS84"); a.Code != http.StatusBadRequest || slices.ContainsFunc(claimed.ConformsTo, func(c string) bool { return strings.Contains(c, "/ogcapi-edr") }) {
		t.Errorf("EDR is claimed, or could be: %d, %v", a.Code, claimed.ConformsTo)
	}
}

// Where no first day is asked for a series begins thirty days before the issue, in each of
// its forms; where one is asked for it begins there.
func TestASeriesBeginsThirtyDaysBeforeTheIssue(t *testing.T) {
	w := newWorld(t, nil)
	for issue, first := range map[string]string{"latest": "2026-04-18", "2026-05-08T19:00:00Z": "2026-04-08"} { // of 18 and 8 May
		for _, what := range []string{"water", "flow"} {
			path := Root + "/rivers/wend/forecasts/" + issue + "/" + what
			list := object(t, w.get(path+"?limit=1000").Body.Bytes())["items"].([]any)
			if d := list[0].(map[string]any)["day"]; d != first {
				t.Errorf("%s begins on %v, want %s", path, d, first)
			}
			if rows := strings.Split(w.get(path+".csv?limit=1").Body.String(), "\n"); !strings.HasPrefix(rows[1], first+",") {
				t.Errorf("%s.csv begins with %.40s, want %s", path, rows[1], first)
			}
			list = object(t, w.get(path+"?limit=1000&from=2026-03-01").Body.Bytes())["items"].([]any)
			if d := list[0].(map[string]any)["day"]; d != "2026-03-01" {
				t.Errorf("%s from 1 March begins on %v", path, d)
			}
		}
	}
	for _, path := range []string{"/collections/series/locations/wend", "/collections/series/position?coords=POINT(-131.4%2045.2)"} {
		days := object(t, w.get(Root+path).Body.Bytes())["domain"].(map[string]any)["axes"].(map[string]any)["t"].(map[string]any)["values"].([]any)
		if days[0] != "2026-04-18" {
			t.Errorf("%s begins on %v", path, days[0])
		}
	}
}
