package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"
)

// inventedWater is a table of a river that follows the air, with gaps.
func inventedWater(days int) string {
	var b strings.Builder
	b.WriteString("date,air_c,water_c,flow_m3s\n")
	day, water := time.Date(2019, 1, 1, 0, 0, 0, 0, time.UTC), 4.0
	for i := range days {
		x := float64(i)
		air := 9 - 9*math.Cos(x*2*math.Pi/365.25) + 3*math.Sin(x*0.9) + 2*math.Sin(x*0.37)
		water = max(0, water+0.4*(1+0.8*air-water))
		flow := fmt.Sprintf("%.3f", 5+3*math.Cos(x*2*math.Pi/365.25)+math.Sin(x*0.21))
		w := fmt.Sprintf("%.2f", water)
		if i%50 == 7 {
			w, flow = "", "NA"
		}
		fmt.Fprintf(&b, "%s,%.2f,%s,%s\n", day.AddDate(0, 0, i).Format(time.DateOnly), air, w, flow)
	}
	return b.String()
}

func TestWaterFitsAPlainTableAndScoresTheRest(t *testing.T) {
	var out, errOut bytes.Buffer
	if code := run([]string{"water", "--csv", "-", "--fit-until", "2021-01-01", "--format", "json"}, strings.NewReader(inventedWater(1000)), &out, &errOut); code != 0 {
		t.Fatalf("exit %d: %s", code, errOut.String())
	}
	var got struct {
		Check map[string]struct {
			Days int     `json:"days"`
			RMSE float64 `json:"rmse_c"`
			NSE  float64 `json:"nse"`
		}
		Seconds *float64
		Regime  string
	}
	if err := json.Unmarshal(out.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	m := got.Check["model"]
	if m.Days < 250 || m.RMSE > 0.3 || m.NSE < 0.98 || m.RMSE > got.Check["logistic"].RMSE || m.RMSE > got.Check["climatology"].RMSE {
		t.Errorf("check scores are %+v", got.Check)
	}
	if got.Seconds == nil || got.Regime == "" {
		t.Error("no seconds or regime")
	}
}

func TestWaterSaysWhatIsWrongWithItsInput(t *testing.T) {
	for name, c := range map[string]struct {
		args []string
		in   string
		code int
		want string
	}{
		"too little to fit":    {[]string{"--fit-until", "2019-07-01"}, inventedWater(400), 1, "are missing"},
		"date outside":         {[]string{"--fit-until", "2030-07-01"}, inventedWater(400), 2, "runs from 2019-01-01"},
		"not a date":           {[]string{"--fit-until", "soon"}, inventedWater(400), 2, "YYYY-MM-DD"},
		"no water column":      {[]string{"--fit-until", "2019-07-01"}, "date,air_c\n", 1, `-:1: no column "water_c"`},
		"a word for a number":  {[]string{"--fit-until", "2019-07-01"}, "date,air_c,water_c\n2019-01-01,warm,3\n", 1, `-:2: "warm" is not a temperature`},
		"days out of order":    {[]string{"--fit-until", "2019-07-01"}, "date,air_c,water_c\n2019-01-02,1,3\n2019-01-01,1,3\n", 1, "not later than the row before"},
		"a row that is short":  {[]string{"--fit-until", "2019-07-01"}, "date,air_c,water_c\n2019-01-02,1\n", 1, "-:2: 2 columns, 3 are needed"},
		"nothing but a header": {[]string{"--fit-until", "2019-07-01"}, "date,air_c,water_c\n", 1, "no days"},
	} {
		t.Run(name, func(t *testing.T) {
			var out, errOut bytes.Buffer
			code := run(append([]string{"water", "--csv", "-"}, c.args...), strings.NewReader(c.in), &out, &errOut)
			if code != c.code || !strings.Contains(errOut.String(), c.want) {
				t.Errorf("exit %d, %q; want %d and %q", code, errOut.String(), c.code, c.want)
			}
		})
	}
}

func FuzzReadWaterNeverPanics(f *testing.F) {
	f.Add("date,air_c,water_c,flow_m3s\n2019-01-01,1,2,3\n2019-01-03,,NA,-1\n")
	f.Add("\ufeffWater_C,date,air_c\n1,2019-01-01,2\n")
	f.Fuzz(func(t *testing.T, s string) {
		rec, err := readWater("fuzz", strings.NewReader(s))
		if err == nil && (len(rec.Air) == 0 || len(rec.Air) != len(rec.Water)) {
			t.Errorf("%d days of air, %d of water", len(rec.Air), len(rec.Water))
		}
	})
}
