package eahydrology

import (
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

var noon = time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)

const polson = "3c5cba29-2321-4289-a1fd-c355e135f4cb"

func source(t *testing.T, h http.Handler) Source {
	t.Helper()
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	cl, err := client.New(client.Options{UserAgent: "eclose-test", PerSecond: 1e6, Retries: -1})
	if err != nil {
		t.Fatal(err)
	}
	return Source{Client: cl, BaseURL: srv.URL, Now: func() time.Time { return noon }}
}

func fetch(t *testing.T, s Source, req ingest.Request) ([]ingest.Series, error) {
	t.Helper()
	var out []ingest.Series
	err := s.Fetch(t.Context(), req, func(x ingest.Series) error { out = append(out, x); return nil })
	return out, err
}

var flow = []ingest.Variable{ingest.Discharge}

func TestFetchFromRecordedAnswers(t *testing.T) {
	rep := replay.New(replay.Shared(t, "feeds"), replay.EA)
	got, err := fetch(t, source(t, rep), ingest.Request{Site: polson, Variables: flow, Period: ingest.Daily, From: time.Date(2024, 1, 10, 0, 0, 0, 0, time.UTC), To: time.Date(2024, 2, 1, 0, 0, 0, 0, time.UTC)})
	if err != nil || len(got) != 1 || got[0].Len() != 22 || got[0].String() != "ea/"+polson+"/discharge/mean/P1D" || got[0].Retrieved[0] != noon.UnixMicro() {
		t.Fatalf("got %+v, %v", got, err)
	}
	var paths []string
	for _, r := range rep.Asked() {
		paths = append(paths, strings.TrimPrefix(r.URL.Path, "/hydrology/id/measures/"+polson))
	}
	if p := strings.Join(paths, " "); p != "/hydrology/id/measures.json -flow-min-86400-m3s-qualified/readings.json -flow-max-86400-m3s-qualified/readings.json -flow-m-86400-m3s-qualified/readings.json" {
		t.Errorf("asked %s", p)
	}
}

func TestAStationWithoutWhatIsWantedIsAnEmptyAnswer(t *testing.T) {
	rep := replay.New(replay.Shared(t, "feeds"), replay.EA)
	for site, v := range map[string][]ingest.Variable{polson: {ingest.WaterTemperature}, guid: flow} {
		if got, err := fetch(t, source(t, rep), ingest.Request{Site: site, Variables: v}); err != nil || len(got) != 0 {
			t.Errorf("%s: %v, %v", site, got, err)
		}
	}
}

func TestAReferenceOfFloodMonitoringAsksTheLastWeeks(t *testing.T) {
	asked := ""
	s := source(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = r.URL.RequestURI()
		w.Header().Set("Content-Type", "application/json")
		fmt.Fprint(w, items("1491TH-level-stage-i-15_min-mASD", `"dateTime":"2026-05-18T11:00:00Z","value":2.1`))
	}))
	got, err := fetch(t, s, ingest.Request{Site: "1491TH", Variables: []ingest.Variable{ingest.GaugeHeight}, From: noon.AddDate(0, 0, -2)})
	if err != nil || len(got) != 1 || got[0].Value[0] != 2.1 {
		t.Fatalf("got %v, %v", got, err)
	}
	if !strings.HasPrefix(asked, "/flood-monitoring/id/stations/1491TH/readings?") || !strings.Contains(asked, "since=2026-05-16T12%3A00%3A00Z") {
		t.Errorf("asked %s", asked)
	}
}

func TestAStationThatIsNoneIsRefusedBeforeAnythingIsSent(t *testing.T) {
	s := source(t, http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("something was sent") }))
	if _, err := fetch(t, s, ingest.Request{Site: "../../x", Variables: flow}); err == nil || !strings.Contains(err.Error(), "neither a station id") {
		t.Errorf("got %v", err)
	}
}

func TestALongPastIsAskedInPieces(t *testing.T) {
	n := 0
	s := source(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/json")
		if strings.HasSuffix(r.URL.Path, "measures.json") {
			// A measure of another station, and a name made to lead astray.
			fmt.Fprintf(w, `{"items":[{"@id":"http://x/id/measures/%[1]s-temp-i-subdaily-C"},{"@id":"http://x/id/measures/11111111-2222-3333-4444-666666666666-temp-i-subdaily-C"},{"@id":"http://x/id/measures/%[1]s-flow-x-i-15_min-a?b=c"}]}`, guid)
			return
		}
		n++
		if r.URL.RawPath != "" || r.URL.Path != "/hydrology/id/measures/"+guid+"-temp-i-subdaily-C/readings.json" {
			t.Errorf("asked %s", r.URL)
		}
		day := r.URL.Query().Get("mineq-date")
		fmt.Fprint(w, items(guid+"-temp-i-subdaily-C", `"dateTime":"`+day+`T12:00:00","value":9,"quality":"Good"`))
	}))
	got, err := fetch(t, s, ingest.Request{Site: guid, Variables: []ingest.Variable{ingest.WaterTemperature}, From: noon.AddDate(-3, 0, 0)})
	if err != nil || n != 4 || len(got) != 4 {
		t.Errorf("%d requests, %d parts, %v; want 4 and 4", n, len(got), err)
	}
}
