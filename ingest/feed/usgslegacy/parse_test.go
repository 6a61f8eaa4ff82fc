package usgslegacy

import (
	"errors"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/replay"
)

// waterML is an invented WaterML-JSON answer: one series, one or more methods.
func waterML(code, unit, stat, noData string, methods ...string) string {
	var ms []string
	for i, m := range methods {
		ms = append(ms, fmt.Sprintf(`{"value":[%s],"qualifier":[],"method":[{"methodDescription":"","methodID":%d}]}`, m, 100+i))
	}
	return fmt.Sprintf(`{"name":"ns1:timeSeriesResponseType","value":{"queryInfo":{},"timeSeries":[{"sourceInfo":{"siteName":"WEND AT BRIDGE","siteCode":[{"value":"11111111","network":"NWIS","agencyCode":"USGS"}],"timeZoneInfo":{"defaultTimeZone":{"zoneOffset":"-08:00","zoneAbbreviation":"PST"},"siteUsesDaylightSavingsTime":true},"geoLocation":{"geogLocation":{"srs":"EPSG:4326","latitude":44.5,"longitude":-121.5}}},"variable":{"variableCode":[{"value":%q}],"variableName":"x","unit":{"unitCode":%q},"options":{"option":[{"name":"Statistic","optionCode":%q}]},"noDataValue":%s},"values":[%s],"name":"USGS:11111111:%s:%s"}]}}`,
		code, unit, stat, noData, strings.Join(ms, ","), code, stat)
}

func point(at, v string, quals ...string) string {
	return fmt.Sprintf(`{"value":%q,"qualifiers":["%s"],"dateTime":%q}`, v, strings.Join(quals, `","`), at)
}

func show(list []ingest.Series) string {
	var b strings.Builder
	for i := range list {
		s := &list[i]
		fmt.Fprintf(&b, "%s:", s.Key)
		for j := range s.Time {
			fmt.Fprintf(&b, " %s=%.4g", s.At(j).Format("01-02T15:04"), s.Value[j])
			if s.Qualifier[j] != "" || s.Approval[j] != ingest.ApprovalUnknown {
				fmt.Fprintf(&b, "(%.1s%s)", s.Approval[j], s.Qualifier[j])
			}
		}
		b.WriteString("\n")
	}
	return b.String()
}

const dvHead = "# comment\nagency_cd\tsite_no\tdatetime\t7_00060_00003\t7_00060_00003_cd\n5s\t15s\t20d\t14n\t10s\n"

func TestTraps(t *testing.T) {
	for _, tc := range []struct {
		name, in, want string
		left           int
	}{
		{"JSON: two methods stay two series, the silent one too",
			waterML("00010", "deg C", "00000", "-999999.0", "", point("2019-06-01T12:00:00.000-07:00", "11.5", "P")),
			"usgs-legacy/USGS-11111111/water_temperature/instant/ts=100:\nusgs-legacy/USGS-11111111/water_temperature/instant/ts=101: 06-01T19:00=11.5(p)\n", 0},
		{"JSON: the no-data value the file states is a missing reading, another number is not",
			waterML("00060", "ft3/s", "00003", "-9", point("2019-01-01T00:00:00.000", "-9", "P", "Ice")+","+point("2019-01-02T00:00:00.000", "0", "A", "e")),
			"usgs-legacy/USGS-11111111/discharge/mean/P1D/ts=100: 01-01T00:00=NaN(pIce) 01-02T00:00=0(ae)\n", 0},
		{"JSON: parameter 00011 is in degrees Fahrenheit: 212 is 100",
			waterML("00011", "deg F", "00003", "-999999.0", point("2019-01-01T00:00:00.000", "212", "A")),
			"usgs-legacy/USGS-11111111/water_temperature/mean/P1D/ts=100: 01-01T00:00=100(a)\n", 0},
		{"JSON: the hour that autumn repeats is two hours of UTC",
			waterML("00010", "deg C", "00000", "-999999.0", point("2018-11-04T01:30:00.000-07:00", "5", "P")+","+point("2018-11-04T01:30:00.000-08:00", "6", "P")),
			"usgs-legacy/USGS-11111111/water_temperature/instant/ts=100: 11-04T08:30=5(p) 11-04T09:30=6(p)\n", 0},
		{"JSON: the same day twice keeps the later, unless it is missing; a discontinued sensor says Dis",
			waterML("00010", "deg C", "00003", "-999999.0", point("2019-01-01T00:00:00.000", "4", "P")+","+point("2019-01-01T00:00:00.000", "-999999", "P", "Dis")),
			"usgs-legacy/USGS-11111111/water_temperature/mean/P1D/ts=100: 01-01T00:00=4(p)\n", 1},
		{"JSON: values may stand before the variable that explains them",
			func() string {
				s := waterML("00010", "deg C", "00003", "-999999.0", point("2019-01-01T00:00:00.000", "-999999", "P"))
				i, j := strings.Index(s, `"sourceInfo"`), strings.Index(s, `"values"`)
				k := strings.Index(s, `,"name":"USGS`)
				return s[:i] + s[j:k] + "," + s[i:j-1] + s[k:]
			}(),
			"usgs-legacy/USGS-11111111/water_temperature/mean/P1D/ts=100: 01-01T00:00=NaN(p)\n", 0},
		{"JSON: no series at all is an empty answer", `{"name":"x","value":{"queryInfo":{},"timeSeries":[]}}`, "", 0},
		{"JSON: unknown parameter and statistic are reported",
			waterML("63680", "FNU", "00000", "-999999.0", point("2019-06-01T12:00:00.000-07:00", "1", "P")), "", 1},
		{"RDB: the word Ice in the place of the value", dvHead + "USGS\t11111111\t2007-01-01\tIce\tP\nUSGS\t11111111\t2007-01-02\t100\tA:[4]\nUSGS\t11111111\t2007-01-03\t\t\nUSGS\t11111111\t2007-01-04\t100\tAe\n",
			"usgs-legacy/USGS-11111111/discharge/mean/P1D/ts=7: 01-01T00:00=NaN(pIce) 01-02T00:00=2.832(a[4]) 01-03T00:00=NaN 01-04T00:00=2.832(ae)\n", 0},
		{"RDB: the abbreviation tells the two autumn hours apart; Windows line ends",
			strings.ReplaceAll("agency_cd\tsite_no\tdatetime\ttz_cd\t9_00010\t9_00010_cd\n5s\t15s\t20d\t6s\t14n\t10s\nUSGS\t11111111\t2018-11-04 01:30\tPDT\t5\tP\nUSGS\t11111111\t2018-11-04 01:30\tPST\t6\tP\n", "\n", "\r\n"),
			"usgs-legacy/USGS-11111111/water_temperature/instant/ts=9: 11-04T08:30=5(p) 11-04T09:30=6(p)\n", 0},
		{"RDB: several sites in one file",
			dvHead + "USGS\t11111111\t2007-01-01\t100\tA\n" + "# next\nagency_cd\tsite_no\tdatetime\t8_00060_00003\t8_00060_00003_cd\n5s\t15s\t20d\t14n\t10s\nUSGS\t22222222\t2007-01-01\t200\tA\n",
			"usgs-legacy/USGS-11111111/discharge/mean/P1D/ts=7: 01-01T00:00=2.832(a)\nusgs-legacy/USGS-22222222/discharge/mean/P1D/ts=8: 01-01T00:00=5.663(a)\n", 0},
		{"XML: other prefixes, blanks around everything, a list of qualifiers",
			`<?xml version="1.0"?><w:timeSeriesResponse xmlns:w="http://www.cuahsi.org/waterML/1.1/"><w:timeSeries name="USGS:11111111:00060:00003"><w:sourceInfo><w:siteName>A &amp;amp; B</w:siteName><w:siteCode agencyCode="USGS"> 11111111 </w:siteCode></w:sourceInfo><w:variable><w:variableCode> 00060 </w:variableCode><w:unit><w:unitCode> cfs </w:unitCode></w:unit><w:options><w:option optionCode="00003"/></w:options><w:noDataValue>-999999.0</w:noDataValue></w:variable><w:values><w:value qualifiers="P Ice" dateTime="2015-01-01T00:00:00.000"> -999999 </w:value><w:value qualifiers="P" dateTime="2015-01-02T00:00:00.000"> 100 </w:value><w:method methodID="3"/></w:values></w:timeSeries></w:timeSeriesResponse>`,
			"usgs-legacy/USGS-11111111/discharge/mean/P1D/ts=3: 01-01T00:00=NaN(pIce) 01-02T00:00=2.832(p)\n", 0},
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
	good := point("2019-06-01T12:00:00.000-07:00", "11.5", "P")
	whole := waterML("00010", "deg C", "00000", "-999999.0", good)
	for _, tc := range []struct {
		name, in string
		says     []string
		retry    bool
	}{
		{"nothing", " \n", []string{"is empty"}, false},
		{"cut JSON", whole[:len(whole)-40], []string{"byte ", "ends early"}, true},
		{"broken JSON", strings.Replace(whole, `"values"`, `values`, 1), []string{"byte ", "/value/timeSeries/0"}, false},
		{"an answer of another service", `{"type":"FeatureCollection","features":[]}`, []string{"use the feed usgs"}, false},
		{"unknown unit", waterML("00010", "degrees Réaumur", "00000", "-999999.0", good), []string{"USGS:11111111:00010", `"degrees Réaumur"`}, false},
		{"days and instants mixed", waterML("00010", "deg C", "00000", "-999999.0", good+","+point("2019-06-01T00:00:00.000", "1", "P")), []string{"mixes days"}, false},
		{"a time that is none", waterML("00010", "deg C", "00000", "-999999.0", point("soon", "1", "P")), []string{"value 1", `"soon"`}, false},
		{"an instant without offset", waterML("00010", "deg C", "00000", "-999999.0", point("2019-06-01T12:15:00.000", "1", "P")), []string{"value 1", "offset"}, false},
		{"a value that is none", waterML("00010", "deg C", "00000", "-999999.0", point("2019-06-01T12:00:00.000-07:00", "11;5", "P")), []string{"value 1", `"11;5"`}, false},
		{"a short row of RDB", dvHead + "USGS\t11111111\t2007-01-01\t10", []string{"line 4", "4 columns", "5"}, false},
		{"only comments in RDB", "# nothing\n", []string{"no table", "check site"}, false},
		{"an unknown zone in RDB", "agency_cd\tsite_no\tdatetime\ttz_cd\t9_00010\t9_00010_cd\nUSGS\t11111111\t2018-11-04 01:30\tBST\t5\tP\n", []string{"line 2", `"BST"`}, false},
		{"a two-digit year", dvHead + "USGS\t11111111\t3/11/52\t10\tA\n", []string{"line 4", "two-digit year", "--two-digit-years-from"}, false},
		{"description and code disagree", "#  7 00060 00003 Discharge, cubic meters per second (Mean)\n" + dvHead + "USGS\t11111111\t2007-01-01\t10\tA\n", []string{"7_00060_00003", "cubic meters"}, false},
		{"some other text", "hello world\n", []string{"line 1", "agency_cd"}, false},
		{"a web page", "<html><body>404</body></html>", []string{"<html>", "waterml"}, false},
		{"WaterML 2", `<wml2:Collection xmlns:wml2="http://www.opengis.net/waterml/2.0"/>`, []string{"waterml2"}, false},
		{"cut XML", `<w:timeSeriesResponse xmlns:w="x"><w:timeSeries name="a"><w:sourceInfo>`, []string{"line 1", "ends early"}, true},
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
			if e.Retryable != tc.retry || strings.Contains(err.Error(), "\n") {
				t.Errorf("retryable %v: %q", e.Retryable, err)
			}
		})
	}
}

func TestTwoDigitYearsCrossTheCenturyAsTheUserSaid(t *testing.T) {
	in := dvHead + "USGS\t11111111\t3/11/52\t10\tA\nUSGS\t11111111\t2/29/00\t20\tA\nUSGS\t11111111\t7/29/20\t30\tA\n"
	got, err := Parser{TwoDigitYearsFrom: 1930}.Parse(strings.NewReader(in))
	if err != nil {
		t.Fatal(err)
	}
	var days []string
	for i := range got[0].Time {
		days = append(days, got[0].At(i).Format(time.DateOnly))
	}
	if strings.Join(days, " ") != "1952-03-11 2000-02-29 2020-07-29" {
		t.Error(days)
	}
	if _, err := (Parser{TwoDigitYearsFrom: 1801}).Parse(strings.NewReader(in)); err == nil || !strings.Contains(err.Error(), "not a day in 1900") {
		t.Errorf("29 February 1900: %v", err)
	}
}

func TestSitesAndNormalsOfRecordedFiles(t *testing.T) {
	open := func(name string) *os.File {
		f, err := os.Open(replay.Shared(t, "feeds", "usgs-legacy-rdb", name))
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = f.Close() })
		return f
	}
	sites, err := ParseSites(open("site-service-washington-2020.rdb"))
	if err != nil || len(sites) != 2 || sites[1].ID != "USGS-12017000" || math.Abs(sites[1].AltitudeM-7.39*0.3048) > 1e-9 || sites[1].Lon != -123.8507215 {
		t.Errorf("%+v, %v", sites, err)
	}
	normals, err := ParseNormals(open("statistics-daily-percentiles.rdb"))
	if err != nil {
		t.Fatal(err)
	}
	// Counted apart, in the raw file: awk over the rows of 00010 and 00060.
	var temperature, flow, leap int
	for _, n := range normals {
		if n.Computation == "arithmetic_mean" {
			if n.Variable == ingest.WaterTemperature {
				temperature++
			} else {
				flow++
			}
			if n.OfYear == "02-29" {
				leap++
			}
		}
	}
	if temperature != 351 || flow != 732 || leap != 3 {
		t.Errorf("%d days of temperature, %d of flow, %d leap days", temperature, flow, leap)
	}
	if n := normals[0]; n.Years != 2 || n.Value != 7.7 || n.Computation != "maximum" || n.OfYear != "01-01" {
		t.Errorf("%+v", n)
	}
}

func FuzzParse(f *testing.F) {
	for _, b := range replay.Seeds(f, 60<<10, "usgs-legacy-json", "usgs-legacy-rdb", "usgs-legacy-xml") {
		f.Add(b)
	}
	f.Add([]byte(waterML("00010", "deg C", "00000", "-999999.0", point("2019-06-01T12:00:00.000-07:00", "11.5", "P", "e"))))
	f.Add([]byte(dvHead + "USGS\t11111111\t2007-01-01\tIce\tP\nUSGS\t11111111\t1/2/07\t1\tA:[4]\n"))
	f.Add([]byte(`<w:timeSeriesResponse xmlns:w="x"><w:timeSeries name="a"><w:values><w:value dateTime="2015-01-01T00:00:00.000">1</w:value></w:values></w:timeSeries></w:timeSeriesResponse>`))
	f.Fuzz(func(t *testing.T, b []byte) {
		list, err := Parser{TwoDigitYearsFrom: 1930}.Parse(strings.NewReader(string(b)))
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

func FuzzTables(f *testing.F) {
	for _, b := range replay.Seeds(f, 60<<10, "usgs-legacy-rdb") {
		f.Add(b)
	}
	f.Add([]byte("agency_cd\tsite_no\tparameter_cd\tts_id\tmonth_nu\tday_nu\tcount_nu\tmean_va\nUSGS\t11111111\t00010\t1\t2\t29\t3\t4.5\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		_, err1 := ParseSites(strings.NewReader(string(b)))
		_, err2 := ParseNormals(strings.NewReader(string(b)))
		for _, err := range []error{err1, err2} {
			var e *ingest.Error
			if err != nil && !errors.As(err, &e) {
				t.Fatalf("%T %v", err, err)
			}
		}
	})
}
