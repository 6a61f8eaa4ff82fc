package feed

import (
	"context"
	"errors"
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

// around is the search of every test; the invented lists in replay fit it.
var around = ingest.GaugeSearch{Lat: 50.6, Lon: -4.3, RadiusKm: 40, Variable: ingest.WaterTemperature}

// root is the part of a base URL behind the host.
var root = map[string]string{"usgs": "/ogcapi/v1", "sensorthings": "/v1.1"}

func finderAt(t *testing.T, a Agency, h http.Handler) (ingest.GaugeFinder, string) {
	t.Helper()
	srv := httptest.NewServer(h)
	t.Cleanup(srv.Close)
	cl, err := client.New(client.Options{UserAgent: "eclose-test", PerSecond: 1e6, Retries: -1})
	if err != nil {
		t.Fatal(err)
	}
	f, err := a.Finder(Server{Client: cl, BaseURL: srv.URL + root[a.Name], Now: func() time.Time { return time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC) }})
	if err != nil {
		t.Fatal(err)
	}
	return f, srv.URL
}

// TestEveryListOfGaugesIsSearchedAlike holds every agency to the rules of
// ingest.GaugeFinder, through the replaying server.
func TestEveryListOfGaugesIsSearchedAlike(t *testing.T) {
	for _, a := range Agencies {
		t.Run(a.Name, func(t *testing.T) {
			rep := replay.New("", replay.Lists[a.Name])
			f, _ := finderAt(t, a, rep)
			got, err := f.Find(t.Context(), around)
			if err != nil {
				t.Fatal(err)
			}
			// Flow only, in a corner of the box, without a place, closed: not wanted.
			if len(got) != 2 {
				t.Fatalf("found %d gauges: %+v", len(got), got)
			}
			near, far := got[0], got[1]
			if !strings.HasPrefix(strings.ToLower(near.Name), "wend near garrow") || !strings.HasPrefix(strings.ToLower(far.Name), "wend below garrow") {
				t.Errorf("found %q and %q", near.Name, far.Name)
			}
			// A tenth of a degree of latitude on a sphere of 6371.0088 km.
			if near.DistanceKm > 0.01 || math.Abs(far.DistanceKm-6371.0088*math.Pi/1800) > 0.01 {
				t.Errorf("%g and %g km away", near.DistanceKm, far.DistanceKm)
			}
			sites := map[string]bool{}
			for _, g := range got {
				if g.Feed != a.Name || g.Feed != f.Name() || g.Site == "" || sites[g.Site] {
					t.Errorf("feed %q, site %q", g.Feed, g.Site)
				}
				sites[g.Site] = true
				has := false
				for i, s := range g.Series {
					has = has || s.Variable == ingest.WaterTemperature
					if s.Variable.Unit() == "" || s.Statistic == "" || i > 0 && s.End.After(g.Series[i-1].End) {
						t.Errorf("%s: series %+v", g.Site, s)
					}
				}
				if !has {
					t.Errorf("%s has no water temperature", g.Site)
				}
			}
			hasFlow := false
			for _, s := range near.Series {
				hasFlow = hasFlow || s.Variable == ingest.Discharge
			}
			if !hasFlow {
				t.Error("the flow of the nearest is not told")
			}
		})
	}
}

func TestASiteThatWasFoundCanBeFetched(t *testing.T) {
	for _, a := range Agencies {
		t.Run(a.Name, func(t *testing.T) {
			f, _ := finderAt(t, a, replay.New("", replay.Lists[a.Name]))
			got, err := f.Find(t.Context(), around)
			if err != nil {
				t.Fatal(err)
			}
			src, ok := f.(ingest.Source)
			if !ok {
				t.Fatalf("%T fetches nothing", f)
			}
			for _, g := range got {
				err := src.Fetch(t.Context(), ingest.Request{Site: g.Site, Variables: []ingest.Variable{ingest.WaterTemperature}, From: time.Date(2026, 5, 17, 0, 0, 0, 0, time.UTC)}, func(ingest.Series) error { return nil })
				// The replaying server knows no readings; a site that is no site
				// would be refused before it is asked.
				if st := (*client.StatusError)(nil); err != nil && !errors.As(err, &st) && !strings.Contains(err.Error(), "knows no such site") {
					t.Errorf("%s: %v", g.Site, err)
				}
			}
		})
	}
}

func TestAListWithoutAGaugeThereIsNoError(t *testing.T) {
	for _, a := range Agencies {
		routes := replay.Lists[a.Name]
		if a.Name == "usgs" {
			routes = []replay.Route{{Path: "/ogcapi/v1/collections/time-series-metadata/items", Body: `{"type":"FeatureCollection","features":[],"links":[]}`}}
		}
		f, _ := finderAt(t, a, replay.New("", routes))
		q := around
		q.Lat, q.RadiusKm = 52, 1
		if got, err := f.Find(t.Context(), q); err != nil || len(got) != 0 {
			t.Errorf("%s: %v, %v", a.Name, got, err)
		}
	}
}

func TestASearchThatCannotBeAnsweredIsNotSent(t *testing.T) {
	for _, a := range Agencies {
		f, _ := finderAt(t, a, http.HandlerFunc(func(http.ResponseWriter, *http.Request) { t.Errorf("%s was asked", a.Name) }))
		for name, change := range map[string]func(*ingest.GaugeSearch){
			"latitude":                  func(q *ingest.GaugeSearch) { q.Lat = 91 },
			"latitude that is none":     func(q *ingest.GaugeSearch) { q.Lat = math.NaN() },
			"longitude":                 func(q *ingest.GaugeSearch) { q.Lon = -181 },
			"no radius":                 func(q *ingest.GaugeSearch) { q.RadiusKm = 0 },
			"half a continent":          func(q *ingest.GaugeSearch) { q.RadiusKm = 501 },
			"no variable":               func(q *ingest.GaugeSearch) { q.Variable = "" },
			"unknown variable":          func(q *ingest.GaugeSearch) { q.Variable = "colour" },
			"region that is none":       func(q *ingest.GaugeSearch) { q.Region = "Tarn Fells" },
			"region with a query in it": func(q *ingest.GaugeSearch) { q.Region = "BC&x=1" },
		} {
			q := around
			change(&q)
			var e *ingest.Error
			if _, err := f.Find(t.Context(), q); !errors.As(err, &e) || e.Feed != a.Name {
				t.Errorf("%s, %s: %v", a.Name, name, err)
			}
		}
	}
}

func TestAListThatIsNoneIsOneClearError(t *testing.T) {
	for _, a := range Agencies {
		for name, answer := range map[string]struct {
			code       int
			kind, body string
			retry      bool
		}{
			"a web page":        {200, "text/html", "<html>maintenance</html>", true},
			"garbage":           {200, "application/json", "\x00\x01\x02", false},
			"another shape":     {200, "application/json", `{"a":1}`, false},
			"half a list":       {200, "application/json", `{"features":[{"id":"x"`, true},
			"out of order":      {503, "text/plain", "later", true},
			"no such list":      {404, "text/plain", "nothing here", false},
			"a list of nothing": {200, "application/json", `[]`, false},
		} {
			f, _ := finderAt(t, a, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Content-Type", answer.kind)
				w.WriteHeader(answer.code)
				_, _ = w.Write([]byte(answer.body))
			}))
			var e *ingest.Error
			got, err := f.Find(t.Context(), around)
			if !errors.As(err, &e) || e.Feed != a.Name || got != nil {
				t.Errorf("%s, %s: %v, %v", a.Name, name, got, err)
			} else if again, _ := ingest.Retryable(err); again != answer.retry {
				t.Errorf("%s, %s: retryable is %v: %v", a.Name, name, again, err)
			}
		}
	}
}

func TestASearchEndsWithItsContext(t *testing.T) {
	for _, a := range Agencies {
		ctx, cancel := context.WithCancel(t.Context())
		f, _ := finderAt(t, a, http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) { cancel(); <-r.Context().Done() }))
		if _, err := f.Find(ctx, around); !errors.Is(err, context.Canceled) {
			t.Errorf("%s: %v", a.Name, err)
		}
	}
}

func TestALinkOfAListToAnotherHostIsNotFollowed(t *testing.T) {
	away := `http://127.0.0.2:9/steal`
	for name, body := range map[string]string{
		"usgs":         `{"features":[],"links":[{"rel":"next","href":"` + away + `"}]}`,
		"eccc":         `{"features":[{"properties":{"STATION_NUMBER":"01AA001"}}],"links":[{"rel":"next","href":"` + away + `"}]}`,
		"sensorthings": `{"@iot.nextLink":"` + away + `","value":[{"@iot.id":1}]}`,
	} {
		for _, a := range Agencies {
			if a.Name != name {
				continue
			}
			f, _ := finderAt(t, a, http.HandlerFunc(func(w http.ResponseWriter, _ *http.Request) {
				w.Header().Set("Content-Type", "application/json")
				_, _ = w.Write([]byte(body))
			}))
			if _, err := f.Find(t.Context(), around); err == nil || !strings.Contains(err.Error(), "not allowed") {
				t.Errorf("%s: %v", name, err)
			}
		}
	}
}

func TestByStateOrProvince(t *testing.T) {
	for region, want := range map[string]string{"OR": "usgs", "oregon": "usgs", "BC": "eccc", "British Columbia": "eccc"} {
		for _, a := range Agencies {
			q := ingest.GaugeSearch{Region: region, Variable: ingest.WaterTemperature}
			if a.May(q) != (a.Name == want) {
				t.Errorf("%s may answer for %s: %v", a.Name, region, a.May(q))
			}
			if a.Name != want {
				continue
			}
			f, _ := finderAt(t, a, replay.New("", replay.Lists[a.Name]))
			got, err := f.Find(t.Context(), q)
			if err != nil || len(got) != 1 || !math.IsNaN(got[0].DistanceKm) {
				t.Errorf("%s, %s: %+v, %v", a.Name, region, got, err)
			}
		}
	}
}

// TestAPlaceIsAskedOfItsCountry: near a border both are asked, elsewhere one.
// Places are rounded, of capitals and of rivers' mouths.
func TestAPlaceIsAskedOfItsCountry(t *testing.T) {
	for _, c := range []struct {
		lat, lon float64
		want     string
	}{
		{44.7, -121.2, "usgs"}, {61.2, -149.9, "usgs"}, {21.3, -157.9, "usgs"}, {51.5, -0.1, "ea"}, {54.6, -3.1, "ea"},
		{53.9, -122.7, "eccc"}, {46.1, -60.2, "eccc"}, {48.8, -123.0, "usgs eccc"}, {43.3, -79.8, "usgs eccc"}, {60, 10, ""}, {-41, 175, ""},
	} {
		var got []string
		for _, a := range Agencies {
			if a.May(ingest.GaugeSearch{Lat: c.lat, Lon: c.lon, RadiusKm: 50}) {
				got = append(got, a.Name)
			}
		}
		if s := strings.Join(got, " "); s != c.want {
			t.Errorf("%g, %g is asked of %q, want %q", c.lat, c.lon, s, c.want)
		}
	}
}

// TestAServerThatKnowsNoFilterByPlaceIsAskedForItsWholeList: the standard lets a
// server refuse the filter.
func TestAServerThatKnowsNoFilterByPlaceIsAskedForItsWholeList(t *testing.T) {
	lists := replay.New("", replay.Lists["sensorthings"])
	asked := 0
	h := http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if asked++; r.URL.Query().Has("$filter") {
			w.Header().Set("Content-Type", "application/json")
			w.WriteHeader(http.StatusNotImplemented)
			_, _ = w.Write([]byte(`{"code":501,"message":"st_within is not supported"}`))
			return
		}
		q := r.URL.Query()
		q.Set("$filter", "POLYGON((-4.86")
		r.URL.RawQuery = q.Encode()
		lists.ServeHTTP(w, r)
	})
	for _, a := range Agencies {
		if a.Name != "sensorthings" {
			continue
		}
		f, _ := finderAt(t, a, h)
		if got, err := f.Find(t.Context(), around); err != nil || len(got) != 2 || asked != 2 {
			t.Errorf("%d requests: %+v, %v", asked, got, err)
		}
	}
}
