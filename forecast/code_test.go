package forecast

import (
	"encoding/json"
	"testing"

	"example.org/eclose/model/insects"
	"example.org/eclose/model/watertemp"
)

// code is what the codes of a forecast have in common.
type code interface {
	~string
	Words() string
}

// checkWords holds codes to the words that people read, which are also what earlier
// versions kept.
func checkWords[C code](t *testing.T, want map[C]string) {
	t.Helper()
	for c, words := range want {
		if got := c.Words(); got != words {
			t.Errorf("%q reads %q, want %q", c, got, words)
		}
		for _, text := range []string{words, string(c)} {
			var back map[string]C
			if err := json.Unmarshal([]byte(`{"x":`+quoted(t, text)+`}`), &back); err != nil || back["x"] != c {
				t.Errorf("%q is read as %q, %v; want %q", text, back["x"], err, c)
			}
		}
	}
}

func quoted(t *testing.T, s string) string {
	t.Helper()
	b, err := json.Marshal(s)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func TestCodesAndTheirWords(t *testing.T) {
	checkWords(t, map[EvidenceCode]string{
		"": "", "sightings:3": "sightings here (3 seasons)", "records:12": "records (12)",
		"measured": "measured at one site", "published": "published", "part-published": "partly published, otherwise common practice",
		"derived": "derived from published figures", "proxy": "from a related insect", "prior": "prior, estimated from calendar dates",
		"practice": "common practice, no source", "guess": "guess, no source", "own": "our own default", "words of another version": "words of another version",
	})
	checkWords(t, map[WaterSource]string{
		"measured": "measured here", "fitted:air+flow": "model fitted here, driven by air temperature and flow",
		"fitted-short:air": "model fitted here, less than a year of readings, driven by air temperature",
		"prior:air":        "prior, no thermometer here, driven by air temperature", "prior-nearby:air+flow": "prior adjusted to a nearby river, no thermometer here, driven by air temperature and flow",
		"prior-corrected:air": "prior corrected by few readings, too few for a fit, driven by air temperature", "hope": "hope",
	})
	checkWords(t, map[WeatherSource]string{
		PastSeasons: "past seasons' weather", NoWeather: "none; past seasons' water temperature, shifted by today's anomaly",
		"21x15+past-seasons": "21-member weather forecast for 15 days, then past seasons' weather", "hope": "hope",
	})
	for text, want := range map[string]FlowSource{"statistics": FlowStatistics, "official, then statistics": FlowJoined, "not forecast: regulated": FlowWithheld, "not forecast: too little flow": FlowUnknown} {
		var got FlowSource
		if _ = got.UnmarshalText([]byte(text)); got != want {
			t.Errorf("%q is read as %q, want %q", text, got, want)
		}
	}
	if w := EvidenceCode("records:12").Word() + ", " + EvidenceCode("sightings:2").Word() + ", " + EvidenceCode("part-published").Word(); w != "records (12), sightings, partly" {
		t.Errorf("in tables: %s", w)
	}
}

// Every basis of the catalogue and every grade of a water model was once kept as words.
func TestFormerBasesAndModelsAreRead(t *testing.T) {
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for _, g := range c.Groups() {
		for _, region := range insects.Regions {
			w, ok := g.Window(region, insects.Emergence)
			if !ok {
				continue
			}
			n++
			var got BasisCode
			if _ = got.UnmarshalText([]byte(w.EvidenceWords())); string(got) != w.BasisCode() {
				t.Errorf("%q is read as %q, want %q", w.EvidenceWords(), got, w.BasisCode())
			}
		}
	}
	if n < 200 {
		t.Errorf("%d windows: the catalogue was not read", n)
	}
	for _, m := range []watertemp.ModelGrade{watertemp.Fitted, watertemp.FittedShort, watertemp.PriorCorrected, watertemp.PriorNearby, watertemp.PriorAlone} {
		var got WaterSource
		if _ = got.UnmarshalText([]byte(m.Words())); string(got) != string(m) || m.Words() == string(m) {
			t.Errorf("%q is read as %q, want %q", m.Words(), got, m)
		}
	}
}

func TestHoursAreReadAsWritten(t *testing.T) {
	for _, text := range []string{"", "11:30-15:00", "05:00-10:00 and 22:00-01:00", "11:00-16:00 sun time", "2 h before to 1 h after sunset"} {
		h := hoursOf(text)
		if got := h.String(); got != text || (h.BySun == "") != (text == "" || len(h.Spans) > 0) {
			t.Errorf("%q is read as %+v and written as %q", text, h, got)
		}
	}
	if h := hoursOf("05:00-10:00 and 22:00-01:00"); h.First() != 300 || h.Short() != "05:00-10:00+" || h.Spans[1] != (Span{1320, 1500}) || h.Words() != "05:00 to 10:00 and 22:00 to 01:00" {
		t.Errorf("%+v", h)
	}
}
