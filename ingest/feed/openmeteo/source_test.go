package openmeteo

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"net/url"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/replay"
)

var noon = time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)

func day(d int) time.Time { return time.Date(2026, 5, d, 0, 0, 0, 0, time.UTC) }

// source points at a server; the client does not pause.
func source(t *testing.T, h http.Handler, p Product) Source {
	t.Helper()
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	cl, err := client.New(client.Options{UserAgent: "eclose-test", PerSecond: 1e6, Retries: -1})
	if err != nil {
		t.Fatal(err)
	}
	return Source{Client: cl, BaseURL: srv.URL, Product: p, Accepted: true, Now: func() time.Time { return noon }}
}

func fetch(t *testing.T, s Source, req ingest.Request) ([]ingest.Series, error) {
	t.Helper()
	var out []ingest.Series
	err := s.Fetch(t.Context(), req, func(x ingest.Series) error { out = append(out, x); return nil })
	return out, err
}

var air = []ingest.Variable{ingest.AirTemperature}

func TestFetchFromRecordedAnswers(t *testing.T) {
	at := func(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }
	for _, c := range []struct {
		name    string
		product Product
		req     ingest.Request
		keys    string // the first and the number of them
		n       int
		rows    int
		fault   string
	}{
		{"archive", Archive, ingest.Request{Lat: -15.8, Lon: -47.9, Variables: air, From: at(2022, 12, 29), To: at(2022, 12, 31)}, "open-meteo/-15.8,-47.9/air_temperature/instant/ts=archive", 2, 25, ""},
		{"archive, cut to what was asked", Archive, ingest.Request{Lat: -15.8, Lon: -47.9, Variables: air, From: at(2022, 12, 30), To: at(2022, 12, 31)}, "open-meteo/-15.8,-47.9/air_temperature/instant/ts=archive", 1, 3, ""},
		{"forecast", Forecast, ingest.Request{Lat: -15.8, Lon: -47.9, Variables: air}, "open-meteo/-15.8,-47.9/air_temperature/instant/ts=forecast", 1, 168, ""},
		{"ensemble of 21, hours and a day", Ensemble, ingest.Request{Lat: 52.5, Lon: 7, Variables: air}, "open-meteo/52.5,7/air_temperature/instant/ts=ensemble/member=01", 42, 63, ""},
		{"flood, two models", Flood, ingest.Request{Lat: 51.8, Lon: 6.1, Variables: []ingest.Variable{ingest.Discharge}}, "open-meteo/51.8,6.1/discharge/mean/P1D/ts=flood-flood_best_match/member=01", 102, 204, ""},
		{"dates that no model holds come as nulls with status 200", Forecast, ingest.Request{Lat: -12.5, Lon: -130.9, Variables: air, Period: ingest.Daily}, "", 0, 0, "no values for these dates"},
		{"a place outside the model comes as NaN with status 200", Archive, ingest.Request{Lat: 0, Lon: 0, Variables: air, From: at(2022, 12, 30)}, "", 0, 0, "covers this place"},
		{"a refusal keeps the service's words", Forecast, ingest.Request{Lat: 52.3, Lon: 7, Variables: air}, "", 0, 0, "Cannot initialize"},
		{"nothing that the product serves", Forecast, ingest.Request{Lat: 1, Lon: 1, Variables: []ingest.Variable{ingest.WaterTemperature}}, "", 0, 0, ""},
		{"no place on earth", Forecast, ingest.Request{Lat: 91, Lon: 1, Variables: air}, "", 0, 0, "out of range"},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := fetch(t, source(t, replay.New(replay.Shared(t, "feeds"), replay.OpenMeteo), c.product), c.req)
			if (err != nil) != (c.fault != "") || err != nil && !strings.Contains(err.Error(), c.fault) {
				t.Fatalf("got %v, want %q", err, c.fault)
			}
			rows := 0
			for _, x := range got {
				rows += x.Len()
				if x.Retrieved[0] != noon.UnixMicro() {
					t.Errorf("%s was retrieved at %d", x.Key, x.Retrieved[0])
				}
			}
			if len(got) != c.n || rows != c.rows || c.n > 0 && got[0].String() != c.keys {
				t.Errorf("%d series, %d readings, first %v; want %d, %d, %s", len(got), rows, got, c.n, c.rows, c.keys)
			}
		})
	}
}

// invented answers with the columns asked for, one hour a day, and members
// where the product is the ensemble.
func invented(asked *[]url.Values, paths *[]string, value func(member, i int) float64) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		q := r.URL.Query()
		*asked, *paths = append(*asked, q), append(*paths, r.URL.Path)
		members := 1
		if strings.HasSuffix(r.URL.Path, "ensemble") {
			members = 3
		}
		from, to := day(18), day(22)
		if q.Has("start_date") {
			from, _ = time.Parse(time.DateOnly, q.Get("start_date"))
			to, _ = time.Parse(time.DateOnly, q.Get("end_date"))
		}
		var times, cols, units []string
		for d := from; !d.After(to); d = d.AddDate(0, 0, 1) {
			times = append(times, fmt.Sprint(d.Unix()))
		}
		for name := range strings.SplitSeq(q.Get("hourly"), ",") {
			for m := range members {
				col := name
				if m > 0 {
					col = fmt.Sprintf("%s_member%02d", name, m)
				}
				var v []string
				for i := range times {
					v = append(v, fmt.Sprint(value(m, i)))
				}
				cols = append(cols, fmt.Sprintf("%q:[%s]", col, strings.Join(v, ",")))
				units = append(units, fmt.Sprintf("%q:%q", col, map[string]string{"temperature_2m": "°C", "precipitation": "mm"}[name]))
			}
		}
		w.Header().Set("Content-Type", "application/json; charset=utf-8")
		fmt.Fprintf(w, `{"latitude":44.75,"longitude":-121.25,"utc_offset_seconds":0,"timezone":"GMT","hourly_units":{"time":"unixtime",%s},"hourly":{"time":[%s],%s}}`, strings.Join(units, ","), strings.Join(times, ","), strings.Join(cols, ","))
	})
}

func TestOneRequestServesPastAndFuture(t *testing.T) {
	// What a river's weather needs: the past from the archive, the days to come
	// as one forecast and as members, all with the same words.
	both := []ingest.Variable{ingest.AirTemperature, ingest.Precipitation}
	var asked []url.Values
	var paths []string
	h := invented(&asked, &paths, func(m, i int) float64 { return float64(m + i) })
	for _, c := range []struct {
		product Product
		req     ingest.Request
		keys    int
		want    map[string]string
	}{
		{Archive, ingest.Request{Lat: 44.7, Lon: -121.2, Variables: both, From: day(1), To: day(14)}, 2, map[string]string{"start_date": "2026-05-01", "end_date": "2026-05-13"}},
		{Forecast, ingest.Request{Lat: 44.7, Lon: -121.2, Variables: both, From: day(10)}, 2, map[string]string{"forecast_days": "16", "past_days": "9", "start_date": ""}},
		{Ensemble, ingest.Request{Lat: 44.7, Lon: -121.2, Variables: both}, 6, map[string]string{"forecast_days": "16", "past_days": ""}},
		{Ensemble, ingest.Request{Lat: 44.7, Lon: -121.2, Variables: both, To: noon.AddDate(0, 0, 60)}, 6, map[string]string{"forecast_days": "35"}},
	} {
		asked, paths = nil, nil
		s := source(t, h, c.product)
		got, err := fetch(t, s, c.req)
		if err != nil || len(asked) != 1 || paths[0] != "/v1/"+string(c.product) {
			t.Fatalf("%s: %d requests %v, %v", c.product, len(asked), paths, err)
		}
		keys := map[ingest.Key]bool{}
		for _, x := range got {
			keys[x.Key] = true
			if x.Site != "44.7,-121.2" || x.Place.Lat != 44.75 {
				t.Errorf("%s: site %s, place %v: the place asked for names the series, the cell says where it is", c.product, x.Site, x.Place.Lat)
			}
		}
		if len(keys) != c.keys {
			t.Errorf("%s: %d series, want %d", c.product, len(keys), c.keys)
		}
		c.want["hourly"], c.want["timeformat"], c.want["timezone"] = "precipitation,temperature_2m", "unixtime", "GMT"
		for k, v := range c.want {
			if asked[0].Get(k) != v {
				t.Errorf("%s: asked %s=%q, want %q", c.product, k, asked[0].Get(k), v)
			}
		}
	}
}

func TestLongPastsAreAskedInPieces(t *testing.T) {
	var asked []url.Values
	var paths []string
	s := source(t, invented(&asked, &paths, func(m, i int) float64 { return float64(i) }), Archive)
	got, err := fetch(t, s, ingest.Request{Lat: 1, Lon: 2, Variables: air, From: time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC)})
	if err != nil {
		t.Fatal(err)
	}
	rows := 0
	for i, x := range got {
		rows += x.Len()
		if i > 0 && x.Time[0]-got[i-1].Time[got[i-1].Len()-1] != int64(24*time.Hour/time.Microsecond) {
			t.Errorf("piece %d does not follow the one before", i)
		}
	}
	if len(asked) != 3 || rows != 2192 {
		t.Errorf("%d requests, %d days, want 3 and 2192", len(asked), rows)
	}
}

func TestARunWhoseMembersAreAllEqualIsRefused(t *testing.T) {
	var asked []url.Values
	var paths []string
	s := source(t, invented(&asked, &paths, func(_, i int) float64 { return float64(i) }), Ensemble)
	got, err := fetch(t, s, ingest.Request{Lat: 1, Lon: 2, Variables: air})
	if again, _ := ingest.Retryable(err); len(got) != 0 || !again || !strings.Contains(err.Error(), "members of air_temperature are identical") {
		t.Errorf("got %d series, %v", len(got), err)
	}
}

func TestFreeUseMustBeAccepted(t *testing.T) {
	var asked []url.Values
	var paths []string
	s := source(t, invented(&asked, &paths, func(_, i int) float64 { return float64(i) }), Forecast)
	s.Accepted = false
	if _, err := fetch(t, s, ingest.Request{Lat: 1, Lon: 2, Variables: air}); err == nil || !strings.Contains(err.Error(), "non-commercial") || len(asked) != 0 {
		t.Errorf("got %v after %d requests", err, len(asked))
	}
	s.APIKey = "the-key"
	if _, err := fetch(t, s, ingest.Request{Lat: 1, Lon: 2, Variables: air}); err != nil || len(asked) != 1 || asked[0].Get("apikey") != "the-key" {
		t.Errorf("a customer's key gave %v, %v", err, asked)
	}
}
