package sensorthings

import (
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
)

// The answers are invented after the examples of OGC 18-088; none was recorded.

func stream(id, property, unit, observations string) string {
	return fmt.Sprintf(`{"@iot.id":%s,"name":"wend","unitOfMeasurement":%s,"ObservedProperty":{"name":%q,"definition":"http://example.org/p"},`+
		`"Thing":{"@iot.id":7,"name":"Wend at the bridge","Locations":[{"location":{"type":"Point","coordinates":[-121.25,44.5]}}]},"Observations":[%s]}`, id, unit, property, observations)
}

const celsius = `{"name":"degree Celsius","symbol":"°C","definition":"http://qudt.org/vocab/unit/DEG_C"}`

func seen(at, result string) string {
	return fmt.Sprintf(`{"@iot.id":1,"phenomenonTime":%q,"result":%s,"resultTime":null}`, at, result)
}

func parse(t *testing.T, body string) ([]ingest.Series, string) {
	t.Helper()
	var told []string
	s, err := Parser{Skipped: func(x ingest.Skipped) { told = append(told, x.String()) }}.Parse(strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	return s, strings.Join(told, "; ")
}

func TestAResultMayBeANumberATextOrNothing(t *testing.T) {
	s, _ := parse(t, stream("12", "Water temperature", celsius, strings.Join([]string{
		seen("2026-05-01T10:00:00Z", "9.5"), seen("2026-05-01T11:00:00.000Z", `"9.75"`), seen("2026-05-01T14:00:00+02:00", "null"),
		seen("2026-05-01T13:00:00Z", `"NaN"`), seen("2026-05-01T14:00:00Z", `"ice"`), seen("2026-05-01T15:00:00Z", `""`)}, ",")))
	if len(s) != 1 || s[0].String() != "sensorthings/7/water_temperature/instant/ts=12" || s[0].Len() != 6 || s[0].MissingCount() != 4 {
		t.Fatalf("got %+v", s)
	}
	if s[0].Value[1] != 9.75 || s[0].At(2).Hour() != 12 || s[0].Qualifier[4] != "ice" || s[0].Place.Lat != 44.5 || s[0].Place.Name != "Wend at the bridge" {
		t.Errorf("got %+v", s[0])
	}
}

func TestEveryShapeOfAnAnswerGivesTheSameSeries(t *testing.T) {
	one := stream("12", "Water temperature", celsius, seen("2026-05-01T10:00:00Z", "9.5"))
	alone := strings.Replace(one, `"Observations":[`+seen("2026-05-01T10:00:00Z", "9.5")+`]`, `"description":""`, 1)
	for _, c := range []struct{ name, body string }{
		{"a datastream", one},
		{"a list of datastreams", `{"@iot.count":1,"value":[` + one + `]}`},
		{"a thing", `{"@iot.id":7,"name":"Wend at the bridge","Locations":[],"Datastreams":[` + strings.Replace(one, `"@iot.id":7,`, "", 1) + `]}`},
		{"observations that carry their datastream", `{"value":[{"@iot.id":1,"phenomenonTime":"2026-05-01T10:00:00Z","result":9.5,"Datastream":` + alone + `}]}`},
		{"one observation that carries its datastream", `{"@iot.id":1,"phenomenonTime":"2026-05-01T10:00:00Z","result":9.5,"Datastream":` + alone + `}`},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, _ := parse(t, c.body)
			if len(s) != 1 || s[0].String() != "sensorthings/7/water_temperature/instant/ts=12" || s[0].Value[0] != 9.5 {
				t.Errorf("got %+v", s)
			}
		})
	}
}

func TestAnIntervalIsASumOfRainAndNothingElse(t *testing.T) {
	mm := `{"name":"millimetre","symbol":"mm","definition":""}`
	s, told := parse(t, `{"value":[`+strings.Join([]string{
		stream("1", "Rainfall", mm, seen("2026-05-01T10:00:00Z/2026-05-01T10:15:00Z", "0.4")),
		stream("2", "Rainfall", mm, seen("2026-05-01T00:00:00+02:00/2026-05-02T00:00:00+02:00", "4")),
		stream("3", "Rainfall", mm, seen("2026-05-01T10:00:00Z", "0.4")),
		stream("4", "Water temperature", celsius, seen("2026-05-01T10:00:00Z/2026-05-01T11:00:00Z", "9")),
		stream("5", "Temperature", celsius, seen("2026-05-01T10:00:00Z", "9")),
	}, ",")+`]}`)
	if len(s) != 2 || s[0].Period != "PT15M" || s[0].At(0).Minute() != 15 || s[1].Period != ingest.Daily || s[1].At(0).Format(time.RFC3339) != "2026-05-01T00:00:00Z" {
		t.Errorf("got %+v", s)
	}
	for _, w := range []string{"sums cover is not given", "no word for mean", "property Temperature"} {
		if !strings.Contains(told, w) {
			t.Errorf("told %q, without %q", told, w)
		}
	}
}

func TestTheUnitIsTheFirstWordThatConverts(t *testing.T) {
	for unit, want := range map[string]float64{
		`{"name":"Fahrenheit","symbol":"°F","definition":""}`:                              10,
		`{"name":"degF","symbol":"grad","definition":""}`:                                  10,
		`{"name":"","symbol":"","definition":"http://qudt.org/vocab/unit/DEG_F"}`:          10,
		`{"name":"x","symbol":"y","definition":"urn:ogc:def:uom:udunits:2:Cel"}`:           50,
		`{"name":"degree Celsius","symbol":"deg C","definition":"http://example.org/u/7"}`: 50,
	} {
		s, _ := parse(t, stream("12", "Water temperature", unit, seen("2026-05-01T10:00:00Z", "50")))
		if s[0].Value[0] != want {
			t.Errorf("50 in %s became %g °C, want %g", unit, s[0].Value[0], want)
		}
	}
}

func TestWhatIsNoAnswerSaysWhatItIs(t *testing.T) {
	ok := seen("2026-05-01T10:00:00Z", "1")
	for _, c := range []struct {
		name, body, want string
		retry            bool
	}{
		{"nothing", "", "is empty", false},
		{"a web page", "<html>", "web page", false},
		{"a refusal", `{"code":404,"type":"error","message":"Nothing found."}`, "404 Nothing found.", false},
		{"another refusal", `{"error":{"code":"400","message":"bad filter"}}`, "bad filter", false},
		{"cut on its way", `{"value":[{"@iot.id":1,`, "ends early", true},
		{"NaN is no JSON", `{"value":[{"phenomenonTime":"2026-05-01T10:00:00Z","result":NaN}]}`, "not the expected JSON", false},
		{"observations alone", `{"value":[` + ok + `]}`, "does not say what was measured", false},
		{"no thing", strings.Replace(stream("1", "Water temperature", celsius, ok), `"@iot.id":7,`, "", 1), "does not name its Thing", false},
		{"a result that is an object", stream("1", "Water temperature", celsius, seen("2026-05-01T10:00:00Z", `{"a":1}`)), "observation 1, result", false},
		{"a result that is no number", stream("1", "Water temperature", celsius, seen("2026-05-01T10:00:00Z", `"1.2.3"`)), `"1.2.3" is not a number`, false},
		{"a time without offset", stream("1", "Water temperature", celsius, seen("2026-05-01T10:00:00", "1")), "observation 1, phenomenonTime", false},
		{"an interval turned round", stream("1", "Rainfall", `{"symbol":"mm"}`, seen("2026-05-01T10:00:00Z/2026-05-01T09:00:00Z", "1")), "ends before it begins", false},
		{"a unit nobody knows", stream("1", "Water temperature", `{"symbol":"furlong"}`, ok), "furlong", false},
		{"a data array without its time", `{"value":[{"components":["id","result"],"dataArray":[[1,2]]}]}`, "lacks phenomenonTime", false},
		{"something else", `{"value":[{"a":1}]}`, "neither a Datastream", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Parser{}.Parse(strings.NewReader(c.body))
			var e *ingest.Error
			if !errors.As(err, &e) || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v, want an *ingest.Error with %q", err, c.want)
			}
			if e.Retryable != c.retry {
				t.Errorf("retryable is %v, want %v", e.Retryable, c.retry)
			}
		})
	}
}

// server answers like one that caps a page at two readings, and sends the
// second page as a data array.
func server(t *testing.T, next string) *httptest.Server {
	t.Helper()
	mux := http.NewServeMux()
	answer := func(w http.ResponseWriter, s string) {
		w.Header().Set("Content-Type", "application/json")
		fmt.Fprint(w, s)
	}
	mux.HandleFunc("/v1.1/Things(7)/Datastreams", func(w http.ResponseWriter, r *http.Request) {
		answer(w, `{"value":[`+stream(`"w:1"`, "Water temperature", celsius, "")+`,`+stream("13", "Rainfall", `{"symbol":"mm"}`, "")+`]}`)
	})
	var srv *httptest.Server
	mux.HandleFunc("/v1.1/Datastreams('w:1')/Observations", func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Query().Get("$skip") != "" {
			answer(w, `{"value":[{"components":["phenomenonTime","result","resultQuality"],"dataArray":[["2026-05-01T12:00:00Z",11,"bad, very"],["2026-05-01T13:00:00Z",12,null]]}]}`)
			return
		}
		if f := r.URL.Query().Get("$filter"); f != "phenomenonTime ge 2026-05-01T10:30:00Z and phenomenonTime lt 2026-05-01T13:00:00Z" {
			answer(w, `{"code":400,"message":"filter `+f+`"}`)
			return
		}
		answer(w, `{"@iot.nextLink":"`+strings.Replace(next, "HOST", srv.URL, 1)+`","value":[`+seen("2026-05-01T10:00:00Z", "9")+","+seen("2026-05-01T11:00:00Z", "10")+`]}`)
	})
	srv = httptest.NewServer(mux)
	t.Cleanup(srv.Close)
	return srv
}

func fetch(t *testing.T, base, site string) ([]ingest.Series, error) {
	t.Helper()
	cl, err := client.New(client.Options{UserAgent: "eclose-test", PerSecond: 1e6, Retries: -1})
	if err != nil {
		t.Fatal(err)
	}
	at := func(h, m int) time.Time { return time.Date(2026, 5, 1, h, m, 0, 0, time.UTC) }
	s := Source{Client: cl, BaseURL: base, Now: func() time.Time { return at(20, 0) }}
	var out []ingest.Series
	err = s.Fetch(t.Context(), ingest.Request{Site: site, Variables: []ingest.Variable{ingest.WaterTemperature}, From: at(10, 30), To: at(13, 0)}, func(x ingest.Series) error { out = append(out, x); return nil })
	return out, err
}

func TestFetchFollowsTheLinksAndTakesBothForms(t *testing.T) {
	srv := server(t, "HOST/v1.1/Datastreams('w:1')/Observations?$skip=2")
	got, err := fetch(t, srv.URL+"/v1.1/", "7")
	if err != nil || len(got) != 2 {
		t.Fatalf("%d parts, %v", len(got), err)
	}
	if got[0].Len() != 1 || got[0].Value[0] != 10 || got[1].Len() != 1 || got[1].Value[0] != 11 || got[1].Qualifier[0] != "bad; very" || got[0].String() != "sensorthings/7/water_temperature/instant/ts=w:1" || got[0].Key != got[1].Key {
		t.Errorf("got %+v", got)
	}
}

func TestALinkToAnotherHostIsNotFollowedAndWhatCameStays(t *testing.T) {
	srv := server(t, "http://127.0.0.2:9/steal")
	got, err := fetch(t, srv.URL+"/v1.1", "7")
	if err == nil || !strings.Contains(err.Error(), "is not allowed") || len(got) != 1 {
		t.Errorf("got %d parts, %v", len(got), err)
	}
}

func TestAThingThatIsNotThereOrIsNoIdSaysSo(t *testing.T) {
	srv := server(t, "")
	if _, err := fetch(t, srv.URL+"/v1.1", "8"); err == nil || !strings.Contains(err.Error(), "404") {
		t.Errorf("an unknown thing gave %v", err)
	}
	if _, err := fetch(t, srv.URL+"/v1.1", "7)/../x('"); err == nil || !strings.Contains(err.Error(), "is not an id") {
		t.Errorf("a crooked id gave %v", err)
	}
	if _, err := fetch(t, "", "7"); err == nil || !strings.Contains(err.Error(), "names no server") {
		t.Errorf("no server gave %v", err)
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(stream("12", "Water temperature", celsius, seen("2026-05-01T10:00:00Z", "9.5"))))
	f.Add([]byte(`{"value":[` + stream(`"a"`, "Rainfall", `{"symbol":"mm"}`, seen("2026-05-01T10:00:00Z/2026-05-02T10:00:00Z", `"ice"`)) + `]}`))
	f.Add([]byte(`{"value":[{"components":["phenomenonTime","result"],"dataArray":[["2026-05-01T12:00:00Z",11]]}]}`))
	f.Fuzz(func(t *testing.T, b []byte) {
		var unit datastream
		if err := unmarshal("d", []byte(stream("1", "Water temperature", celsius, "")), &unit); err != nil {
			t.Fatal(err)
		}
		for _, d := range []*datastream{nil, &unit} {
			series, _, _, err := Parser{Site: "s"}.parse(strings.NewReader(string(b)), d)
			if e := (*ingest.Error)(nil); err != nil && !errors.As(err, &e) {
				t.Fatalf("the error %v is no *ingest.Error", err)
			}
			for i := range series {
				if err := series[i].Check(); err != nil {
					t.Fatal(err)
				}
				if math.IsInf(series[i].Place.Lat, 0) {
					t.Fatal("a place at infinity")
				}
			}
		}
	})
}
