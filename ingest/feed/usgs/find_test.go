package usgs

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

// TestManySitesAreAskedForInPieces: the service answers 414 to an address above
// some 8 KB.
func TestManySitesAreAskedForInPieces(t *testing.T) {
	var longest, pieces int
	s := source(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		w.Header().Set("Content-Type", "application/geo+json")
		var rows []string
		if strings.Contains(r.URL.Path, "time-series-metadata") {
			for i := range 250 {
				rows = append(rows, fmt.Sprintf(`{"type":"Feature","id":"t%d","properties":{"monitoring_location_id":"USGS-%015d","parameter_code":"00010","statistic_id":"00003","computation_identifier":"Mean","computation_period_identifier":"Daily","unit_of_measure":"degC","begin_utc":"2005-11-03T08:00:00+00:00","end_utc":"2026-10-07T07:00:00+00:00"}}`, i, i))
			}
		} else {
			pieces++
			longest = max(longest, len(r.URL.RequestURI()))
			for id := range strings.SplitSeq(r.URL.Query().Get("id"), ",") {
				rows = append(rows, fmt.Sprintf(`{"type":"Feature","id":%q,"geometry":{"type":"Point","coordinates":[-121.2,44.5]},"properties":{"monitoring_location_number":"x","monitoring_location_name":"N","site_type_code":"ST","agency_code":"USGS"}}`, id))
			}
		}
		fmt.Fprint(w, `{"features":[`+strings.Join(rows, ",")+`]}`)
	}), "v1", Config{})
	got, err := s.Find(t.Context(), ingest.GaugeSearch{Lat: 44.5, Lon: -121.2, RadiusKm: 50, Variable: ingest.WaterTemperature})
	if err != nil || len(got) != 250 || pieces != 3 || longest > 8000 {
		t.Errorf("%d gauges in %d pieces of at most %d bytes, %v", len(got), pieces, longest, err)
	}
}

// TestWithoutABeginTheLastYearIsAskedFor: the service would give the same, but
// without saying so.
func TestWithoutABeginTheLastYearIsAskedFor(t *testing.T) {
	var spans []string
	s := source(t, answering("", func(w http.ResponseWriter, r *http.Request) {
		spans = append(spans, r.URL.Query().Get("datetime"))
		fmt.Fprint(w, collection(""))
	}), "v1", Config{})
	req := wend()
	req.From = time.Time{}
	want := noon.AddDate(-1, 0, 0).Format(time.RFC3339) + "/" + noon.Format(time.RFC3339)
	if _, err := fetch(s, req); err != nil || !slices.Equal(spans, []string{want}) {
		t.Errorf("asked %v, want %s; %v", spans, want, err)
	}
}
