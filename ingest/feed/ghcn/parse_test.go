package ghcn

import (
	"bytes"
	"compress/gzip"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"example.org/eclose/ingest"
)

func TestUnitsAreToldFromTheNumbersOrRefused(t *testing.T) {
	for _, c := range []struct {
		name, body, units string
		want              float64 // °C of the first TMAX
		fault             string
	}{
		{"padded strings are tenths", `[{"DATE":"2023-07-15","STATION":"USW00094728","TMAX":"  311"}]`, "", 31.1, ""},
		{"more than any thermometer showed is tenths", "STATION,DATE,TMAX\nGHCND:USW00024233,20140801,311\n", "", 31.1, ""},
		{"rain to two decimals goes with °F", "STATION,DATE,PRCP,TMAX\nUSC00042319,2021-01-01,0.01,50\n", "", 10, ""},
		{"whole and hotter than any °C is °F", "STATION,DATE,TMAX\nUSC00042319,2021-07-01,122\n", "", 50, ""},
		{"decimals are °C", "STATION,DATE,TMAX\nUSC00042319,2021-01-01,10.6\n", "", 10.6, ""},
		{"declared", "STATION,DATE,TMAX\nUSC00042319,2021-01-01,10\n", Metric, 10, ""},
		{"declared but impossible", "STATION,DATE,TMAX\nUSC00042319,2021-01-01,311\n", Metric, 0, "looks like tenths"},
		{"undecidable", "STATION,DATE,TMAX\nUSC00042319,2021-01-01,10\n", "", 0, "does not show"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Parser{Units: c.units}.Parse(strings.NewReader(c.body))
			if c.fault != "" {
				if err == nil || !strings.Contains(err.Error(), c.fault) {
					t.Errorf("got %v, want %q", err, c.fault)
				}
				return
			}
			if err != nil {
				t.Fatal(err)
			}
			for _, x := range s {
				if x.Variable == ingest.AirTemperature && math.Abs(x.Value[0]-c.want) > 1e-9 {
					t.Errorf("got %g °C, want %g", x.Value[0], c.want)
				}
			}
		})
	}
}

// line builds one .dly record with the given days set.
func line(element string, year, month int, set map[int]string) string {
	b := fmt.Sprintf("USC00011084%04d%02d%s", year, month, element)
	for d := 1; d <= 31; d++ {
		v := "-9999   "
		if s, ok := set[d]; ok {
			v = s
		}
		b += v
	}
	return b + "\n"
}

func TestAMonthOfDlyHasItsOwnLength(t *testing.T) {
	body := line("TMAX", 2024, 2, map[int]string{1: "  311  X", 29: "  -50 IX", 30: "  999  X"}) + line("PRCP", 2024, 2, map[int]string{1: "    0T X"})
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	_, _ = z.Write([]byte(body))
	_ = z.Close()
	for _, c := range []struct{ name, body string }{{"plain", body}, {"gzip", packed.String()}, {"carriage returns", strings.ReplaceAll(body, "\n", "\r\n")}} {
		t.Run(c.name, func(t *testing.T) {
			s, err := Parser{}.Parse(strings.NewReader(c.body))
			if err != nil {
				t.Fatal(err)
			}
			if len(s) != 2 || s[0].Len() != 29 || s[0].MissingCount() != 27 || s[0].Value[0] != 31.1 || s[0].Value[28] != -5 || s[0].Qualifier[28] != "Q:I" {
				t.Errorf("got %+v", s[0])
			}
			if s[1].Qualifier[0] != "M:T" || s[1].Value[0] != 0 {
				t.Errorf("a trace of rain is %g with %q", s[1].Value[0], s[1].Qualifier[0])
			}
		})
	}
}

func TestFilesByStation(t *testing.T) {
	wide := "\"STATION\",\"DATE\",\"LATITUDE\",\"LONGITUDE\",\"ELEVATION\",\"NAME\",\"TMAX\",\"TMAX_ATTRIBUTES\",\"SNOW\"\n\"USC00011084\",\"2024-02-01\",\"31.05\",\"-87.05\",\"25.9\",\"BREWTON\",\"  311\",\",I,7,0700\",\"   12\"\n"
	var told string
	s, err := Parser{Skipped: func(x ingest.Skipped) { told += x.String() }}.Parse(strings.NewReader(wide))
	if err != nil || len(s) != 1 || s[0].Value[0] != 31.1 || s[0].Qualifier[0] != "Q:I" || s[0].Place.Lat != 31.05 || s[0].Place.Name != "BREWTON" {
		t.Errorf("wide: %+v, %v", s, err)
	}
	if !strings.Contains(told, "SNOW") {
		t.Errorf("told %q", told)
	}
	s, err = Parser{}.Parse(strings.NewReader("USC00011084,20240201,TMAX,311,,I,7,0700\nUSC00011084,20240202,TMAX,50,,,7,0700\n"))
	if err != nil || len(s) != 1 || s[0].Len() != 2 || s[0].Value[1] != 5 || s[0].Qualifier[0] != "Q:I" {
		t.Errorf("long: %+v, %v", s, err)
	}
}

func TestMissingIsBlankOrMinus9999(t *testing.T) {
	s, err := Parser{Units: Metric}.Parse(strings.NewReader("STATION,DATE,TMAX\nUSC00042319,2021-01-01,\nUSC00042319,2021-01-02,-9999\nUSC00042319,2021-01-03,1.5\n"))
	if err != nil || s[0].Len() != 3 || s[0].MissingCount() != 2 {
		t.Errorf("got %+v, %v", s, err)
	}
}

func TestWhatIsNoAnswerSaysWhatItIs(t *testing.T) {
	for _, c := range []struct {
		name, body, want string
		retry            bool
	}{
		{"nothing", "", "is empty", false},
		{"a web page", "<!DOCTYPE html>", "web page", false},
		{"a refusal", `{"errorMessage":"bad dates"}`, "bad dates", false},
		{"cut on its way", `[{"DATE":"2023-07-15","STATI`, "ends early", true},
		{"no dates", "STATION,TMAX\n", "no column DATE", false},
		{"a short row", "STATION,DATE,TMAX\nUSC00042319,2021-01-01\n", "line 2: has 2 columns", true},
		{"a date that is none", "STATION,DATE,TMAX\nUSC00042319,2021-02-30,1.5\n", "line 2, DATE", false},
		{"a value that is none", "STATION,DATE,TMAX\nUSC00042319,2021-02-03,warm\nUSC00042319,2021-02-04,1.5\n", `line 2, TMAX: "warm"`, false},
		{"a line cut off", line("TMAX", 2024, 2, nil)[:100], "has 100 characters", false},
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
