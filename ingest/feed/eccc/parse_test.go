package eccc

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

const (
	office = "ID,Date,Parameter/Paramètre,Value/Valeur,Qualifier/Qualificatif,Symbol/Symbole,Approval/Approbation,Grade/Classification,Qualifiers/Qualificatifs\n"
	mart   = "\xef\xbb\xbf ID,Date,Water Level / Niveau d'eau (m),Grade,Symbol / Symbole,QA/QC,Discharge / Débit (cms),Grade,Symbol / Symbole,QA/QC\n"
)

// No answer of the wateroffice service was recorded: its columns are those of
// the agency's documentation.
func TestTwoParametersCarryWaterTemperatureAndStayApart(t *testing.T) {
	var told string
	s, err := Parser{Skipped: func(x ingest.Skipped) { told += x.String() }}.Parse(strings.NewReader(office +
		"05BB001,2026-07-01 00:00:00,5,11.5,,,Provisional/Provisoire,,\n" +
		"05BB001,2026-07-01 00:00:00,41,11.7,,,Provisional/Provisoire,,\n" +
		"05BB001,2026-07-01T00:05:00Z,47,56.9,,B,Final/Finales,,\n" +
		"05BB001,2026-07-01 00:00:00,17,1000,,,,,\n"))
	if err != nil || len(s) != 3 {
		t.Fatalf("got %v, %v", s, err)
	}
	if s[0].TimeSeries != "5" || s[1].TimeSeries != "41" || s[0].Variable != ingest.WaterTemperature || s[1].Value[0] != 11.7 || s[0].Approval[0] != ingest.Provisional {
		t.Errorf("got %+v and %+v", s[0].Key, s[1].Key)
	}
	if s[2].Variable != ingest.Discharge || s[2].Qualifier[0] != "B" || s[2].Approval[0] != ingest.Approved {
		t.Errorf("got %+v", s[2])
	}
	if !strings.Contains(told, "parameter 17") {
		t.Errorf("told %q", told)
	}
}

func TestDatamartTimesKeepTheirStandardOffset(t *testing.T) {
	s, err := Parser{}.Parse(strings.NewReader(mart + "02YA002,2026-07-19T08:30:00-03:30,1.416,,,1,,,,4\n"))
	if err != nil || len(s) != 2 {
		t.Fatalf("got %v, %v", s, err)
	}
	if got := s[0].At(0).Format(time.RFC3339); got != "2026-07-19T12:00:00Z" || s[0].Approval[0] != ingest.Provisional {
		t.Errorf("got %s, %v", got, s[0].Approval)
	}
	if !math.IsNaN(s[1].Value[0]) || s[1].Approval[0] != ingest.Approved {
		t.Errorf("a blank flow became %g", s[1].Value[0])
	}
}

func TestGeoMetOldAndNew(t *testing.T) {
	s, err := Parser{}.Parse(strings.NewReader(`{"type":"FeatureCollection","features":[
		{"geometry":{"coordinates":[-115.5,51.1]},"properties":{"STATION_NUMBER":"05BB001","DATETIME":"2026-08-11T00:00:00Z","LEVEL":2.395,"DISCHARGE":56.9,"LEVEL_SYMBOL_EN":null,"DISCHARGE_SYMBOL_EN":null}}],"links":[{"rel":"next","href":"x"}]}`))
	if err != nil || len(s) != 2 || s[1].Value[0] != 56.9 || s[1].Period != "" || s[0].Place.Lat != 51.1 {
		t.Errorf("real time: %+v, %v", s, err)
	}
	s, err = Parser{}.Parse(strings.NewReader(`{"features":[{"properties":{"STATION_NUMBER":"02HC003","DATE":"1975-01-02","LEVEL":null,"FLOW":2.04,"FLOW_SYMBOL_EN":"Ice Conditions"}}]}`))
	if err != nil || len(s) != 2 || s[1].Period != ingest.Daily || s[1].Qualifier[0] != "Ice Conditions" || s[1].Value[0] != 2.04 {
		t.Errorf("daily mean: %+v, %v", s, err)
	}
}

func TestWhatIsNoAnswerSaysWhatItIs(t *testing.T) {
	for _, c := range []struct {
		name, body, want string
		retry            bool
	}{
		{"nothing", "", "is empty", false},
		{"a web page", "<html>", "web page", false},
		{"another table", "a,b\n", "not the header", false},
		{"a short row", office + "05BB001,2026\n", "line 2: has 2 columns", true},
		{"a value that is none", office + "05BB001,2026-07-01 00:00:00,5,warm,,,,,\n", `line 2, Value: "warm"`, false},
		{"a time that is none", mart + "02YA002,noon,1,,,1,,,,4\n", `line 2, Date: "noon"`, false},
		{"cut on its way", `{"features":[{"prop`, "ends early", true},
		{"a refusal", `{"code":"InvalidParameterValue","description":"bad limit"}`, "bad limit", false},
		{"no station", `{"features":[{"properties":{"DATE":"2026-01-01"}}]}`, "does not name its station", false},
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
