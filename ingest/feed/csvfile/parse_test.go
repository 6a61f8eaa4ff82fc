package csvfile

import (
	"errors"
	"math"
	"strings"
	"testing"
	"testing/quick"
	"time"

	"example.org/eclose/ingest"
)

var water = []Column{{Name: "t", Variable: ingest.WaterTemperature, Unit: "°C"}}

func times(s ingest.Series) string {
	var b []string
	for i := range s.Time {
		b = append(b, s.At(i).Format("15:04"))
	}
	return strings.Join(b, " ")
}

func TestHoursThatTheClockRepeatsAreToldApartByTheirOrder(t *testing.T) {
	// London, 25 October 2026: 01:00-01:59 comes twice, first at +01:00.
	for _, c := range []struct{ name, rows, want string }{
		{"both passes", "00:30 01:00 01:30 01:00 01:30 02:00", "23:30 00:00 00:30 01:00 01:30 02:00"},
		{"newest row first", "02:00 01:30 01:00 01:30 01:00 00:30", "23:30 00:00 00:30 01:00 01:30 02:00"},
		{"one pass only is taken as the first", "00:30 01:30 02:30", "23:30 00:30 02:30"},
	} {
		t.Run(c.name, func(t *testing.T) {
			body := "time,t\n"
			for h := range strings.FieldsSeq(c.rows) {
				body += "2026-10-25 " + h + ",9\n"
			}
			s, err := Parser{Columns: water, Zone: "Europe/London"}.Parse(strings.NewReader(body))
			if err != nil {
				t.Fatal(err)
			}
			if got := times(s[0]); got != c.want {
				t.Errorf("got %s, want %s", got, c.want)
			}
		})
	}
}

func TestAnHourThatTheClockLeavesOutIsNotTakenAndIsTold(t *testing.T) {
	var told []string
	p := Parser{Columns: water, Zone: "America/Denver", Skipped: func(s ingest.Skipped) { told = append(told, s.String()) }}
	s, err := p.Parse(strings.NewReader("time,t\n2026-03-08 01:30,4\n2026-03-08 02:30,5\n2026-03-08 03:30,6\n"))
	if err != nil {
		t.Fatal(err)
	}
	if got := times(s[0]); got != "08:30 09:30" {
		t.Errorf("got %s", got)
	}
	if len(told) != 1 || !strings.Contains(told[0], "2026-03-08 02:30") || !strings.Contains(told[0], "fixed offset") {
		t.Errorf("told %q", told)
	}
}

func TestEveryInstantComesBackFromItsWallTime(t *testing.T) {
	for _, name := range []string{"America/Denver", "Europe/London", "Australia/Lord_Howe", "Asia/Kolkata", "America/St_Johns", "UTC"} {
		zone, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		back := func(n uint32) bool {
			at := time.Unix(int64(n)/60*60, 0).UTC()
			_, off := at.In(zone).Zone()
			two, k := ingest.WallClock(at.Add(time.Duration(off)*time.Second), zone)
			return (k > 0 && two[0].Equal(at)) || (k > 1 && two[1].Equal(at))
		}
		if err := quick.Check(back, &quick.Config{MaxCount: 20000}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func TestWhatAFileMayLookLike(t *testing.T) {
	f := []Column{{Name: "Water", Variable: ingest.WaterTemperature, Unit: "°F", Qualifier: "Note"}}
	for _, c := range []struct {
		name, body string
		p          Parser
		want       []float64
		q          string
	}{
		{"byte-order mark, quoted padding, comments", "\xef\xbb\xbf# made by a logger\ntime,Water,Note\n# half way\n2026-05-01T00:00Z,\" 50 \",ok\n", Parser{Columns: f}, []float64{10}, "ok"},
		{"semicolons and a decimal comma", "time;Water;Note\n2026-05-01T00:00Z;50,0;\n", Parser{Columns: f, DecimalComma: true}, []float64{10}, ""},
		{"tabs and a row of types below the header", "time\tWater\tNote\n20d\t14n\t10s\n2026-05-01T00:00Z\t50\t\n", Parser{Columns: f}, []float64{10}, ""},
		{"blank, -9999 and a word are no values", "time,Water,Note\n2026-05-01T00:00Z,,\n2026-05-01T01:00Z,-9999.0,\n2026-05-01T02:00Z,Ice,e\n", Parser{Columns: f, Missing: []string{"-9999"}}, []float64{math.NaN(), math.NaN(), math.NaN()}, "Ice,e"},
		{"day before month, lines above the header", "Logger 12\n\ntime,Water,Note\n31/12/2025 23:00,50,\n", Parser{Columns: f, Layout: "02/01/2006 15:04", Zone: "UTC", SkipLines: 2}, []float64{10}, ""},
		{"a column named by its place", "time,a,a\n2026-05-01T00:00Z,1,50\n", Parser{Columns: []Column{{Name: "#3", Variable: ingest.WaterTemperature, Unit: "°F"}}}, []float64{10}, ""},
		{"seconds since 1970", "time,Water,Note\n1777593600,50,\n", Parser{Columns: f, Layout: "unix"}, []float64{10}, ""},
		{"a file that describes itself", "time,water_temperature (°F)\n2026-05-01T00:00Z,50\n", Parser{}, []float64{10}, ""},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := c.p.Parse(strings.NewReader(c.body))
			if err != nil {
				t.Fatal(err)
			}
			if len(s) != 1 || s[0].Len() != len(c.want) {
				t.Fatalf("got %d series, %v", len(s), s)
			}
			for i, w := range c.want {
				if v := s[0].Value[i]; v != w && !(math.IsNaN(v) && math.IsNaN(w)) {
					t.Errorf("value %d is %g, want %g", i, v, w)
				}
			}
			if c.q != "" && s[0].Qualifier[len(c.want)-1] != c.q {
				t.Errorf("qualifier is %q, want %q", s[0].Qualifier[len(c.want)-1], c.q)
			}
		})
	}
}

func TestTwoDigitYearsFollowTheDeclaredHundred(t *testing.T) {
	p := Parser{Columns: []Column{{Name: "t", Variable: ingest.WaterTemperature, Unit: "°C", Period: ingest.Daily}}, Layout: "1/2/06", TwoDigitYearsFrom: 1950}
	s, err := p.Parse(strings.NewReader("time,t\n3/1/52,1\n3/1/20,2\n"))
	if err != nil {
		t.Fatal(err)
	}
	if a, b := s[0].At(0).Format(time.DateOnly), s[0].At(1).Format(time.DateOnly); a != "1952-03-01" || b != "2020-03-01" {
		t.Errorf("got %s and %s", a, b)
	}
}

func TestErrorsNameTheLineAndTheColumn(t *testing.T) {
	for _, c := range []struct {
		name, body string
		p          Parser
		want       string
	}{
		{"nothing", "", Parser{Columns: water}, "no header line"},
		{"no such column", "time,x\n", Parser{Columns: water}, `no column "t"`},
		{"two columns of the name", "time,t,t\n", Parser{Columns: water}, "two columns"},
		{"a value that is none", "time,t\n2026-05-01T00:00Z,1\n2026-05-01T01:00Z,1.2.3\n", Parser{Columns: water}, `line 3, column 19 (t): "1.2.3"`},
		{"line numbers count the skipped lines", "a\nb\ntime,t\n2026-05-01T00:00Z,?\n", Parser{Columns: water, SkipLines: 2}, "line 4, column 19"},
		{"a time that is none", "time,t\n2026-13-01T00:00Z,1\n", Parser{Columns: water}, "line 2, column 1 (time)"},
		{"no zone", "time,t\n2026-05-01 00:00,1\n", Parser{Columns: water}, "no zone is set"},
		{"the machine's own zone", "time,t\n2026-05-01 00:00,1\n", Parser{Columns: water, Zone: "Local"}, "no zone is set"},
		{"two-digit years without their hundred", "time,t\n01/05/26,1\n", Parser{Columns: water, Layout: "02/01/06", Zone: "UTC"}, "two-digit years"},
		{"a short row", "time,t\n2026-05-01T00:00Z\n", Parser{Columns: water}, "line 2: has 1 columns"},
		{"an unknown unit", "time,t\n", Parser{Columns: []Column{{Name: "t", Variable: ingest.WaterTemperature, Unit: "°R"}}}, `"°R"`},
		{"nothing declared", "time,t\n", Parser{}, "no column is declared"},
		{"a file shorter than its head", "a\n", Parser{Columns: water, SkipLines: 3}, "lines to skip"},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := c.p.Parse(strings.NewReader(c.body))
			var e *ingest.Error
			if !errors.As(err, &e) || !strings.Contains(err.Error(), c.want) {
				t.Errorf("got %v, want an *ingest.Error with %q", err, c.want)
			}
		})
	}
}
