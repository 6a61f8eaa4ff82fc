package usgs

import (
	"fmt"
	"math"
	"net/http"
	"strings"
	"testing"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/replay"
)

func TestNormalsFromTheRecordedAnswer(t *testing.T) {
	rep := replay.New(replay.Shared(t, "feeds"), replay.USGS)
	s := source(t, rep, "v1", Config{Key: "k"})
	got, err := s.Normals(t.Context(), "12451000", ingest.Discharge)
	if err != nil || len(got) != 1 || got[0].Day != "01-01" || got[0].Years != 104 {
		t.Fatalf("%+v, %v", got, err)
	}
	// Recorded: minimum 125, median 315.5, mean 411.413, maximum 2500 ft3/s.
	const ft3 = 0.028316846592
	for _, c := range [][2]float64{{got[0].Lowest, 125}, {got[0].Median, 315.5}, {got[0].Mean, 411.413}, {got[0].Highest, 2500}} {
		if math.Abs(c[0]-c[1]*ft3) > 1e-9 {
			t.Errorf("%g m3/s, want %g ft3/s", c[0], c[1])
		}
	}
	if d := got[0]; !(d.Lowest <= d.P10 && d.P10 <= d.P25 && d.P25 <= d.Median && d.Median <= d.P75 && d.P75 <= d.P90 && d.P90 <= d.Highest) {
		t.Errorf("out of order: %+v", d)
	}
	r := rep.Asked()[0]
	if q := r.URL.Query(); q.Get("normal_type") != "DOY" || q.Get("start_date") != "01-01" || q.Get("end_date") != "12-31" || r.Header.Get("X-Api-Key") != "k" || strings.Contains(r.URL.RawQuery, "api_key") {
		t.Errorf("asked %s with %v", r.URL, r.Header)
	}
}

// TestNormalsOfTheRightSeriesDayByDay: rows of months, of daily maxima, of a
// second series, another site; two pages; days out of order; too few years.
func TestNormalsOfTheRightSeriesDayByDay(t *testing.T) {
	data := func(series, statistic, values string) string {
		return fmt.Sprintf(`{"parameter_code":"00010","parent_statistic_id":%q,"parent_time_series_id":%q,"unit_of_measure":"degC","values":[%s]}`, statistic, series, values)
	}
	value := func(kind, day, computation, more string, years int) string {
		return fmt.Sprintf(`{"computation":%q,"sample_count":%d,"time_of_year":%q,"time_of_year_type":%q,%s}`, computation, years, day, kind, more)
	}
	const day, month = "day_of_year", "month_of_year"
	feature := func(site string, data ...string) string {
		return `{"type":"Feature","geometry":null,"properties":{"monitoring_location_id":"` + site + `","data":[` + strings.Join(data, ",") + `]}}`
	}
	page := map[string]string{
		"": `{"features":[` + feature("USGS-14076500",
			data("old", "00003", value(day, "06-02", "median", `"value":"1"`, 5)),
			data("new", "00003", value(day, "06-02", "median", `"value":"12.5"`, 20)+","+value(month, "06", "median", `"value":"14"`, 20)),
			data("new", "00001", value(day, "06-02", "median", `"value":"19"`, 20))) + `],"next":"p2"}`,
		"p2": `{"features":[` + feature("USGS-14076500", data("new", "00003", value(day, "06-01", "percentile", `"percentiles":["10","25","75","90"],"values":["nan","10","14","nan"]`, 3)+","+value(day, "02-29", "minimum", `"value":"2"`, 5))) +
			`,` + feature("USGS-99999999", data("x", "00003", value(day, "06-03", "median", `"value":"9"`, 90))) + `],"next":null}`,
	}
	var asked []string
	s := source(t, http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = append(asked, r.URL.Path+"?"+r.URL.Query().Get("next_token"))
		w.Header().Set("Content-Type", "application/json")
		fmt.Fprint(w, page[r.URL.Query().Get("next_token")])
	}), "v1", Config{})
	got, err := s.Normals(t.Context(), "USGS-14076500", ingest.WaterTemperature)
	if err != nil || len(got) != 3 || len(asked) != 2 || asked[1] != "/statistics/v0/observationNormals?p2" {
		t.Fatalf("%+v, %v, asked %v", got, err, asked)
	}
	if got[0].Day != "02-29" || got[0].Lowest != 2 || got[1].Day != "06-01" || got[1].Years != 3 || !math.IsNaN(got[1].P10) || got[1].P25 != 10 || got[1].P75 != 14 || got[2].Median != 12.5 || !math.IsNaN(got[2].Lowest) {
		t.Errorf("%+v", got)
	}
	page["p2"] = strings.Replace(page["p2"], `"next":null`, `"next":"p2"`, 1)
	if _, err := s.Normals(t.Context(), "USGS-14076500", ingest.WaterTemperature); err == nil || !strings.Contains(err.Error(), "paging loops") {
		t.Errorf("a token that leads back: %v", err)
	}
}

func TestNormalsThatCannotBeAskedForSayWhy(t *testing.T) {
	s := source(t, http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Error("something was sent") }), "v1", Config{})
	if _, err := s.Normals(t.Context(), "river", ingest.WaterTemperature); err == nil || !strings.Contains(err.Error(), "not a USGS site number") {
		t.Error(err)
	}
	if _, err := s.Normals(t.Context(), "14076500", ingest.CloudCover); err == nil || !strings.Contains(err.Error(), "does not measure") {
		t.Error(err)
	}
	s = source(t, http.NotFoundHandler(), "mirror", Config{})
	s.base.Path = "/mirror"
	if _, err := s.Normals(t.Context(), "14076500", ingest.WaterTemperature); err == nil || !strings.Contains(err.Error(), "/ogcapi/v1") {
		t.Error(err)
	}
}
