package api

import (
	"encoding/json"
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"slices"
	"strings"
	"testing"

	"github.com/pb33f/libopenapi"
	validator "github.com/pb33f/libopenapi-validator"
	"pgregory.net/rapid"
)

// described is the API with its own document as the judge of its answers. The judge is
// libopenapi, which has no code in common with what makes the document.
func described(t *testing.T) (*world, validator.Validator, libopenapi.Document) {
	t.Helper()
	w := newWorld(t, nil)
	doc, err := libopenapi.NewDocument(w.get(Root + "/openapi.json").Body.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	v, errs := validator.NewValidator(doc)
	if len(errs) > 0 {
		t.Fatal(errs)
	}
	return w, v, doc
}

func TestTheOpenAPIDocumentIsValid(t *testing.T) {
	_, v, doc := described(t)
	if doc.GetVersion() != "3.1.0" {
		t.Errorf("OpenAPI %s", doc.GetVersion())
	}
	if ok, errs := v.ValidateDocument(); !ok {
		for _, e := range errs {
			t.Errorf("%s: %s %v", e.Message, e.Reason, e.SchemaValidationErrors)
		}
	}
}

// judge asks for an address and holds the answer against the document.
func judge(w *world, v validator.Validator, address string, accept string) (*httptest.ResponseRecorder, error) {
	r := httptest.NewRequest(http.MethodGet, "http://rivers.example.org"+address, nil)
	if accept != "" {
		r.Header.Set("Accept", accept)
	}
	a := httptest.NewRecorder()
	w.ServeHTTP(a, r)
	if a.Code >= 500 {
		return a, fmt.Errorf("%s: %d %s", address, a.Code, a.Body)
	}
	if faults := w.formatFaults(address, a); len(faults) > 0 {
		return a, fmt.Errorf("%s, Accept %q: %d %s: %v", address, accept, a.Code, a.Header().Get("Content-Type"), faults)
	}
	if a.Header().Get("Content-Type") == csvType {
		return a, nil // to the validator it is a string
	}
	res := a.Result()
	r = r.Clone(r.Context()) // the document describes the ends of paths in words
	for end := range suffixes {
		r.URL.Path = strings.TrimSuffix(r.URL.Path, end)
	}
	if ok, errs := v.ValidateHttpResponse(r, res); !ok {
		var why []string
		for _, e := range errs {
			why = append(why, e.Message+": "+e.Reason)
			for _, x := range e.SchemaValidationErrors {
				why = append(why, fmt.Sprintf("%s at %s", x.Reason, x.FieldPath))
			}
		}
		return a, fmt.Errorf("%s, Accept %q: %d %s: %s", address, accept, a.Code, a.Header().Get("Content-Type"), strings.Join(why, "; "))
	}
	return a, nil
}

// operations lists the paths of the document with their parameters.
func operations(t *testing.T, w *world) (paths []string, queries map[string][]string) {
	t.Helper()
	var document struct {
		Paths map[string]struct {
			Get struct{ Parameters []struct{ Name, In string } }
		}
	}
	if err := json.Unmarshal(w.get(Root+"/openapi.json").Body.Bytes(), &document); err != nil {
		t.Fatal(err)
	}
	queries = map[string][]string{}
	for path, item := range document.Paths {
		paths = append(paths, path)
		for _, p := range item.Get.Parameters {
			if p.In == "query" {
				queries[path] = append(queries[path], p.Name)
			}
		}
	}
	slices.Sort(paths)
	if len(paths) < 20 {
		t.Fatalf("only %d operations", len(paths))
	}
	return paths, queries
}

var good = map[string][]string{
	"{river}": {"wend", "garrow", "dry"}, "{issue}": {"latest", "2026-05-08T19:00:00Z"}, "{collection}": {"rivers", "windows", "series"}, "{window}": {"wend.salmonfly.emergence"},
	"limit": {"1", "3", "1000"}, "offset": {"0", "2", "5000"}, "from": {"2026-05-01", "2026-05-01T00:00:00Z"}, "to": {"2026-06-01", "2026-06-01T00:00:00Z"}, "group": {"salmonfly", "skwala"}, "stage": {"emergence", "egg-laying"},
	"bbox": {"-132,44,-130,46", "-180,-90,180,90", "-132,44,0,-130,46,900"}, "datetime": {"2026-05-01T00:00:00Z/..", "2026-05-20"}, "coords": {"POINT(-131.4 45.2)"}, "parameter-name": {"water_p50,flow_p90", "flow_observed"}, "days": {"1", "14", "60"}, "river": {"wend"},
}

func TestEveryAnswerMatchesTheDocument(t *testing.T) {
	w, v, _ := described(t)
	paths, _ := operations(t, w)
	for _, path := range paths {
		address := path
		for _, name := range []string{"{river}", "{issue}", "{collection}", "{window}"} {
			address = strings.ReplaceAll(address, name, good[name][0])
		}
		if strings.HasSuffix(path, "/position") {
			address += "?coords=" + url.QueryEscape(good["coords"][0])
		}
		for _, accept := range []string{"", "application/json", geoType, csvType} {
			a, err := judge(w, v, address, accept)
			if err != nil || a.Code != http.StatusOK {
				t.Errorf("%d, %v", a.Code, err)
			}
		}
	}
	for _, wrong := range []string{"/rivers/nowhere", "/rivers?limit=many", "/rivers?limit=0", "/rivers?colour=red", "/rivers/wend/forecasts/never", "/collections/none", "/collections/windows/items/none"} {
		if a, err := judge(w, v, Root+wrong, ""); err != nil || a.Code < 400 {
			t.Errorf("%s: %d, %v", wrong, a.Code, err)
		}
	}
	// The judge finds an answer that does not match.
	r := httptest.NewRequest(http.MethodGet, "http://rivers.example.org"+Root+"/conformance", nil)
	res := &http.Response{StatusCode: 200, Header: http.Header{"Content-Type": {"application/json"}}, Body: http.NoBody, Request: r}
	if ok, _ := v.ValidateHttpResponse(r, res); ok {
		t.Error("an empty answer passes for a list of standards")
	}
}

// Whatever is asked, nothing fails inside, every answer matches the document, and none
// lacks the caution's text where it lists anything of a river.
func TestAnyRequestGetsAnAnswerThatMatchesTheDocument(t *testing.T) {
	w, v, _ := described(t)
	paths, queries := operations(t, w)
	value := func(r *rapid.T, name string) string {
		return rapid.OneOf(rapid.SampledFrom(good[name]), rapid.String(), rapid.StringMatching(`[-0-9,./:TZ]{0,24}`), rapid.SampledFrom([]string{"", "-1", "99999999999999999999", "NaN", "..", "/", "'", "\x00", "2026-02-30", "POINT(0 0)", "POINT(1e309 2)"})).Draw(r, name)
	}
	codes, kinds := map[int]int{}, map[string]int{}
	rapid.Check(t, func(r *rapid.T) {
		path := rapid.SampledFrom(paths).Draw(r, "path")
		address := path
		for _, name := range []string{"{river}", "{issue}", "{collection}", "{window}"} {
			if strings.Contains(address, name) {
				x := value(r, name)
				if x == "" || x == "." || x == ".." || strings.ContainsAny(x, `/\`) { // another address
					x = good[name][0]
				}
				address = strings.ReplaceAll(address, name, url.PathEscape(x))
			}
		}
		q := url.Values{}
		for _, name := range queries[path] {
			if rapid.Bool().Draw(r, "with "+name) {
				q.Add(name, value(r, name))
			}
		}
		if rapid.IntRange(0, 9).Draw(r, "odd") == 0 {
			q.Add(rapid.StringMatching(`[a-z]{1,8}`).Draw(r, "unknown"), "x")
		}
		if len(q) > 0 {
			address += "?" + q.Encode()
		}
		if suffix := rapid.SampledFrom([]string{"", ".json", ".csv", ".csv", ".geojson"}).Draw(r, "suffix"); suffix != "" {
			bare, query, asked := strings.Cut(address, "?")
			if address = bare + suffix; asked {
				address += "?" + query
			}
		}
		accept := rapid.SampledFrom([]string{"", "application/json", csvType, geoType, "text/html;q=0.9,*/*;q=0.8", ";;;q=,"}).Draw(r, "accept")
		a, err := judge(w, v, address, accept)
		if err != nil {
			r.Fatal(err)
		}
		codes[a.Code]++
		kinds[a.Header().Get("Content-Type")]++
		if !slices.Contains([]int{200, 400, 404}, a.Code) {
			r.Fatalf("%s: %d", address, a.Code)
		}
		lists := !strings.HasPrefix(a.Header().Get("Content-Type"), csvType) || strings.Count(a.Body.String(), "\n") > 1 // a CSV without rows lists nothing
		if a.Code == 200 && lists && strings.Contains(path, "river") && !strings.Contains(a.Body.String(), "This is an insect forecast, not a wading forecast.") {
			r.Fatalf("%s lacks the caution: %.300s", address, a.Body)
		}
	})
	t.Logf("%v, %v", codes, kinds)
	if !testing.Short() && (codes[200] < 10 || codes[400] < 10) {
		t.Errorf("the requests were not of all kinds: %v", codes)
	}
}
