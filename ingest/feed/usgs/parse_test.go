package usgs

import (
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/replay"
)

// row11 is an invented feature of the daily collection.
func row11(ts, code, stat, at, value, unit, qualifier string) string {
	return fmt.Sprintf(`{"type":"Feature","id":"r-%s","geometry":null,"properties":{"time_series_id":%q,"monitoring_location_id":"USGS-11111111","parameter_code":%q,"statistic_id":%q,"time":%q,"value":%s,"unit_of_measure":%q,"approval_status":"Approved","qualifier":%s}}`, at, ts, code, stat, at, value, unit, qualifier)
}

func show(list []ingest.Series) string {
	var b strings.Builder
	for i := range list {
		s := &list[i]
		fmt.Fprintf(&b, "%s:", s.Key)
		for j := range s.Time {
			fmt.Fprintf(&b, " %s=%.4g", s.At(j).Format("01-02T15:04"), s.Value[j])
			if s.Qualifier[j] != "" {
				fmt.Fprintf(&b, "(%s)", s.Qualifier[j])
			}
		}
		b.WriteString("\n")
	}
	return b.String()
}

func TestTraps(t *testing.T) {
	const q = "null"
	for _, tc := range []struct {
		name string
		in   string
		want string
		left int
	}{
		{"two series of one site, parameter and statistic in no order stay apart and are sorted",
			collection("", row11("b", "00060", "00003", "2026-09-02", `"20"`, "ft^3/s", q), row11("a", "00060", "00003", "2026-09-02", `"20"`, "ft^3/s", q), row11("a", "00060", "00003", "2026-09-01", `"10"`, "ft^3/s", q), row11("b", "00060", "00003", "2026-09-01", `"10"`, "ft^3/s", q)),
			"usgs/USGS-11111111/discharge/mean/P1D/ts=b: 09-01T00:00=0.2832 09-02T00:00=0.5663\nusgs/USGS-11111111/discharge/mean/P1D/ts=a: 09-01T00:00=0.2832 09-02T00:00=0.5663\n", 0},
		{"null is a missing reading and the list of qualifiers is kept",
			collection("", row11("a", "00060", "00003", "2026-01-01", "null", "ft^3/s", `["ICE","ESTIMATED"]`), row11("a", "00060", "00003", "2026-01-02", `"100"`, "ft^3/s", `"ESTIMATED"`)),
			"usgs/USGS-11111111/discharge/mean/P1D/ts=a: 01-01T00:00=NaN(ICE,ESTIMATED) 01-02T00:00=2.832(ESTIMATED)\n", 0},
		{"a word in the value's place is a missing reading with that remark",
			collection("", row11("a", "00060", "00003", "2026-01-01", `"Ice"`, "ft^3/s", q)),
			"usgs/USGS-11111111/discharge/mean/P1D/ts=a: 01-01T00:00=NaN(Ice)\n", 0},
		{"-999999 is a missing reading",
			collection("", row11("a", "00060", "00003", "2026-01-01", `"-999999"`, "ft^3/s", `["EQUIP"]`)),
			"usgs/USGS-11111111/discharge/mean/P1D/ts=a: 01-01T00:00=NaN(EQUIP)\n", 0},
		{"parameter 00011 is in degrees Fahrenheit: 50 is 10",
			collection("", row11("a", "00011", "00001", "2026-01-01", `"50"`, "degF", q)),
			"usgs/USGS-11111111/water_temperature/max/P1D/ts=a: 01-01T00:00=10\n", 0},
		{"turbidity, in either spelling of its unit",
			collection("", row11("a", "63680", "00003", "2026-01-01", `"4.1"`, "FNU", q), row11("b", "63680", "00003", "2026-01-02", `"35"`, "_FNU", q)),
			"usgs/USGS-11111111/turbidity/mean/P1D/ts=a: 01-01T00:00=4.1\nusgs/USGS-11111111/turbidity/mean/P1D/ts=b: 01-02T00:00=35\n", 0},
		{"a number that is not quoted is read too",
			collection("", row11("a", "00010", "00003", "2026-01-01", `4.5`, "degC", q)),
			"usgs/USGS-11111111/water_temperature/mean/P1D/ts=a: 01-01T00:00=4.5\n", 0},
		{"the hour that autumn repeats is two hours of UTC",
			collection("", row11("a", "00010", "00011", "2026-11-01T01:30:00-05:00", `"6"`, "degC", q), row11("a", "00010", "00011", "2026-11-01T01:30:00-04:00", `"5"`, "degC", q)),
			"usgs/USGS-11111111/water_temperature/instant/ts=a: 11-01T05:30=5 11-01T06:30=6\n", 0},
		{"a day given twice is kept once, the later in the answer",
			collection("", row11("a", "00010", "00003", "2026-01-01", `"4"`, "degC", q), row11("a", "00010", "00003", "2026-01-01", `"5"`, "degC", q)),
			"usgs/USGS-11111111/water_temperature/mean/P1D/ts=a: 01-01T00:00=5\n", 1},
		{"the id of a record is one of its version: the same series and day with two ids is one reading",
			collection("", row11("a", "00010", "00003", "2026-01-01", `"4"`, "degC", q), strings.Replace(row11("a", "00010", "00003", "2026-01-01", `"5"`, "degC", q), `"id":"`, `"id":"other-`, 1)),
			"usgs/USGS-11111111/water_temperature/mean/P1D/ts=a: 01-01T00:00=5\n", 1},
		{"an unknown parameter and statistic are reported, not guessed",
			collection("", row11("a", "00400", "00003", "2026-01-01", `"4"`, "std units", q), row11("a", "00060", "32400", "2026-01-01", `"4"`, "ft^3/s", q)), "", 2},
		{"a field measurement stands in a series of its own, as measured",
			collection("", `{"type":"Feature","id":"f1","geometry":null,"properties":{"field_measurements_series_id":"f","field_visit_id":"v1","monitoring_location_id":"USGS-11111111","parameter_code":"00060","reading_type":"Discrete","time":"2026-05-01T17:30:00+00:00","value":"100","unit_of_measure":"ft^3/s","approval_status":"Approved","qualifier":null,"measurement_rated":"Good","control_condition":"Clear"}}`),
			"usgs/USGS-11111111/discharge/instant/ts=f: 05-01T17:30=2.832\n", 0},
		{"an empty collection is no error", collection(""), "", 0},
		{"a byte-order mark is passed over", "\ufeff" + collection(""), "", 0},
		{"CSV with blanks and a quoted remark",
			"x,y,time_series_id,monitoring_location_id,parameter_code,statistic_id,time,value,unit_of_measure,approval_status,qualifier\n,,a,USGS-11111111,00010,00011,2026-01-01 00:15:00+00:00,3.5,degC,Provisional,\n,,a,USGS-11111111,00010,00011,2026-01-01 00:00:00+00:00,,degC,Provisional,EQUIP\n",
			"usgs/USGS-11111111/water_temperature/instant/ts=a: 01-01T00:00=NaN(EQUIP) 01-01T00:15=3.5\n", 0},
	} {
		t.Run(tc.name, func(t *testing.T) {
			left := 0
			got, err := Parser{Skipped: func(s ingest.Skipped) { left += s.Readings }}.Parse(strings.NewReader(tc.in))
			if err != nil {
				t.Fatal(err)
			}
			if s := show(got); s != tc.want || left != tc.left {
				t.Errorf("got\n%s, left out %d, want\n%s, %d", s, left, tc.want, tc.left)
			}
		})
	}
}

func TestErrorsNameThePlaceAndWhatToDo(t *testing.T) {
	good := row11("a", "00010", "00003", "2026-01-01", `"4"`, "degC", "null")
	for _, tc := range []struct {
		name, in string
		says     []string
		retry    bool
	}{
		{"nothing", "", []string{"response", "is empty"}, false},
		{"a web page", "<!DOCTYPE html><html>down</html>", []string{"web page", "may be down"}, false},
		{"cut JSON", collection("", good)[:200], []string{"byte ", "ends early"}, true},
		{"broken JSON", strings.Replace(collection("", good), `"value"`, `value`, 1), []string{"byte ", "/features/0/properties", "not the expected JSON"}, false},
		{"bare nan", strings.Replace(collection("", good), `"4"`, `nan`, 1), []string{"not the expected JSON"}, false},
		{"no features", `{"type":"FeatureCollection"}`, []string{`"features"`}, false},
		{"refusal of the service", `{"code":"InvalidQuery","type":"InvalidQuery","description":"too large"}`, []string{"InvalidQuery", "too large"}, false},
		{"refusal of the gateway", `{"error":{"code":"OVER_RATE_LIMIT","message":"wait"}}`, []string{"OVER_RATE_LIMIT", "wait"}, true},
		{"unknown unit", collection("", good, row11("b", "00010", "00003", "2026-01-01", `"4"`, "furlong", "null")), []string{"feature 2", `"furlong"`, "unit"}, false},
		{"two units in one series", collection("", good, row11("a", "00010", "00003", "2026-01-02", `"4"`, "degF", "null")), []string{"feature 2", "degF", "degC"}, false},
		{"a time that is none", collection("", row11("a", "00010", "00003", "yesterday", `"4"`, "degC", "null")), []string{"feature 1", `"yesterday"`}, false},
		{"an instant without offset", collection("", row11("a", "00010", "00003", "2026-01-01T00:00:00", `"4"`, "degC", "null")), []string{"feature 1", "offset"}, false},
		{"a year beyond gauges", collection("", row11("a", "00010", "00003", "9999-01-01", `"4"`, "degC", "null")), []string{"feature 1", "year 9999"}, false},
		{"a value that is none", collection("", row11("a", "00010", "00003", "2026-01-01", `"4,5"`, "degC", "null")), []string{"feature 1", `"4,5"`}, false},
		{"an infinite value", collection("", row11("a", "00010", "00003", "2026-01-01", `"1e999"`, "degC", "null")), []string{"feature 1", `"1e999"`}, false},
		{"a short line of CSV", "x,y,time,value,unit_of_measure\n,,2018-02-12,277,ft^3/s\n,,2018-0", []string{"line 3"}, true},
		{"CSV cut within quotes", "x,time,value,unit_of_measure\n\"", []string{"line 2"}, true},
		{"another table", "a,b\n1,2\n", []string{"line 1", "column names"}, false},
		{"rows that do not say whose they are", "x,y,time,value,unit_of_measure\n,,2018-02-12,277,ft^3/s\n", []string{"line 2", "--site"}, false},
	} {
		t.Run(tc.name, func(t *testing.T) {
			got, err := Parser{}.Parse(strings.NewReader(tc.in))
			var e *ingest.Error
			if !errors.As(err, &e) || got != nil {
				t.Fatalf("%v, %v", got, err)
			}
			for _, w := range tc.says {
				if !strings.Contains(err.Error(), w) {
					t.Errorf("%q does not say %q", err, w)
				}
			}
			if e.Retryable != tc.retry {
				t.Errorf("retryable %v: %v", e.Retryable, err)
			}
			if strings.Contains(err.Error(), "\n") {
				t.Errorf("more than one line: %q", err)
			}
		})
	}
}

func TestChannelMeasurements(t *testing.T) {
	// Invented; the names are those of the service's own list of queryables.
	in := `{"features":[{"type":"Feature","id":"c1","geometry":null,"properties":{"monitoring_location_id":"USGS-11111111","time":"2025-06-01T17:30:00+00:00","measurement_number":"412","channel_name":"main","channel_flow":"100","channel_flow_unit":"ft^3/s","channel_width":"50","channel_width_unit":"ft","channel_area":"80","channel_area_unit":"ft^2","channel_velocity":"1.25","channel_velocity_unit":"ft/s","channel_material":"COBBLE","measurement_type":"Wading"}},
	{"type":"Feature","id":"c2","geometry":null,"properties":{"monitoring_location_id":"USGS-11111111","time":"2025-07-01T17:30:00+00:00","measurement_number":"413","channel_name":"main","channel_flow":"70","channel_flow_unit":"ft^3/s","channel_width":null,"channel_width_unit":null,"channel_area":"60","channel_area_unit":"ft^2","channel_velocity":"1.17","channel_velocity_unit":"ft/s","channel_material":null}}]}`
	series, err := Parser{}.Parse(strings.NewReader(in))
	if err != nil || len(series) != 4 {
		t.Fatalf("%s, %v", show(series), err)
	}
	if s := show(series[:1]); s != "usgs/USGS-11111111/channel_width/instant/ts=channel-measurements main: 06-01T17:30=15.24(Wading)\n" {
		t.Error(s) // one value: the second visit measured no width
	}
	// 80 ft2, 1.25 ft/s, 100 ft3/s by the exact foot.
	for i, want := range []float64{7.4322432, 0.381, 2.8316846592} {
		if got := series[i+1].Value; len(got) != 2 || math.Abs(got[0]-want) > 1e-12 {
			t.Errorf("%s: %v, want %v first", series[i+1].Key, got, want)
		}
	}
}

func TestDescriptionsOfRecordedSites(t *testing.T) {
	open := func(parts ...string) *os.File {
		f, err := os.Open(replay.Shared(t, append([]string{"feeds"}, parts...)...))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = f.Close() })
		return f
	}
	list, _, err := readLocations(open("usgs-ogc-v0", "monitoring-locations-idaho.csv"))
	if err != nil || len(list) != 3623 {
		t.Fatalf("%d locations, %v", len(list), err)
	}
	// First row of the file: altitude 6056.85 ft, drained area 2480 square miles.
	l := list[0]
	if l.ID != "USGS-10039500" || l.Zone != "America/Denver" || math.Abs(l.Elevation-1846.12788) > 1e-6 || math.Abs(l.Drainage-6423.17) > 0.01 || l.Lat != 42.2110433789753 {
		t.Errorf("%+v", l)
	}
	series, _, err := readTimeSeries(open("usgs-ogc-v0", "time-series-metadata-13037500-snake-heise.csv"))
	if err != nil || len(series) != 9 {
		t.Fatalf("%d series, %v", len(series), err)
	}
	var ended, live int
	for _, s := range series {
		switch {
		case s.Variable == ingest.WaterTemperature && s.End.Year() == 1999:
			ended++
		case s.Variable == ingest.Discharge && s.End.Year() == 2026:
			live++
		}
	}
	if ended != 3 || live != 2 {
		t.Errorf("%d series of temperature that end in 1999 and %d of flow that live, want 3 and 2", ended, live)
	}
	normals, _, err := readNormals(open("usgs-stats-api", "observationNormals.json"))
	if err != nil || len(normals) != 11 {
		t.Fatalf("%d normals, %v", len(normals), err)
	}
	// The recorded median of 1 January is 315.5 ft3/s from 104 years.
	for _, n := range normals {
		if n.Computation == "median" && (n.OfYear != "01-01" || n.Years != 104 || math.Abs(n.Value-315.5*0.028316846592) > 1e-9) {
			t.Errorf("%+v", n)
		}
	}
}

func FuzzParse(f *testing.F) {
	for _, b := range replay.Seeds(f, 60<<10, "usgs-ogc-v1", "usgs-ogc-v0", "usgs-stats-api") {
		f.Add(b)
	}
	f.Add([]byte(collection("https://x/next", row11("a", "00010", "00003", "2026-01-01", `"4"`, "degC", `["ICE"]`))))
	f.Add([]byte("x,y,time,value,unit_of_measure\n,,2018-02-12,277,ft^3/s\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		list, err := Parser{Site: "USGS-11111111", Parameter: "00060"}.Parse(strings.NewReader(string(b)))
		var e *ingest.Error
		if err != nil && (!errors.As(err, &e) || list != nil) {
			t.Fatalf("%T %v", err, err)
		}
		for i := range list {
			if err := list[i].Check(); err != nil {
				t.Fatal(err)
			}
		}
	})
}

func FuzzDescriptions(f *testing.F) {
	for _, b := range replay.Seeds(f, 60<<10, "usgs-ogc-v1", "usgs-ogc-v0", "usgs-stats-api") {
		f.Add(b)
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		in := string(b)
		_, _, err1 := readLocations(strings.NewReader(in))
		_, _, err2 := readTimeSeries(strings.NewReader(in))
		_, _, err3 := readNormals(strings.NewReader(in))
		for _, err := range []error{err1, err2, err3} {
			var e *ingest.Error
			if err != nil && !errors.As(err, &e) {
				t.Fatalf("%T %v", err, err)
			}
		}
	})
}
