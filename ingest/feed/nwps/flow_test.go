package nwps

import (
	"bytes"
	"errors"
	"fmt"
	"math"
	"net/http"
	"net/http/httptest"
	"os"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/replay"
)

func summary(list []ingest.Series) string {
	var out []string
	for _, s := range list {
		out = append(out, fmt.Sprintf("%s %d %s", s.Key, s.Len(), s.Variable.Unit()))
	}
	return strings.Join(out, "\n")
}

func TestTheOfficialForecastFromARecordedResponse(t *testing.T) {
	b, err := os.ReadFile(replay.Shared(t, "official", "nwps", "stageflow-ACRT2-2026-09-26.trimmed.json"))
	if err != nil {
		t.Fatal(err)
	}
	got, err := Parser{Site: "USGS-08158000"}.Parse(bytes.NewReader(b))
	if err != nil || len(got) != 2 {
		t.Fatalf("%s, %v", summary(got), err)
	}
	at, ok := Issued(got[1].Qualifier[0])
	if !ok || !at.Equal(time.Date(2026, 9, 25, 13, 30, 0, 0, time.UTC)) {
		t.Errorf("issued %s, %v", at, ok)
	}
	for _, s := range got {
		want := map[ingest.Variable][]float64{ingest.GaugeHeight: {14 * 0.3048, 16.7 * 0.3048, 15.1 * 0.3048}, ingest.Discharge: {500 * 0.028316846592, 1870 * 0.028316846592, 1000 * 0.028316846592}}[s.Variable]
		if s.Feed != FeedName || s.Site != "USGS-08158000" || s.TimeSeries != Official || s.Len() != 3 || !s.At(1).Equal(time.Date(2026, 9, 29, 9, 0, 0, 0, time.UTC)) {
			t.Fatalf("%+v", s)
		}
		for i := range want {
			if math.Abs(s.Value[i]-want[i]) > 1e-9 {
				t.Errorf("%s: %v, want %v", s.Key, s.Value, want)
			}
		}
	}
}

func stageflow(issued, names, data string) string {
	return `{"observed":{"primaryName":"Stage","primaryUnits":"ft","secondaryName":"Flow","secondaryUnits":"kcfs","data":[{"validTime":"2026-05-18T11:00:00Z","primary":1,"secondary":1}]},"forecast":{"issuedTime":"` + issued + `",` + names + `"data":[` + data + `]}}`
}

func streamflow(medium string) string {
	return `{"reach":{"reachId":"5781703"},"analysisAssimilation":{"series":{"data":[{"validTime":"2026-05-18T11:00:00Z","flow":1}]}},"shortRange":{},"mediumRange":` + medium + `,"longRange":{}}`
}

const twoMembers = `{"mean":{"referenceTime":"2026-05-18T06:00:00Z","units":"ft³/s","data":[{"validTime":"2026-05-18T12:00:00Z","flow":999}]},
"member1":{"referenceTime":"2026-05-18T06:00:00Z","units":"ft³/s","data":[{"validTime":"2026-05-18T13:00:00Z","flow":20},{"validTime":"2026-05-18T12:00:00Z","flow":10}]},
"member2":{"referenceTime":"0001-01-01T00:00:00Z","units":"ft³/s","data":[{"validTime":"2026-05-18T12:00:00Z","flow":-9999}]}}`

func TestTrapsOfForecastsOfFlow(t *testing.T) {
	const swapped = `"primaryName":"Flow","primaryUnits":"kcfs","secondaryName":"Stage","secondaryUnits":"ft",`
	for _, c := range []struct{ name, body, want, fault string }{
		{"flow and stage swapped", stageflow("2026-05-18T10:00:00Z", swapped, `{"validTime":"2026-05-18T12:00:00Z","primary":2,"secondary":5}`), "discharge 56.63 issued 2026-05-18T10:00:00Z; gauge_height 1.52 issued 2026-05-18T10:00:00Z", ""},
		{"gaps, and an issue time that is none", stageflow("0001-01-01T00:00:00Z", swapped, `{"validTime":"2026-05-18T12:00:00Z","primary":-999,"secondary":-9999}`), "discharge NaN ; gauge_height NaN ", ""},
		{"no forecast here", stageflow("0001-01-01T00:00:00Z", "", ""), "", ""},
		{"the mean is no member", streamflow(twoMembers), "discharge 0.28 issued 2026-05-18T06:00:00Z member 1; discharge NaN  member 2", ""},
		{"not computed yet", streamflow(`{}`), "", "holds no run of the model yet"},
		{"a time that is none", stageflow("", "", `{"validTime":"soon","primary":1}`), "", "is not a time"},
		{"something else", `{"a":1}`, "", "neither"},
		{"nothing", ``, "", "not a JSON object"},
	} {
		list, err := Parser{Site: "s"}.Parse(strings.NewReader(c.body))
		if e := (*ingest.Error)(nil); (err != nil) != (c.fault != "") || err != nil && (!errors.As(err, &e) || !strings.Contains(err.Error(), c.fault) || list != nil) {
			t.Errorf("%s: %v, want %q", c.name, err, c.fault)
			continue
		}
		var out []string
		for _, s := range list {
			q := ""
			if s.Qualifier != nil {
				q = s.Qualifier[0]
			}
			line := fmt.Sprintf("%s %.2f %s", s.Variable, s.Value[0], q)
			if s.Member > 0 {
				line += fmt.Sprintf(" member %d", s.Member)
			}
			out = append(out, line)
		}
		if got := strings.Join(out, "; "); got != c.want {
			t.Errorf("%s: %q, want %q", c.name, got, c.want)
		}
	}
	if _, err := (Parser{}).Parse(strings.NewReader(streamflow(`{}`))); err != nil {
		if again, _ := ingest.Retryable(err); !again {
			t.Errorf("an empty response does not pass: %v", err)
		}
	}
}

// TestAnEmptyResponseIsAskedAgain: and what came before a failure is kept.
func TestAnEmptyResponseIsAskedAgain(t *testing.T) {
	for _, c := range []struct {
		name    string
		empty   int // responses of the medium range before one with members
		members int
		fault   string
	}{{"once", 1, 2, ""}, {"for longer", 5, 0, "no run of the model yet"}} {
		t.Run(c.name, func(t *testing.T) {
			asked := 0
			mux := http.NewServeMux()
			say := func(body string) http.HandlerFunc {
				return func(w http.ResponseWriter, _ *http.Request) {
					w.Header().Set("Content-Type", "application/json")
					fmt.Fprint(w, body)
				}
			}
			mux.HandleFunc("/gauges/99000001", say(`{"lid":"WNDO1","reachId":"5781703"}`))
			mux.HandleFunc("/gauges/WNDO1/stageflow", say(stageflow("2026-05-18T10:00:00Z", "", `{"validTime":"2026-05-18T12:00:00Z","primary":2,"secondary":5}`)))
			mux.HandleFunc("/reaches/5781703/streamflow", func(w http.ResponseWriter, r *http.Request) {
				medium := twoMembers
				if name := r.URL.Query().Get("series"); name == "medium_range" {
					if asked++; asked <= c.empty {
						medium = `{}`
					}
				} else {
					medium = `{"member1":{"units":"ft3/s","data":[{"validTime":"2026-05-18T12:00:00Z","flow":1}]}}`
					if name == "long_range" {
						say(strings.Replace(strings.Replace(streamflow(`{}`), `"longRange":{}`, `"longRange":`+medium, 1), `"mediumRange"`, `"other"`, 1))(w, r)
						return
					}
					say(strings.Replace(streamflow(`{}`), `"shortRange":{}`, `"shortRange":`+strings.Replace(medium, "member1", "series", 1), 1))(w, r)
					return
				}
				say(streamflow(medium))(w, r)
			})
			srv := httptest.NewServer(mux)
			defer srv.Close()
			cl, err := client.New(client.Options{UserAgent: "eclose-test (ranger@example.org)", PerSecond: 1e6, Retries: -1})
			if err != nil {
				t.Fatal(err)
			}
			by := map[string]int{}
			s := Source{Client: cl, BaseURL: srv.URL, Now: func() time.Time { return noon }}
			err = s.Fetch(t.Context(), ingest.Request{Site: "USGS-99000001", Variables: []ingest.Variable{ingest.Discharge}}, func(x ingest.Series) error {
				if x.Retrieved[0] != noon.UnixMicro() || x.Variable != ingest.Discharge {
					t.Errorf("%+v", x)
				}
				by[x.TimeSeries]++
				return nil
			})
			if (err != nil) != (c.fault != "") || err != nil && !strings.Contains(err.Error(), c.fault) {
				t.Errorf("%v, want %q", err, c.fault)
			}
			if by[Official] != 1 || by[NWM+"short-range"] != 1 || by[NWM+"long-range"] != 1 || by[NWM+"medium-range"] != c.members {
				t.Errorf("%v", by)
			}
		})
	}
}

func FuzzFlow(f *testing.F) {
	for _, b := range replay.Official(f, 64<<10, "nwps") {
		f.Add(b)
	}
	f.Add([]byte(streamflow(twoMembers)))
	f.Fuzz(func(t *testing.T, b []byte) { replay.KeepsTheRules(t, Parser{Site: "s"}, b) })
}
