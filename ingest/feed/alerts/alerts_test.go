package alerts

import (
	"errors"
	"fmt"
	"io"
	"net/http/httptest"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/replay"
	"example.org/eclose/ingest/warning"
)

var noon = time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)

func served(t *testing.T) (rep *replay.Server, base string, c *client.Client) {
	t.Helper()
	rep = replay.New(replay.Shared(t, "official"), replay.Warnings)
	srv := httptest.NewServer(rep)
	t.Cleanup(srv.Close)
	c, err := client.New(client.Options{UserAgent: "eclose-test (ranger@example.org)", PerSecond: 1e6, Retries: -1})
	if err != nil {
		t.Fatal(err)
	}
	return rep, srv.URL + "/", c
}

// said is a warning in one line.
func said(w warning.Warning) string {
	return fmt.Sprintf("%s/%s %s %s %s %s/%s %s", w.Status, w.MsgType, w.Event, w.Hazard, w.Severity, w.Certainty, w.Urgency, w.Fit)
}

func lines(list []warning.Warning) string {
	var out []string
	for _, w := range list {
		out = append(out, said(w))
	}
	return strings.Join(out, "\n")
}

func TestFetchFromRecordedResponses(t *testing.T) {
	rep, base, c := served(t)
	for _, s := range []struct {
		name   string
		source warning.Source
		place  warning.Place
		now    time.Time
		all    string
		force  int
		fault  string
	}{
		{"a flood watch without a polygon", NWS{c, base}, warning.Place{Lat: 45.5, Lon: -123.8}, time.Date(2019, 12, 21, 0, 0, 0, 0, time.UTC), "Actual/Update Flood Watch flood Severe Possible/Future zone", 1, ""},
		{"the same when its event is over", NWS{c, base}, warning.Place{Lat: 45.5, Lon: -123.8}, time.Date(2019, 12, 22, 18, 0, 0, 0, time.UTC), "Actual/Update Flood Watch flood Severe Possible/Future zone", 0, ""},
		{"none", NWS{c, base}, warning.Place{Lat: 44.7, Lon: -121.2}, noon, "", 0, ""},
		{"outside the United States", NWS{c, base}, warning.Place{Lat: 51.5, Lon: -0.1}, noon, "", 0, "out of bounds"},
		{"England", EA{c, base}, warning.Place{Lat: 53.9, Lon: -1.8}, noon, "Actual/Alert Flood alert flood Moderate Possible/Future near\nActual/Alert Flood warning flood Severe Likely/Expected near\nActual/Cancel Warning no longer in force flood Unknown Unknown/Unknown near", 2, ""},
		{"England, none", EA{c, base}, warning.Place{Lat: 50, Lon: -1.8}, noon, "", 0, ""},
		{"Canada", ECCC{c, base}, warning.Place{Lat: 45.4, Lon: -75.7}, time.Date(2025, 2, 6, 13, 0, 0, 0, time.UTC), "Actual/Alert Weather Advisory  Moderate Unknown/Unknown here\nActual/Alert Winter Storm Warning  Extreme Likely/Expected here", 1, ""},
		{"Canada, beyond the polygons", ECCC{c, base}, warning.Place{Lat: 50, Lon: -75.7}, noon, "", 0, ""},
		{"Europe, our zone", &MeteoAlarm{Client: c, BaseURL: base, Now: time.Now}, warning.Place{Lat: 47, Lon: 12, Country: "italy", Zones: []string{"IT002"}}, noon,
			"Actual/Alert Yellow Thunderstorm Warning thunder Moderate Likely/Future here\nActual/Update Orange Thunderstorm Warning thunder Severe Likely/Future here\nActual/Cancel No warning flood Minor Unknown/Unknown here\nTest/Alert Flood flood Severe Unknown/Unknown here", 1, ""},
		{"Europe, in a polygon", &MeteoAlarm{Client: c, BaseURL: base, Now: time.Now}, warning.Place{Lat: 45.5, Lon: 10.5, Country: "italy", Zones: []string{"IT009"}}, noon,
			"Actual/Update Orange Thunderstorm Warning thunder Severe Likely/Future away\nActual/Alert Flood flood Extreme Observed/Immediate here", 1, ""},
		{"Europe, zone not told", &MeteoAlarm{Client: c, BaseURL: base, Now: time.Now}, warning.Place{Lat: 47, Lon: 12, Country: "italy"}, noon,
			"Actual/Alert Yellow Thunderstorm Warning thunder Moderate Likely/Future unplaced\nActual/Update Orange Thunderstorm Warning thunder Severe Likely/Future unplaced\nActual/Cancel No warning flood Minor Unknown/Unknown unplaced\nTest/Alert Flood flood Severe Unknown/Unknown unplaced", 1, ""},
		{"a country without a feed", &MeteoAlarm{Client: c, BaseURL: base, Now: time.Now}, warning.Place{Country: "atlantis"}, noon, "", 0, "no feed of"},
		{"no country", &MeteoAlarm{Client: c, BaseURL: base, Now: time.Now}, warning.Place{}, noon, "", 0, "set country"},
	} {
		t.Run(s.name, func(t *testing.T) {
			got, err := s.source.Fetch(t.Context(), s.place)
			if e := (*ingest.Error)(nil); (err != nil) != (s.fault != "") || err != nil && (!errors.As(err, &e) || !strings.Contains(err.Error(), s.fault) || got != nil) {
				t.Fatalf("got %v, want %q", err, s.fault)
			}
			if lines(got) != s.all {
				t.Errorf("got\n%s\nwant\n%s", lines(got), s.all)
			}
			if n := len(warning.InForce(got, s.now)); n != s.force {
				t.Errorf("%d in force, want %d", n, s.force)
			}
			for _, w := range got {
				if w.Feed != s.source.Name() || w.Chain == "" || w.ID == "" || w.MsgType != warning.MsgCancel && w.Web == "" {
					t.Errorf("%+v", w)
				}
			}
		})
	}
	for _, r := range rep.Asked() {
		if !strings.Contains(r.UserAgent(), "@") {
			t.Errorf("asked as %q", r.UserAgent())
		}
	}
}

func TestRiversOfACountryShareAResponse(t *testing.T) {
	rep, base, c := served(t)
	now := noon
	s := &MeteoAlarm{Client: c, BaseURL: base, Now: func() time.Time { return now }}
	for i, want := range []int{1, 1, 2} {
		if i == 2 {
			now = now.Add(5 * time.Minute)
		}
		if _, err := s.Fetch(t.Context(), warning.Place{Country: "italy", Zones: []string{"IT002"}}); err != nil || len(rep.Asked()) != want {
			t.Errorf("fetch %d: %v, asked %d times, want %d", i, err, len(rep.Asked()), want)
		}
	}
}

// parsers are the parsers by name, for rules that hold for all.
var parsers = map[string]func(io.Reader) ([]warning.Warning, error){NWSName: ParseNWS, EAName: parseEA, ECCCName: parseECCC, MeteoAlarmName: parseMeteoAlarm}

func TestWhatCannotBeReadIsNotNone(t *testing.T) {
	for name, parse := range parsers {
		for _, body := range []string{"", " ", "<html>down</html>", "{", `{"type":"FeatureCollection"}`, "[]", "null", `{"features":null}`, `{"items":null,"warnings":null}`, `{"title":"Not Found","status":404}`,
			`{"features":[{"geometry":null}],"warnings":[{"alert":{"identifier":"a","status":"Actual","msgType":"Alert"}}],"items":[7]}`} {
			list, err := parse(strings.NewReader(body))
			if e := (*ingest.Error)(nil); !errors.As(err, &e) || list != nil {
				t.Errorf("%s reads %q as %d warnings, %v", name, body, len(list), err)
			}
		}
	}
}

func TestEachFeedsEmptyListIsNone(t *testing.T) {
	for name, body := range map[string]string{NWSName: `{"features":[]}`, EAName: `{"items":[]}`, ECCCName: `{"features":[]}`, MeteoAlarmName: `{"warnings":[]}`} {
		if list, err := parsers[name](strings.NewReader(body)); err != nil || len(list) != 0 {
			t.Errorf("%s: %d, %v", name, len(list), err)
		}
	}
}

func nwsOf(properties string) string {
	return `{"features":[{"id":"https://api.weather.gov/alerts/urn:oid:1","geometry":null,"properties":{` + properties + `}}]}`
}

func TestTrapsOfTheNationalWeatherService(t *testing.T) {
	for _, c := range []struct{ name, properties, want string }{
		{"what is left out raises caution", `"event":"Flash Flood Warning","onset":null,"expires":null,"ends":null`, "Actual/Alert Flash Flood Warning flood Unknown Unknown/Unknown "},
		{"a time that cannot be read ends nothing", `"id":"a","event":"Flood Advisory","expires":"soon"`, "Actual/Alert Flood Advisory flood Unknown Unknown/Unknown "},
		{"the code tells the hazard", `"id":"a","event":"Special Statement","parameters":{"VTEC":["/O.NEW.KPQR.SV.W.0012.260518T1200Z-260518T1300Z/"]}`, "Actual/Alert Special Statement thunder Unknown Unknown/Unknown "},
		{"wind is neither flood nor thunder", `"id":"a","event":"High Wind Warning"`, "Actual/Alert High Wind Warning  Unknown Unknown/Unknown "},
	} {
		got, err := ParseNWS(strings.NewReader(nwsOf(c.properties)))
		if err != nil || lines(got) != c.want {
			t.Errorf("%s: %q, %v; want %q", c.name, lines(got), err, c.want)
		}
		if n := len(warning.InForce(got, noon)); n != 1 {
			t.Errorf("%s: %d in force", c.name, n)
		}
	}
	got, err := ParseNWS(strings.NewReader(nwsOf(`"id":"a","event":"Flood Warning","replacedBy":"https://api.weather.gov/alerts/b"`)))
	if err != nil || len(got) != 0 {
		t.Errorf("one that was replaced: %v, %v", got, err)
	}
	a, _ := vtec(list{"/O.NEW.KPQR.FL.W.0012.260518T1200Z-260519T1200Z/"})
	b, _ := vtec(list{"/O.CON.KPQR.FL.W.0012.000000T0000Z-260520T1200Z/"})
	w, _ := vtec(list{"/O.UPG.KPQR.FL.A.0004.000000T0000Z-260519T1200Z/", "/O.NEW.KPQR.FL.W.0012.260518T1200Z-260519T1200Z/"})
	if a != "KPQR.FL.W.0012.26" || a != b || a == w {
		t.Errorf("chains %q, %q, %q", a, b, w)
	}
}

func FuzzAlerts(f *testing.F) {
	for _, b := range replay.Official(f, 64<<10, "warnings") {
		f.Add(b)
	}
	f.Add([]byte(replay.EAFloods))
	f.Add([]byte(replay.MeteoAlarm))
	f.Add([]byte(nwsOf(`"id":"a","references":[{"identifier":"b"}],"messageType":"Cancel"`)))
	f.Fuzz(func(t *testing.T, b []byte) {
		for name, parse := range parsers {
			got, err := parse(strings.NewReader(string(b)))
			if e := (*ingest.Error)(nil); err != nil && (!errors.As(err, &e) || got != nil) {
				t.Fatalf("%s: %d warnings beside the error %T %v", name, len(got), err, err)
			}
			for i := range got {
				w := &got[i]
				w.Locate(warning.Place{Lat: 45, Lon: -131}, warning.Unplaced)
				if w.Feed != name || w.Status == "" || w.MsgType == "" || w.Event == "" || w.Severity == "" || w.Web != warning.WebLink(w.Web) || w.Fit == "" {
					t.Fatalf("%s: %+v", name, *w)
				}
			}
			warning.Follow(nil, got)
			if n := len(warning.InForce(got, noon)); n > len(got) {
				t.Fatalf("%d of %d", n, len(got))
			}
		}
	})
}

// ParseNWS reads a response of /alerts or /alerts/active: GeoJSON whose
// properties are CAP's, with extensions.
func ParseNWS(r io.Reader) ([]warning.Warning, error) {
	list, _, err := parseNWS(r)
	return list, err
}
