package main

import (
	"bytes"
	"encoding/json"
	"math"
	"strings"
	"testing"
)

const fewDays = `date,tmin,tmax,note
2025-05-01,4,14,a
2025-05-02,8,20,b

2025-05-04,10,26,the third is missing
`

func TestDegreeDaysOfATable(t *testing.T) {
	var out, errs bytes.Buffer
	code := run([]string{"degree-days", "--csv", "-", "--method", "single-triangle", "--lower", "4", "--upper", "26", "--format", "json"},
		strings.NewReader(fewDays), &out, &errs)
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errs.String())
	}
	var got struct {
		Days []struct {
			Date       string
			DegreeDays *float64 `json:"degree_days"`
			Total      float64
		}
		Total   float64
		Missing int `json:"missing_days"`
	}
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Days) != 4 || got.Missing != 1 || got.Days[2].DegreeDays != nil || got.Days[2].Total != 15 {
		t.Fatalf("got %+v", got)
	}
	if math.Abs(got.Total-(5+10+14)) > 1e-9 {
		t.Errorf("total %g, want 29", got.Total)
	}
	if !strings.Contains(errs.String(), "1 of 4 days have no temperature") {
		t.Errorf("the gap is not told: %q", errs.String())
	}
}

func TestDegreeDaysFromADateInText(t *testing.T) {
	var out, errs bytes.Buffer
	code := run([]string{"degree-days", "--csv", "-", "--lower", "40", "--units", "f", "--method", "average", "--from", "2025-05-02"},
		strings.NewReader("tmax,date,tmin\n60,2025-05-01,40\n70,2025-05-02,50\n"), &out, &errs)
	if code != 0 || !strings.Contains(out.String(), "2025-05-02") || strings.Contains(out.String(), "2025-05-01") || !strings.Contains(out.String(), "20.00") {
		t.Errorf("exit %d: %s%s", code, out.String(), errs.String())
	}
}

func TestDegreeDaysNamesWhatIsWrong(t *testing.T) {
	for _, tc := range []struct {
		what, table, want string
		args              []string
		code              int
	}{
		{"thresholds upside down", fewDays, "not above", []string{"--lower", "20", "--upper", "10"}, 2},
		{"unknown method", fewDays, "unknown method", []string{"--lower", "2", "--method", "cosine"}, 2},
		{"unknown cut-off", fewDays, "unknown cut-off", []string{"--lower", "2", "--cutoff", "diagonal"}, 2},
		{"no lower threshold", fewDays, "--lower", nil, 2},
		{"a start outside", fewDays, "outside the table", []string{"--lower", "2", "--from", "2024-01-01"}, 2},
		{"no such column", "day,tmin,tmax\n", `-:1: column "date" is missing`, []string{"--lower", "2"}, 1},
		{"a bad date", "date,tmin,tmax\n5/1/2025,1,2\n", "-:2: \"5/1/2025\" is not a date", []string{"--lower", "2"}, 1},
		{"a date twice", "date,tmin,tmax\n2025-05-01,1,2\n2025-05-01,1,2\n", "-:3: 2025-05-01 is not later", []string{"--lower", "2"}, 1},
		{"extremes swapped", "date,tmin,tmax\n2025-05-01,12,2\n", "-:2: tmin 12 is above tmax 2", []string{"--lower", "2"}, 1},
		{"words for numbers", "date,tmin,tmax\n2025-05-01,cold,2\n", `"cold" is not a temperature`, []string{"--lower", "2"}, 1},
		{"nothing", "date,tmin,tmax\n", "no days below the header", []string{"--lower", "2"}, 1},
	} {
		t.Run(tc.what, func(t *testing.T) {
			var out, errs bytes.Buffer
			code := run(append([]string{"degree-days", "--csv", "-"}, tc.args...), strings.NewReader(tc.table), &out, &errs)
			if code != tc.code || !strings.Contains(errs.String(), tc.want) {
				t.Errorf("exit %d (want %d): %q, want %q", code, tc.code, errs.String(), tc.want)
			}
		})
	}
}

func FuzzReadDailyExtremes(f *testing.F) {
	f.Add(fewDays)
	f.Add("date,tmin,tmax\n0001-01-01,1,2\n9999-01-01,1,2\n")
	f.Fuzz(func(t *testing.T, table string) {
		_, lo, hi, err := readDailyExtremes("x", strings.NewReader(table))
		if err != nil {
			return
		}
		if len(lo) == 0 || len(lo) != len(hi) {
			t.Fatalf("%d minima, %d maxima", len(lo), len(hi))
		}
		for i := range lo {
			if lo[i] > hi[i] {
				t.Fatalf("day %d: %g above %g", i, lo[i], hi[i])
			}
		}
	})
}
