package usgs

import (
	"context"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/replay"
)

var noon = time.Date(2026, 10, 8, 12, 0, 0, 0, time.UTC)

// source points at a server; the client does not pause.
func source(t *testing.T, h http.Handler, version string, c Config) *Source {
	t.Helper()
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	cl, err := client.New(client.Options{UserAgent: "eclose-test", PerSecond: 1e6, Retries: -1})
	if err != nil {
		t.Fatal(err)
	}
	c.Client, c.BaseURL, c.Now = cl, srv.URL+"/ogcapi/"+version, func() time.Time { return noon }
	s, err := New(c)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func fetch(s *Source, req ingest.Request) ([]ingest.Series, error) {
	var out []ingest.Series
	err := s.Fetch(context.Background(), req, func(x ingest.Series) error { out = append(out, x); return nil })
	return out, err
}

func TestFetchFromRecordedAnswers(t *testing.T) {
	rep := replay.New(replay.Shared(t, "feeds"), replay.USGS)
	s := source(t, rep, "v1", Config{Key: "the-key"})
	got, err := fetch(s, ingest.Request{Site: "01646500", Variables: []ingest.Variable{ingest.Discharge}, Period: ingest.Daily, From: time.Date(2026, 9, 29, 0, 0, 0, 0, time.UTC)})
	if err != nil || len(got) != 1 {
		t.Fatalf("%d series, %v", len(got), err)
	}
	x := got[0]
	// 3330 ft3/s on 29 September stands in the recorded answer; the day before
	// it was not asked for.
	if x.Len() != 2 || math.Abs(x.Value[0]-3330*0.028316846592) > 1e-9 || x.At(0).Format(time.DateOnly) != "2026-09-29" {
		t.Errorf("%d readings from %v: %v", x.Len(), x.At(0), x.Value)
	}
	if x.Place.Zone != "America/New_York" || !strings.HasPrefix(x.Place.Name, "POTOMAC RIVER") || x.Retrieved[0] != noon.UnixMicro() {
		t.Errorf("place %+v, retrieved %v", x.Place, x.Retrieved)
	}
	got, err = fetch(s, ingest.Request{Site: "USGS-01646500", Variables: []ingest.Variable{ingest.Discharge}, From: noon.AddDate(0, 0, -10)})
	if err != nil || len(got) != 1 || got[0].Len() != 4 {
		t.Fatalf("continuous: %d series, %v", len(got), err)
	}
	var cursor bool
	for _, r := range rep.Asked() {
		if r.Header.Get("X-Api-Key") != "the-key" || strings.Contains(r.URL.RawQuery, "the-key") {
			t.Errorf("key not in the header alone: %s", r.URL)
		}
		cursor = cursor || r.URL.Query().Get("cursor") != ""
	}
	if !cursor {
		t.Error("the link to the next page was not followed")
	}
	_, err = fetch(s, ingest.Request{Site: "99999999", Variables: []ingest.Variable{ingest.Discharge}, Period: ingest.Daily})
	if err == nil || !strings.Contains(err.Error(), "site not found") {
		t.Errorf("unknown gauge: %v", err)
	}
}

func TestVersion0IsReadByTheSameParser(t *testing.T) {
	rep := replay.New(replay.Shared(t, "feeds"), replay.USGS)
	s := source(t, rep, "v0", Config{})
	got, err := fetch(s, ingest.Request{Site: "USGS-05427718", Variables: []ingest.Variable{ingest.Discharge}, Period: ingest.Daily})
	if err != nil || len(got) != 1 || got[0].Len() != 2 {
		t.Fatalf("%v, %v", got, err)
	}
	if q := rep.Asked()[2].URL.Query(); !q.Has("time") || q.Has("datetime") {
		t.Errorf("version 0 calls the span of time \"time\": %v", q)
	}
}

// reading is an invented row.
func reading(ts, at, value string) string {
	return fmt.Sprintf(`{"type":"Feature","id":"x","geometry":null,"properties":{"time_series_id":%q,"monitoring_location_id":"USGS-11111111","parameter_code":"00010","statistic_id":"00011","time":%q,"value":%q,"unit_of_measure":"degC","approval_status":"Provisional","qualifier":null}}`, ts, at, value)
}

func collection(next string, features ...string) string {
	links := ""
	if next != "" {
		links = fmt.Sprintf(`{"rel":"next","href":%q}`, next)
	}
	return `{"type":"FeatureCollection","features":[` + strings.Join(features, ",") + `],"links":[` + links + `]}`
}

const site11 = `{"type":"FeatureCollection","features":[{"type":"Feature","id":"USGS-11111111","geometry":{"type":"Point","coordinates":[-121.5,44.5]},"properties":{"agency_code":"USGS","monitoring_location_number":"11111111","monitoring_location_name":"WEND AT BRIDGE","site_type_code":"ST","time_zone_abbreviation":"PST","uses_daylight_savings":"Y"}}]}`

// answering serves site and metadata of an invented gauge, and readings by h.
func answering(metadata string, h http.HandlerFunc) http.Handler {
	mux := http.NewServeMux()
	say := func(body string) http.HandlerFunc {
		return func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Type", "application/geo+json")
			fmt.Fprint(w, body)
		}
	}
	mux.HandleFunc("/ogcapi/v1/collections/monitoring-locations/items", say(site11))
	if metadata != "" {
		mux.HandleFunc("/ogcapi/v1/collections/time-series-metadata/items", say(metadata))
	}
	mux.HandleFunc("/ogcapi/v1/collections/continuous/items", func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/geo+json")
		h(w, r)
	})
	return mux
}

func wend() ingest.Request {
	return ingest.Request{Site: "11111111", Variables: []ingest.Variable{ingest.WaterTemperature}, From: noon.AddDate(0, 0, -2), To: noon}
}

func TestLaterPages(t *testing.T) {
	for _, tc := range []struct {
		name  string
		page2 func(w http.ResponseWriter, r *http.Request)
		next  func(r *http.Request) string
		kept  int // readings handed over before the error
		says  string
	}{
		{"a second page is taken in", func(w http.ResponseWriter, _ *http.Request) {
			fmt.Fprint(w, collection("", reading("a", "2026-10-07T01:00:00+00:00", "8.1")))
		}, nil, 2, ""},
		{"an error on a later page is no end of data", func(w http.ResponseWriter, _ *http.Request) {
			w.WriteHeader(400)
			fmt.Fprint(w, `{"code":"InvalidQuery","type":"InvalidQuery","description":"no"}`)
		}, nil, 1, "400"},
		{"an error body with status 200 is no end of data", func(w http.ResponseWriter, _ *http.Request) {
			fmt.Fprint(w, `{"error":{"code":"OVER_RATE_LIMIT","message":"slow down"}}`)
		}, nil, 1, "OVER_RATE_LIMIT"},
		{"a truncated page is no end of data", func(w http.ResponseWriter, _ *http.Request) {
			fmt.Fprint(w, collection("", reading("a", "2026-10-07T01:00:00+00:00", "8.1"))[:120])
		}, nil, 1, "ends early"},
		{"a link to another host is not followed", nil, func(*http.Request) string { return "https://example.net/steal" }, 1, "not allowed"},
		{"a link that leads round in a circle ends", func(w http.ResponseWriter, r *http.Request) {
			fmt.Fprint(w, collection("http://"+r.Host+r.URL.String(), reading("a", "2026-10-07T01:00:00+00:00", "8.1")))
		}, nil, 2, "paging loops"},
	} {
		t.Run(tc.name, func(t *testing.T) {
			s := source(t, answering("", func(w http.ResponseWriter, r *http.Request) {
				if r.URL.Query().Get("cursor") != "" {
					tc.page2(w, r)
					return
				}
				next := "http://" + r.Host + r.URL.Path + "?cursor=abc%3D%3D"
				if tc.next != nil {
					next = tc.next(r)
				}
				fmt.Fprint(w, collection(next, reading("a", "2026-10-07T00:00:00+00:00", "8.0")))
			}), "v1", Config{Key: "k3y"})
			got, err := fetch(s, wend())
			if len(got) != tc.kept {
				t.Errorf("%d parts handed over, want %d", len(got), tc.kept)
			}
			if tc.says == "" && err != nil || tc.says != "" && (err == nil || !strings.Contains(err.Error(), tc.says)) {
				t.Errorf("error %v, want %q", err, tc.says)
			}
			var e *ingest.Error
			if err != nil && (!errors.As(err, &e) || strings.Contains(err.Error(), "k3y")) {
				t.Errorf("error %v", err)
			}
		})
	}
}

func TestSecondChoiceSeriesAreLeftOut(t *testing.T) {
	meta := func(id, primary string) string {
		return fmt.Sprintf(`{"type":"Feature","id":%q,"properties":{"monitoring_location_id":"USGS-11111111","parameter_code":"00010","statistic_id":"00011","computation_identifier":"Instantaneous","computation_period_identifier":"Points","unit_of_measure":"degC","primary":%s}}`, id, primary)
	}
	var left []ingest.Skipped
	s := source(t, answering(`{"features":[`+meta("a", `"Primary"`)+","+meta("b", "null")+`]}`, func(w http.ResponseWriter, _ *http.Request) {
		fmt.Fprint(w, collection("", reading("b", "2026-10-07T00:00:00+00:00", "9"), reading("a", "2026-10-07T00:15:00+00:00", "8"), reading("a", "2026-10-07T00:00:00+00:00", "7")))
	}), "v1", Config{Skipped: func(x ingest.Skipped) { left = append(left, x) }})
	got, err := fetch(s, wend())
	if err != nil || len(got) != 1 || got[0].TimeSeries != "a" || fmt.Sprint(got[0].Value) != "[7 8]" {
		t.Fatalf("%+v, %v", got, err)
	}
	if len(left) != 1 || left[0].Readings != 1 {
		t.Errorf("left out: %v", left)
	}
}

func TestLongSpansAreAskedInPieces(t *testing.T) {
	var spans []string
	s := source(t, answering("", func(w http.ResponseWriter, r *http.Request) {
		spans = append(spans, r.URL.Query().Get("datetime"))
		fmt.Fprint(w, collection(""))
	}), "v1", Config{})
	req := wend()
	req.From = noon.AddDate(-5, 0, 0)
	if got, err := fetch(s, req); err != nil || len(got) != 0 {
		t.Fatalf("an empty answer: %v, %v", got, err)
	}
	if len(spans) != 2 {
		t.Fatalf("spans %v", spans)
	}
	for _, x := range spans {
		a, b, _ := strings.Cut(x, "/")
		from, err1 := time.Parse(time.RFC3339, a)
		to, err2 := time.Parse(time.RFC3339, b)
		if err1 != nil || err2 != nil || to.Sub(from) > 1100*24*time.Hour {
			t.Errorf("span %s", x)
		}
	}
}

func TestBadRequestsAreRefusedBeforeAnythingIsSent(t *testing.T) {
	s := source(t, http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("a request was sent") }), "v1", Config{})
	for _, req := range []ingest.Request{
		{Site: "", Variables: []ingest.Variable{ingest.WaterTemperature}},
		{Site: "123", Variables: []ingest.Variable{ingest.WaterTemperature}},
		{Site: "USGS-1407650&x=1", Variables: []ingest.Variable{ingest.WaterTemperature}},
		{Site: "14076500", Variables: []ingest.Variable{ingest.WaterTemperature}, From: noon, To: noon},
	} {
		var e *ingest.Error
		if _, err := fetch(s, req); !errors.As(err, &e) {
			t.Errorf("%+v: %v", req, err)
		}
	}
}

func TestFindNearAPlace(t *testing.T) {
	meta := func(site, id, parameter, end string) string {
		return fmt.Sprintf(`{"type":"Feature","id":%q,"properties":{"monitoring_location_id":%q,"parameter_code":%q,"statistic_id":"00003","computation_identifier":"Mean","computation_period_identifier":"Daily","unit_of_measure":"degC","primary":"Primary","begin_utc":"2005-11-03T08:00:00+00:00","end_utc":%q}}`, id, site, parameter, end)
	}
	place := func(id, kind string, lon, lat float64) string {
		return fmt.Sprintf(`{"type":"Feature","id":%q,"geometry":{"type":"Point","coordinates":[%g,%g]},"properties":{"monitoring_location_number":"x","monitoring_location_name":"N","site_type_code":%q,"agency_code":"USGS"}}`, id, lon, lat, kind)
	}
	var asked []string
	s := source(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/geo+json")
		asked = append(asked, r.URL.Query().Get("bbox")+r.URL.Query().Get("state_name")+r.URL.Query().Get("id"))
		if strings.Contains(r.URL.Path, "time-series-metadata") {
			fmt.Fprint(w, `{"features":[`+strings.Join([]string{
				meta("USGS-11111111", "t1", "00010", "1999-09-29T07:00:00+00:00"), meta("USGS-11111111", "t2", "00010", "2026-10-07T07:00:00+00:00"), meta("USGS-11111111", "q1", "00060", "2026-10-07T07:00:00+00:00"),
				meta("USGS-22222222", "t3", "00010", "2026-10-07T07:00:00+00:00"), meta("USGS-33333333", "q2", "00060", "2026-10-07T07:00:00+00:00"),
				meta("USGS-44444444", "t4", "00010", "2026-10-07T07:00:00+00:00"), meta("USGS-55555555", "t5", "00010", "2026-10-07T07:00:00+00:00"),
			}, ",")+`]}`)
			return
		}
		fmt.Fprint(w, `{"features":[`+strings.Join([]string{place("USGS-11111111", "ST", -121.5, 44.5), place("USGS-22222222", "ST-TS", -121.2, 44.5), place("USGS-44444444", "GW", -121.2, 44.5), place("USGS-55555555", "ST", -121.9, 44.9)}, ",")+`]}`)
	}), "v1", Config{})
	got, err := s.Find(t.Context(), ingest.GaugeSearch{Lat: 44.5, Lon: -121.2, RadiusKm: 50, Variable: ingest.WaterTemperature})
	if err != nil {
		t.Fatal(err)
	}
	// A well, a gauge with flow only and one in the corner of the box (71 km
	// away) are not wanted. 0.3 degrees of longitude at 44.5 north are
	// 0.3 * 111.195 * cos(44.5 deg) = 23.8 km.
	if len(got) != 2 || got[0].Site != "USGS-22222222" || got[1].Site != "USGS-11111111" || math.Abs(got[1].DistanceKm-23.8) > 0.05 {
		t.Fatalf("%+v", got)
	}
	if got[1].Series[0].ID == "t1" || len(got[1].Series) != 3 {
		t.Errorf("series of the second: %+v", got[1].Series)
	}
	if asked[1] != "USGS-11111111,USGS-22222222,USGS-44444444,USGS-55555555" {
		t.Errorf("sites asked for: %v", asked)
	}
	if _, err := s.Find(t.Context(), ingest.GaugeSearch{Region: "or", Variable: ingest.WaterTemperature}); err != nil || asked[2] != "Oregon" {
		t.Errorf("by state: %v, %v", asked, err)
	}
	for _, bad := range []ingest.GaugeSearch{{Region: "Yorkshire", Variable: ingest.WaterTemperature}, {Lat: 95, RadiusKm: 1, Variable: ingest.WaterTemperature}, {Lat: 1, RadiusKm: 1, Variable: ingest.CloudCover}} {
		if _, err := s.Find(t.Context(), bad); err == nil {
			t.Errorf("%+v was not refused", bad)
		}
	}
}

func TestBaseURLs(t *testing.T) {
	cl, _ := client.New(client.Options{UserAgent: "x"})
	for u, ok := range map[string]bool{"": true, "http://127.0.0.1:8080/ogcapi/v1": true, "ftp://x": false, "api.example.org": false, "https://x/?api_key=1": false} {
		if _, err := New(Config{Client: cl, BaseURL: u, Now: time.Now}); (err == nil) != ok {
			t.Errorf("%q: %v", u, err)
		}
	}
}
