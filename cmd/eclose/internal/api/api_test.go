package api

import (
	"bytes"
	"compress/gzip"
	"encoding/csv"
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

func object(t *testing.T, b []byte) map[string]any {
	t.Helper()
	var out map[string]any
	if err := json.Unmarshal(b, &out); err != nil {
		t.Fatalf("%v in %.500s", err, b)
	}
	return out
}

// Every answer that tells of flow or of the caution carries the standing caution, when
// the reading was taken and until when it counts, as a moment.
func TestEveryAnswerAboutWaterCarriesTheCaution(t *testing.T) {
	w := newWorld(t, nil)
	for _, path := range []string{"/rivers", "/rivers/wend", "/rivers/wend/caution", "/verdict", "/rivers/wend/verdict", "/rivers/wend/forecasts", "/rivers/wend/forecasts/latest", "/rivers/wend/forecasts/latest/windows",
		"/rivers/wend/forecasts/latest/days", "/rivers/wend/forecasts/latest/water", "/rivers/wend/forecasts/latest/flow", "/rivers/wend/forecasts/2026-05-08T19:00:00Z/flow", "/rivers/wend/scores",
		"/collections/rivers/items", "/collections/windows/items", "/collections/series/locations/wend", "/collections/series/position?coords=POINT(-131.4%2045.2)",
		"/rivers.csv", "/rivers.geojson", "/rivers/wend/forecasts/latest/flow.csv", "/rivers/wend/forecasts/latest/water.csv", "/rivers/wend/forecasts/latest/windows.geojson", "/rivers/wend/forecasts/latest/days.csv"} {
		a := w.get(Root + path)
		if a.Code != http.StatusOK {
			t.Errorf("%s: %d %s", path, a.Code, a.Body)
			continue
		}
		contains(t, path, a.Body.String(), "This is an insect forecast, not a wading forecast.", "valid_until", "reading_at", "2026-05-18T18:00:00Z", "Caution level unknown")
	}
	contains(t, "the text", w.get(Root+"/rivers/wend/caution").Body.String(), "treat the river as too high until you have seen it", "Local notices, dam operators, licensed guides and your own eyes overrule this", "Flood Watch")
}

func TestACautionNobodyRenewsIsUnknownAndARiverWithoutOneToo(t *testing.T) {
	w := newWorld(t, nil)
	c := w.known("garrow")
	now := func() map[string]any {
		return object(t, w.get(Root+"/rivers/garrow/caution").Body.Bytes())["caution"].(map[string]any)
	}
	if x := now(); x["known"] != true || x["valid_until"] != c.Until.UTC().Format(time.RFC3339) {
		t.Fatalf("known: %v until %v", x["known"], x["valid_until"])
	}
	level := now()["level_at_least"]
	for _, later := range []time.Duration{20 * time.Minute, 61 * time.Minute} { // nobody judges; the reading is old
		w.now = noon.Add(later)
		if x := now(); x["known"] != false || x["level_at_least"] != level {
			t.Errorf("%v later: known %v, level %v, want unknown and no lower than %v", later, x["known"], x["level_at_least"], level)
		}
	}
	dry := object(t, w.get(Root+"/rivers/dry/caution").Body.Bytes())["caution"].(map[string]any)
	if dry["known"] != false || dry["reading_at"] != nil {
		t.Errorf("a river of which nothing is known: %v, read at %v", dry["known"], dry["reading_at"])
	}
	contains(t, "the list", w.get(Root+"/rivers").Body.String(), `"river":"dry"`)
	for _, row := range object(t, w.get(Root+"/rivers").Body.Bytes())["items"].([]any) {
		if r := row.(map[string]any); r["caution_known"] != false {
			t.Errorf("%v in the list is known", r["river"])
		}
	}
}

func TestFormatsByAcceptAndBySuffix(t *testing.T) {
	w := newWorld(t, nil)
	const path = Root + "/rivers/wend/forecasts/latest/windows"
	for _, x := range []struct{ suffix, accept, want string }{
		{"", "", "application/json"}, {"", "*/*", "application/json"}, {"", "text/html, image/png", "application/json"}, {"", "text/csv", "text/csv"}, {"", "application/geo+json;q=0.9, text/csv;q=0.1", "application/geo+json"},
		{".csv", "application/json", "text/csv"}, {".json", "text/csv", "application/json"}, {".geojson", "", "application/geo+json"},
	} {
		a := w.get(path+x.suffix, "Accept", x.accept)
		if got := a.Header().Get("Content-Type"); a.Code != 200 || got != x.want {
			t.Errorf("%q with Accept %q: %d %s, want %s", x.suffix, x.accept, a.Code, got, x.want)
		}
	}
	rows, err := csv.NewReader(w.get(path + ".csv?limit=1000").Body).ReadAll()
	list := object(t, w.get(path+"?limit=1000").Body.Bytes())
	items := list["items"].([]any)
	if err != nil || len(rows)-1 != len(items) || len(items) < 20 {
		t.Fatalf("%d rows, %d items, %v", len(rows)-1, len(items), err)
	}
	first := items[0].(map[string]any)
	for i, name := range rows[0] {
		if v, ok := first[name].(string); ok && rows[1][i] != v {
			t.Errorf("%s: %q as CSV, %q as JSON", name, rows[1][i], v)
		}
	}
	collection := object(t, w.get(path+".geojson").Body.Bytes())
	feature := collection["features"].([]any)[0].(map[string]any)
	if collection["type"] != "FeatureCollection" || feature["type"] != "Feature" || feature["geometry"].(map[string]any)["coordinates"].([]any)[0].(float64) != -131.4 {
		t.Errorf("GeoJSON: %v", feature)
	}
	// A fault is a problem whatever was asked for (RFC 9457).
	for _, accept := range []string{"", "text/csv", "application/geo+json"} {
		a := w.get(Root+"/rivers/nowhere/forecasts/latest/windows", "Accept", accept)
		p := object(t, a.Body.Bytes())
		if a.Code != 404 || a.Header().Get("Content-Type") != "application/problem+json" || p["status"] != 404.0 || p["title"] != "Not Found" || p["detail"] == "" {
			t.Errorf("%d %s %v", a.Code, a.Header().Get("Content-Type"), p)
		}
	}
}

func TestPagesOfAListJoinUp(t *testing.T) {
	w := newWorld(t, nil)
	whole := object(t, w.get(Root+"/rivers/wend/forecasts/latest/days?limit=1000").Body.Bytes())
	var seen []any
	next, pages := Root+"/rivers/wend/forecasts/latest/days.json?limit=300", 0
	for next != "" && len(seen) < 1000 {
		a := w.get(strings.TrimPrefix(next, "http://rivers.example.org"))
		body := object(t, a.Body.Bytes())
		seen = append(seen, body["items"].([]any)...)
		next = ""
		for _, l := range body["links"].([]any) {
			if l := l.(map[string]any); l["rel"] == "next" {
				next = l["href"].(string)
				contains(t, "Link", a.Header().Get("Link"), "<"+next+`>; rel="next"`)
				contains(t, "the address of the next page", next, ".json?")
			}
		}
		pages++
	}
	if len(seen) < 1000 || pages < 4 {
		t.Fatalf("%d items on %d pages", len(seen), pages)
	}
	a, _ := json.Marshal(seen[:1000])
	b, _ := json.Marshal(whole["items"])
	if !bytes.Equal(a, b) {
		t.Error("the pages are not the whole list")
	}
}

func TestTagsPackingAndReadingFromOtherSites(t *testing.T) {
	w := newWorld(t, nil)
	const path = Root + "/rivers/wend/forecasts/latest/water"
	a := w.get(path)
	tag := a.Header().Get("ETag")
	if tag == "" || a.Header().Get("Access-Control-Allow-Origin") != "*" || a.Header().Get("Cache-Control") != "no-cache" {
		t.Fatalf("headers %v", a.Header())
	}
	for _, match := range []string{tag, `"other", ` + tag, "*", strings.TrimPrefix(tag, "W/")} {
		if b := w.get(path, "If-None-Match", match); b.Code != 304 || b.Body.Len() != 0 || b.Header().Get("ETag") != tag {
			t.Errorf("If-None-Match %s: %d, %d bytes", match, b.Code, b.Body.Len())
		}
	}
	if b := w.get(path, "If-None-Match", `"other"`); b.Code != 200 {
		t.Errorf("another tag: %d", b.Code)
	}
	if b := w.get(path, "Accept", "text/csv"); b.Header().Get("ETag") == tag {
		t.Error("CSV has the tag of JSON")
	}
	z := w.get(path, "Accept-Encoding", "br, gzip")
	zr, err := gzip.NewReader(z.Body)
	if err != nil || z.Header().Get("Content-Encoding") != "gzip" {
		t.Fatalf("%v, %v", err, z.Header())
	}
	if plain, err := io.ReadAll(zr); err != nil || !bytes.Equal(plain, a.Body.Bytes()) {
		t.Errorf("unpacked it differs: %v", err)
	}
	if b := w.get(path, "Accept-Encoding", "gzip;q=0"); b.Header().Get("Content-Encoding") != "" {
		t.Error("packed though it was refused")
	}
	for _, x := range []struct {
		method string
		code   int
	}{{http.MethodHead, 200}, {http.MethodOptions, 204}, {http.MethodPost, 405}, {http.MethodDelete, 405}} {
		b := httptest.NewRecorder()
		w.ServeHTTP(b, httptest.NewRequest(x.method, path, nil))
		if b.Code != x.code || b.Header().Get("Access-Control-Allow-Origin") != "*" || x.method == http.MethodHead && b.Body.Len() > 0 {
			t.Errorf("%s: %d, %v", x.method, b.Code, b.Header())
		}
	}
}

func TestWhoAsksTooMuchWaits(t *testing.T) {
	w := newWorld(t, func(o *Options) { o.PerSecond = 1 })
	codes := map[int]int{}
	for range 20 {
		a := w.get(Root)
		codes[a.Code]++
		if a.Code == 429 && (a.Header().Get("Retry-After") == "" || a.Header().Get("Content-Type") != "application/problem+json") {
			t.Fatalf("%v", a.Header())
		}
	}
	if codes[200] != 1*burst+1 || codes[429] != 20-codes[200] {
		t.Errorf("%v", codes)
	}
}

func TestOldForecastsAreReadBesideWhatCame(t *testing.T) {
	w := newWorld(t, nil)
	list := object(t, w.get(Root+"/rivers/wend/forecasts").Body.Bytes())["items"].([]any)
	if len(list) != 2 || list[0].(map[string]any)["issued_at"] != "2026-05-18T19:00:00Z" || list[1].(map[string]any)["issued_at"] != "2026-05-08T19:00:00Z" {
		t.Fatalf("issued: %v", list)
	}
	for what, observed := range map[string]string{"water": "observed_c", "flow": "observed_m3s"} {
		days := object(t, w.get(Root+"/rivers/wend/forecasts/2026-05-08T19:00:00Z/"+what+"?from=2026-05-10&to=2026-05-16").Body.Bytes())["items"].([]any)
		if len(days) != 7 {
			t.Fatalf("%s: %d days", what, len(days))
		}
		for _, d := range days {
			if d := d.(map[string]any); d[observed] == nil {
				t.Errorf("%s of %v lacks what was measured since", what, d["day"])
			}
		}
	}
	for path, code := range map[string]int{"/rivers/wend/forecasts/2026-05-09T19:00:00Z": 404, "/rivers/wend/forecasts/yesterday": 400, "/rivers/dry/forecasts/latest": 404, "/rivers/wend/forecasts/latest/days?from=2026-06-02&to=2026-06-01": 400, "/rivers/wend/forecasts?limit=0": 400, "/rivers?colour=red": 400,
		"/collections/rivers/items?bbox=1,2": 400, "/collections/rivers/items?bbox=NaN": 400, "/collections/rivers/items?bbox=NaN,44,-130,Inf": 400, "/collections/windows/items?datetime=soon": 400, "/collections/series/position?coords=here": 400, "/collections/series/position?coords=POINT(10%2050)": 404, "/collections/series/locations/wend?parameter-name=fish": 400, "/verdict?group=unicorn": 400, "/nothing": 404} {
		if a := w.get(Root + path); a.Code != code || a.Header().Get("Content-Type") != "application/problem+json" || !json.Valid(a.Body.Bytes()) {
			t.Errorf("%s: %d %s, want %d", path, a.Code, a.Body, code)
		}
	}
}

func TestFeaturesAreFoundByPlaceAndTime(t *testing.T) {
	w := newWorld(t, nil)
	n := func(path string) float64 { return object(t, w.get(Root+path).Body.Bytes())["numberMatched"].(float64) }
	if a, b, c := n("/collections/rivers/items"), n("/collections/rivers/items?bbox=-132,45.1,-131.2,46"), n("/collections/rivers/items?bbox=170,-90,-131.3,90"); a != 3 || b != 1 || c != 1 {
		t.Errorf("%v rivers, %v in the box, %v in the box over the antimeridian", a, b, c)
	}
	all, may, never := n("/collections/windows/items?limit=1"), n("/collections/windows/items?limit=1&datetime=2026-05-01T00:00:00Z/2026-05-31T00:00:00Z"), n("/collections/windows/items?datetime=1999-01-01T00:00:00Z/..&bbox=0,0,1,1")
	if all <= may || may == 0 || never != 0 {
		t.Errorf("%v windows, %v in May, %v elsewhere", all, may, never)
	}
	one := object(t, w.get(Root+"/collections/windows/items?limit=1&river=garrow").Body.Bytes())["features"].([]any)[0].(map[string]any)
	again := object(t, w.get(Root+"/collections/windows/items/"+one["id"].(string)).Body.Bytes())
	if again["id"] != one["id"] || again["properties"].(map[string]any)["river"] != "garrow" {
		t.Errorf("%v is found as %v", one["id"], again["id"])
	}
}

func TestTheSeriesIsCoverageJSON(t *testing.T) {
	w := newWorld(t, nil)
	a := w.get(Root + "/collections/series/locations/wend?parameter-name=water_p50,flow_p50&datetime=2026-05-18/2026-05-24")
	c := object(t, a.Body.Bytes())
	days := c["domain"].(map[string]any)["axes"].(map[string]any)["t"].(map[string]any)["values"].([]any)
	ranges := c["ranges"].(map[string]any)
	if a.Header().Get("Content-Type") != covType || len(days) != 7 || days[0] != "2026-05-18" || len(ranges) != 2 {
		t.Fatalf("%s, days %v, ranges %d", a.Header().Get("Content-Type"), days, len(ranges))
	}
	water := object(t, w.get(Root+"/rivers/wend/forecasts/latest/water?from=2026-05-18&to=2026-05-24").Body.Bytes())["items"].([]any)
	for i, v := range ranges["water_p50"].(map[string]any)["values"].([]any) {
		if want := water[i].(map[string]any)["p50_c"]; v != want {
			t.Errorf("day %d: %v, want %v", i, v, want)
		}
	}
	near := object(t, w.get(Root+"/collections/series/position?coords=POINT(-131.39%2045.21)").Body.Bytes())
	if near["id"] != "wend" {
		t.Errorf("nearest is %v", near["id"])
	}
}

func TestPastScoresAreTheBacktests(t *testing.T) {
	w := newWorld(t, nil)
	items := object(t, w.get(Root+"/scores").Body.Bytes())["items"].([]any)
	if len(items) != 2 || items[0].(map[string]any)["skill"] != 0.21 || items[1].(map[string]any)["skill"] != nil || items[1].(map[string]any)["lead"] != 60.0 {
		t.Errorf("%v", items)
	}
	none := newWorld(t, func(o *Options) { o.Reports = nil })
	if n := object(t, none.get(Root+"/scores").Body.Bytes())["number_matched"]; n != 0.0 {
		t.Errorf("without a report there are %v scores", n)
	}
}
