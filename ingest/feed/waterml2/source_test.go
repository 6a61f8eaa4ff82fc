package waterml2

import (
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/replay"
)

const sos = "/sos?service=SOS&request=GetObservation&featureOfInterest={site}&temporalFilter=om:phenomenonTime,{from}/{to}"

func source(t *testing.T, template string, h http.Handler) *Source {
	t.Helper()
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	cl, err := client.New(client.Options{UserAgent: "eclose-test", PerSecond: 1e6, Retries: -1})
	if err != nil {
		t.Fatal(err)
	}
	s, err := New(Config{Client: cl, URL: srv.URL + template, Now: func() time.Time { return at(20, 0) }})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func at(h, m int) time.Time { return time.Date(2026, 5, 1, h, m, 0, 0, time.UTC) }

func fetch(t *testing.T, s *Source, req ingest.Request) ([]ingest.Series, error) {
	t.Helper()
	var out []ingest.Series
	err := s.Fetch(t.Context(), req, func(x ingest.Series) error { out = append(out, x); return nil })
	return out, err
}

func xmlOf(body string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", `text/xml; subtype="waterml/2.0"`)
		fmt.Fprint(w, body)
	}
}

func wendAt(site string) ingest.Request {
	return ingest.Request{Site: site, Variables: []ingest.Variable{ingest.WaterTemperature}, From: at(10, 30), To: at(13, 0)}
}

func TestFetchTakesTheSpanAndTheSiteAskedFor(t *testing.T) {
	v := func(x string) string { return "<w:value>" + x + "</w:value>" }
	body := doc(obs(water, wend, degC, point("2026-05-01T10:00:00Z", v("9"))+point("2026-05-01T11:00:00Z", v("10"))+point("2026-05-01T13:00:00Z", v("12"))) +
		obs(water, `x:href="https://example.org/stations/garrow">`, degC, point("2026-05-01T11:00:00Z", v("20"))))
	for _, site := range []string{"wend", "example.org/stations/wend", "https://example.org/stations/wend"} {
		asked := ""
		s := source(t, sos, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
			asked = r.URL.Query().Get("featureOfInterest") + " " + r.URL.Query().Get("temporalFilter")
			xmlOf(body)(w, r)
		}))
		got, err := fetch(t, s, wendAt(site))
		if err != nil || len(got) != 1 || got[0].Len() != 1 || got[0].Value[0] != 10 || got[0].Site != site || got[0].Retrieved[0] != at(20, 0).UnixMicro() {
			t.Errorf("%s: %+v, %v", site, got, err)
		}
		if asked != site+" om:phenomenonTime,2026-05-01T10:30:00Z/2026-05-01T13:00:00Z" {
			t.Errorf("asked %s", asked)
		}
	}
	if _, err := fetch(t, source(t, sos, xmlOf(body)), wendAt("ash")); err == nil || !strings.Contains(err.Error(), "no series of site ash, but of example.org/stations/wend") {
		t.Errorf("another site: %v", err)
	}
}

func TestFetchFromARecordedAnswer(t *testing.T) {
	rep := replay.New(replay.Shared(t, "feeds"), []replay.Route{{Path: "/sos", File: "waterml2/usgs-dv-01646500-2014.xml"}})
	got, err := fetch(t, source(t, sos, rep), ingest.Request{Site: "USGS.01646500", Variables: []ingest.Variable{ingest.Discharge}, Period: ingest.Daily, From: time.Date(2014, 1, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2015, 1, 1, 0, 0, 0, 0, time.UTC)})
	if err != nil || len(got) != 1 || got[0].Len() == 0 {
		t.Fatalf("%+v, %v", got, err)
	}
}

func TestALongSpanIsAskedYearByYear(t *testing.T) {
	n := 0
	s := source(t, "/wml/{site}/{from}/{to}", http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		n++
		if !strings.HasPrefix(r.URL.EscapedPath(), "/wml/a%2Fb%3Fc/20") {
			t.Errorf("asked %s", r.URL)
		}
		xmlOf(doc(""))(w, r)
	}))
	req := wendAt("a/b?c")
	req.From = req.To.AddDate(-3, 0, 0)
	if got, err := fetch(t, s, req); err != nil || len(got) != 0 || n != 4 { // 1096 days
		t.Errorf("%d requests, %v, %v", n, got, err)
	}
}

func TestARefusalOrAWebPageIsOneClearError(t *testing.T) {
	for body, want := range map[string]string{
		"<html><body>down</body></html>": "web page",
		`<ows:ExceptionReport xmlns:ows="http://www.opengis.net/ows/1.1"><ows:Exception exceptionCode="InvalidParameterValue"><ows:ExceptionText>no such feature</ows:ExceptionText></ows:Exception></ows:ExceptionReport>`: "no such feature",
		doc("")[:60]: "ends early",
	} {
		var e *ingest.Error
		if _, err := fetch(t, source(t, sos, xmlOf(body)), wendAt("wend")); !errors.As(err, &e) || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %s", err, want)
		}
	}
}

func TestATemplateThatCannotBeUsedIsRefused(t *testing.T) {
	cl, _ := client.New(client.Options{UserAgent: "x"})
	for u, want := range map[string]string{
		"": "does not begin", "ftp://x/{site}{from}{to}": "does not begin", "https://{site}.example.org/{from}/{to}": "does not begin", "https://example.org{site}/{from}{to}": "does not begin",
		"https://u:p@example.org/{site}/{from}/{to}": "does not begin", "https://example.org/{site}?t={from}": "{to}", "https://example.org/?t={from}/{to}": "{site}",
		"https://example.org/{site}/{from}/{to}": "",
	} {
		_, err := New(Config{Client: cl, URL: u, Now: time.Now})
		if (err == nil) != (want == "") || err != nil && !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", u, err)
		}
	}
}
