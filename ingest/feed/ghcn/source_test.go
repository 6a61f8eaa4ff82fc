package ghcn

import (
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

var noon = time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)

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

var air = []ingest.Variable{ingest.AirTemperature}

func TestUnitsOtherThanThoseAskedForAreRefused(t *testing.T) {
	// Neither recorded station answers in metric units, which is what we ask
	// for: one is in Fahrenheit, the other in tenths of a degree.
	rep := replay.New(replay.Shared(t, "feeds"), replay.GHCN)
	for site, want := range map[string]string{"USC00042319": "a temperature of 130 cannot be in metric units", "USW00024233": "looks like tenths"} {
		got, err := fetch(t, source(t, rep), ingest.Request{Site: site, Variables: air, From: time.Date(2014, 1, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2022, 1, 1, 0, 0, 0, 0, time.UTC)})
		if err == nil || !strings.Contains(err.Error(), want) || len(got) != 0 {
			t.Errorf("%s gave %d series, %v; want %q", site, len(got), err, want)
		}
	}
	for _, r := range rep.Asked() {
		if q := r.URL.Query(); q.Get("units") != "metric" || q.Get("dataset") != "daily-summaries" || q.Get("dataTypes") != "TAVG,TMAX,TMIN" {
			t.Errorf("asked for %v", q)
		}
	}
}

func TestLongSpansAreAskedInPiecesAndADecadeWithoutDataIsNone(t *testing.T) {
	var asked []string
	s := source(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		q := r.URL.Query()
		asked = append(asked, q.Get("startDate")+"/"+q.Get("endDate"))
		w.Header().Set("Content-Type", "text/csv")
		if q.Get("startDate") < "2000" {
			return
		}
		fmt.Fprintf(w, "\"STATION\",\"DATE\",\"LATITUDE\",\"LONGITUDE\",\"ELEVATION\",\"NAME\",\"TMAX\",\"TMAX_ATTRIBUTES\"\n\"USW00024233\",\"%s\",\"47.4\",\"-122.3\",\"112.5\",\"SEATTLE\",\"%s\",\",,W,2400\"\n", q.Get("startDate"), "  10.6")
	}))
	got, err := fetch(t, s, ingest.Request{Site: "USW00024233", Variables: air, From: time.Date(1995, 3, 1, 0, 0, 0, 0, time.UTC)})
	if err != nil || strings.Join(asked, " ") != "1995-03-01/2005-02-28 2005-03-01/2015-02-28 2015-03-01/2025-02-28 2025-03-01/2026-05-18" {
		t.Fatalf("asked %v, %v", asked, err)
	}
	if len(got) != 3 || math.Abs(got[0].Value[0]-10.6) > 1e-9 || got[0].Place.Elevation != 112.5 || got[0].Retrieved[0] != noon.UnixMicro() {
		t.Errorf("got %+v", got)
	}
}

func TestBadRequestsAreRefusedBeforeAnythingIsSent(t *testing.T) {
	s := source(t, http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("something was sent") }))
	for want, req := range map[string]ingest.Request{
		"not a station":      {Site: "24233", Variables: air, From: noon},
		"names no first day": {Site: "USW00024233", Variables: air},
	} {
		if _, err := fetch(t, s, req); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("got %v, want %q", err, want)
		}
	}
	if _, err := fetch(t, s, ingest.Request{Site: "USW00024233", Variables: []ingest.Variable{ingest.Discharge}, From: noon}); err != nil {
		t.Errorf("what the feed does not serve gave %v", err)
	}
}
