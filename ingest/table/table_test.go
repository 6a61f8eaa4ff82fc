package table

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
)

func float(_, s string) (float64, error) { return strconv.ParseFloat(s, 64) }

func TestDailyFillsTheDaysLeftOut(t *testing.T) {
	const text = "\ufeffFlow, Date ,air,notes\n# a comment\n3,2025-05-01 12:00,NA,x\n,2025-05-04,7,\n"
	first, v, err := Daily("t.csv", strings.NewReader(text), []string{"air"}, []string{"flow", "rain"}, float, nil)
	if err != nil {
		t.Fatal(err)
	}
	same := func(a, b float64) bool { return a == b || math.IsNaN(a) && math.IsNaN(b) }
	nan := math.NaN()
	if first.Format(time.DateOnly) != "2025-05-01" || !slices.EqualFunc(v[0], []float64{nan, nan, nan, 7}, same) || !slices.EqualFunc(v[1], []float64{3, nan, nan, nan}, same) || v[2] != nil {
		t.Errorf("from %s: %v", first, v)
	}
}

func TestFaultsNameFileAndLine(t *testing.T) {
	for text, want := range map[string]string{
		"":                       "t.csv: the file is empty",
		"date;air\n":             `t.csv:1: column "date" is missing: the header needs date, air, and names date;air; the fields must be separated by commas`,
		"date,air,Air\n":         `t.csv:1: two columns "air"`,
		"date,air\n":             "t.csv: no days below the header",
		"date,air\n2025-05-01\n": "t.csv:2: 1 columns, 2 are needed",
		"date,air\n5/1/2025,1\n": `t.csv:2: "5/1/2025" is not a date`,
		"date,air\n2025-05-01,1\n\n2025-05-01,2\n": "t.csv:4: 2025-05-01 is not later",
		"date,air\n1801-05-01,1\n2025-05-01,2\n":   "t.csv:3: 2025-05-01 is more than 200 years",
		"date,air\n2025-05-01,-1\n":                "t.csv:2: -1 is negative",
	} {
		_, _, err := Daily("t.csv", strings.NewReader(text), []string{"air"}, nil, float, func(v []float64) error {
			if v[0] < 0 {
				return fmt.Errorf("%g is negative", v[0])
			}
			return nil
		})
		if err == nil || !strings.HasPrefix(err.Error(), want) {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}
