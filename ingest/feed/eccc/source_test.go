package eccc

import (
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

func source(t *testing.T, h http.Handler) Source {
	t.Helper()
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	cl, err := client.New(client.Options{UserAgent: "eclose-test", PerSecond: 1e6, Retries: -1})
	if err != nil {
		t.Fatal(err)
	}
	return Source{Client: cl, BaseURL: srv.URL, GeoMetURL: srv.URL, Now: func() time.Time { return noon }}
}

func fetch(t *testing.T, s Source, req ingest.Request) ([]ingest.Series, error) {
	t.Helper()
	var out []ingest.Series
	err := s.Fetch(t.Context(), req, func(x ingest.Series) error { out = append(out, x); return nil })
	return out, err
}

func TestWaterTemperatureComesFromWaterofficeAndDaysFromGeoMet(t *testing.T) {
	rep := replay.New("", replay.ECCC)
	s := source(t, rep)
	got, err := fetch(t, s, ingest.Request{Site: "05BB001", Variables: []ingest.Variable{ingest.WaterTemperature, ingest.Discharge}, From: noon.AddDate(0, 0, -8)})
	if err != nil || len(got) != 2 || got[0].String() != "eccc/05BB001/water_temperature/instant/ts=5" || got[0].Len() != 2 || got[1].Qualifier[0] != "B" {
		t.Fatalf("got %+v, %v", got, err)
	}
	if q := rep.Asked()[0].URL.Query(); strings.Join(q["parameters[]"], " ") != "5 41 47" || q.Get("start_date") != "2026-09-30 12:00:00" {
		t.Errorf("asked %v", q)
	}
	got, err = fetch(t, s, ingest.Request{Site: "05BB001", Variables: []ingest.Variable{ingest.Discharge}, Period: ingest.Daily, From: noon.AddDate(-1, 0, 0)})
	if err != nil || len(got) != 1 || got[0].Value[0] != 9.5 || got[0].Qualifier[0] != "Ice Conditions" || got[0].Period != ingest.Daily {
		t.Errorf("got %+v, %v", got, err)
	}
}

func TestWaterofficeReachesEighteenMonthsBackInPieces(t *testing.T) {
	rep := replay.New("", replay.ECCC)
	got, err := fetch(t, source(t, rep), ingest.Request{Site: "05BB999", Variables: []ingest.Variable{ingest.WaterTemperature}, From: noon.AddDate(-10, 0, 0)})
	if err != nil || len(got) != 0 {
		t.Errorf("a station without data gave %v, %v", got, err)
	}
	if n := len(rep.Asked()); n != 9 || rep.Asked()[0].URL.Query().Get("start_date") != "2025-04-08 12:00:00" {
		t.Errorf("%d requests from %v", n, rep.Asked()[0].URL.Query())
	}
}

func TestAStationThatIsNoneIsRefusedBeforeAnythingIsSent(t *testing.T) {
	s := source(t, http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("something was sent") }))
	if _, err := fetch(t, s, ingest.Request{Site: "5BB1&x", Variables: []ingest.Variable{ingest.Discharge}}); err == nil || !strings.Contains(err.Error(), "not a station") {
		t.Errorf("got %v", err)
	}
}
