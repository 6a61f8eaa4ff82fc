package eahydrology

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

const guid = "11111111-2222-3333-4444-555555555555"

func TestNamesOfMeasuresSayWhatTheyHold(t *testing.T) {
	for _, c := range []struct{ name, want, unit, why string }{
		{guid + "-flow-i-900-m3s-qualified", "ea/" + guid + "/discharge/instant", "m3s", ""},
		{guid + "-flow-m-86400-m3s-qualified", "ea/" + guid + "/discharge/mean/P1D", "m3s", ""},
		{guid + "-level-max-86400-m-qualified", "ea/" + guid + "/gauge_height/max/P1D", "m", ""},
		{guid + "-temp-i-subdaily-C", "ea/" + guid + "/water_temperature/instant", "C", ""},
		{guid + "-rainfall-t-900-mm-qualified", "ea/" + guid + "/precipitation/sum/PT15M", "mm", ""},
		{"1491TH-level-downstage-i-15_min-mASD", "ea/1491TH/gauge_height/instant/ts=downstage", "mASD", ""},
		{"3680-temperature-dry_bulb-i-15_min-deg_C", "ea/3680/air_temperature/instant/ts=dry_bulb", "deg_C", ""},
		{"E1320-rainfall-tipping_bucket_raingauge-t-15_min-mm", "ea/E1320/precipitation/sum/PT15M/ts=tipping_bucket_raingauge", "mm", ""},
		{"5003-level-groundwater-i-1_h-mBDAT", "ea/5003//instant/ts=groundwater", "mBDAT", "it is a level in the ground, not in a river"},
		{"3400TH-flow--i-15_min-m3_s", "ea/3400TH/discharge/instant", "m3_s", ""},
		{"3680-temperature--i-15_min-deg_C", "ea/3680//instant", "deg_C", "unsupported variable"},
		{"1301TH-level-stage-i-15_min----", "ea/1301TH/gauge_height/instant/ts=stage", "---", "its unit is not given"},
		{guid + "-do-i-subdaily-mgL", "ea/" + guid + "//instant", "mgL", "unsupported variable"},
	} {
		t.Run(c.name, func(t *testing.T) {
			m, err := parseMeasure("http://environment.data.gov.uk/hydrology/id/measures/" + c.name)
			if err != nil || m.key.String() != c.want || m.unit != c.unit || m.why != c.why {
				t.Errorf("got %s, %q, %q, %v", m.key, m.unit, m.why, err)
			}
		})
	}
	if _, err := parseMeasure("nonsense"); err == nil {
		t.Error("nonsense was taken for a measure")
	}
}

func items(measure, rest string) string {
	return fmt.Sprintf(`{"meta":{},"items":[{"measure":{"@id":"http://x/id/measures/%s"},%s}]}`, measure, rest)
}

func TestTheWaterDayBeginsAtNineAndIsNamedByItsDate(t *testing.T) {
	// A daily minimum may be stamped with the minute at which it fell, on the
	// next calendar day.
	s, err := Parser{}.Parse(strings.NewReader(items(guid+"-flow-min-86400-m3s-qualified", `"date":"2024-01-01","dateTime":"2024-01-02T03:15:00","value":1.5,"quality":"Good","completeness":"Complete"`)))
	if err != nil {
		t.Fatal(err)
	}
	if got := s[0].At(0).Format(time.RFC3339); got != "2024-01-01T00:00:00Z" || s[0].DayStart != "09:00 UTC" || s[0].Approval[0] != ingest.Approved {
		t.Errorf("got %s, day starts %q", got, s[0].DayStart)
	}
}

func TestATimeWithoutZoneIsGMTAlsoInSummer(t *testing.T) {
	s, err := Parser{}.Parse(strings.NewReader(items(guid+"-temp-i-subdaily-C", `"dateTime":"2024-07-01T12:00:00","value":15.5,"quality":"Unchecked"`)))
	if err != nil {
		t.Fatal(err)
	}
	if got := s[0].At(0).Format(time.RFC3339); got != "2024-07-01T12:00:00Z" || s[0].Approval[0] != ingest.Provisional {
		t.Errorf("got %s", got)
	}
}

func TestAReadingWithoutValueIsMissingAndKeepsItsQuality(t *testing.T) {
	s, err := Parser{}.Parse(strings.NewReader(items(guid+"-flow-i-900-m3s-qualified", `"dateTime":"2024-07-01T12:00:00","quality":"Missing","completeness":"Incomplete"`)))
	if err != nil || !math.IsNaN(s[0].Value[0]) || s[0].Qualifier[0] != "Missing,Incomplete" {
		t.Errorf("got %+v, %v", s, err)
	}
}

func TestOneItemMayStandAloneAndALatestReadingMayBeAnAddress(t *testing.T) {
	body := `{"items":{"@id":"http://x/id/stations/1491TH","lat":51.7,"long":-1.2,"measures":[
		{"@id":"http://x/id/measures/1491TH-level-stage-i-15_min-mASD","latestReading":{"dateTime":"2020-02-17T20:00:00Z","value":2.098}},
		{"@id":"http://x/id/measures/1491TH-flow--i-15_min-m3_s","latestReading":"http://x/data/readings/1"}]}}`
	s, err := Parser{}.Parse(strings.NewReader(body))
	if err != nil || len(s) != 1 || s[0].Value[0] != 2.098 || s[0].Place.Lat != 51.7 {
		t.Errorf("got %+v, %v", s, err)
	}
	one := strings.Replace(strings.Replace(body, "[", "", 1), `,
		{"@id":"http://x/id/measures/1491TH-flow--i-15_min-m3_s","latestReading":"http://x/data/readings/1"}]`, "", 1)
	if s, err = (Parser{}).Parse(strings.NewReader(one)); err != nil || len(s) != 1 {
		t.Errorf("one measure as an object: got %+v, %v", s, err)
	}
}

func TestTablesOfBothServices(t *testing.T) {
	s, err := Parser{}.Parse(strings.NewReader("measure,dateTime,date,value,completeness,quality,qcode\nhttp://x/id/measures/" + guid + "-flow-m-86400-m3s-qualified,2024-01-01T09:00:00,2024-01-01,72.7,Complete,Good,\nhttp://x/id/measures/" + guid + "-flow-m-86400-m3s-qualified,2024-01-02T09:00:00,2024-01-02,,,Missing,\n"))
	if err != nil || len(s) != 1 || s[0].Len() != 2 || s[0].MissingCount() != 1 {
		t.Errorf("got %+v, %v", s, err)
	}
	s, err = Parser{}.Parse(strings.NewReader("dateTime,measure,value\n2020-05-02T18:15:00Z,http://x/id/measures/2432TH-level-stage-i-15_min-mASD,0.9|0.921\n"))
	if err != nil || s[0].Value[0] != 0.921 {
		t.Errorf("got %+v, %v", s, err)
	}
}

func TestWhatIsNoAnswerSaysWhatItIs(t *testing.T) {
	for _, c := range []struct {
		name, body, want string
		retry            bool
	}{
		{"nothing", "\n", "is empty", false},
		{"a web page", "<html>", "web page", false},
		{"no items", `{"meta":{}}`, `no member "items"`, false},
		{"cut on its way", `{"items":[{"date":"2024`, "ends early", true},
		{"a word for a value", items(guid+"-flow-i-900-m3s-qualified", `"dateTime":"2024-07-01T12:00:00","value":"high"`), `items[0].value: "high"`, false},
		{"a time that is none", items(guid+"-flow-i-900-m3s-qualified", `"dateTime":"yesterday","value":1`), `"yesterday"`, false},
		{"a measure that is none", items("x", `"dateTime":"2024-07-01T12:00:00","value":1`), "does not name a measure", false},
		{"a unit nobody knows", items(guid+"-flow-i-900-gallons-qualified", `"dateTime":"2024-07-01T12:00:00","value":1`), "gallons", false},
		{"a table of something else", "a,b\n1,2\n", "no columns dateTime", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Parser{}.Parse(strings.NewReader(c.body))
			var e *ingest.Error
			if !errors.As(err, &e) || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v, want an *ingest.Error with %q", err, c.want)
			}
			if e.Retryable != c.retry {
				t.Errorf("retryable is %v, want %v", e.Retryable, c.retry)
			}
		})
	}
}
