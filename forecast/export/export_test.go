package export

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"iter"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"github.com/apache/arrow/go/v15/arrow"
	"github.com/apache/arrow/go/v15/arrow/array"
	"github.com/apache/arrow/go/v15/arrow/ipc"
	"github.com/apache/arrow/go/v15/parquet"
	"github.com/apache/arrow/go/v15/parquet/file"
	ics "github.com/arran4/golang-ical"
	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
)

var created = time.Date(2026, 5, 2, 6, 0, 0, 0, time.UTC)

var meta = Meta{Title: "Outlook for the Tarn Fells", Source: "eclose test", History: `eclose export "#1"`, Created: created}

func day(s string) forecast.Date {
	t, err := time.Parse(time.DateOnly, s)
	if err != nil {
		panic(err)
	}
	return forecast.DateOf(t)
}

// outlook is an invented outlook with names that try the formats: commas,
// quotes, letters beyond ASCII, a line break.
func outlook(river string, days int) *forecast.Outlook {
	window := forecast.Window{
		Start: forecast.Range{P10: day("2026-05-10"), P50: day("2026-05-14"), P90: day("2026-05-19")},
		Peak:  forecast.Range{P10: day("2026-05-18"), P50: day("2026-05-22"), P90: day("2026-05-27")},
		End:   forecast.Range{P10: day("2026-05-29"), P50: day("2026-06-02"), P90: day("2026-06-08")},
	}
	o := &forecast.Outlook{
		River: river, RiverName: "Wend, \"upper\"\nat Skärhult", Zone: "Europe/London", Lat: 54.4321, Lon: -3.0987,
		IssuedAt: time.Date(2026, 5, 1, 23, 30, 0, 123456000, time.UTC), DataCutoff: time.Date(2026, 5, 1, 22, 15, 0, 0, time.UTC),
		ModelVersion: "1", Members: 200, Seasons: 8, WaterSource: "measured", WeatherSource: "resampled seasons",
	}
	for g, name := range []string{"spring-olive", "tarn-midge"} {
		for _, st := range forecast.Stages {
			s := forecast.StageOutlook{Group: name, Name: strings.ToUpper(name), Stage: st, Fishable: g == 0 || st == forecast.Emergence,
				Grade: "published", Hours: forecast.Hours{Spans: []forecast.Span{{From: 11 * 60, To: 16 * 60}}}, Weight: 0.5, Window: window, Calendar: window}
			if g == 1 && st == forecast.Emergence {
				s.Window, s.Calendar = forecast.Window{}, forecast.Window{} // no window this season
			}
			list := make([]forecast.Day, days)
			for d := range list {
				p := 0.5 + 0.5*math.Sin(float64(d+g)/7)
				list[d] = forecast.Day{Date: day("2026-04-20") + forecast.Date(d), P: p, PCalendar: 1 - p,
					Activity: [3]float64{p / 30, p / 20, p / 10}, Calendar: p / 25}
			}
			s.Days = forecast.DaysOf(list)
			o.Stages = append(o.Stages, s)
		}
	}
	// The water is known from 20 April on, 9 °C and 0.1 °C more each day.
	for d := range days {
		c := math.Round(90+float64(d)) / 10
		o.Water = append(o.Water, forecast.WaterDay{Date: day("2026-04-20") + forecast.Date(d), P10: c - 1, P50: c, P90: c + 2})
	}
	// The flow is forecast from the issue on for 60 days, 8.4 to 20.2 m3/s.
	o.Flow = &forecast.FlowAhead{Source: forecast.FlowJoined, LowM3s: 5, HighM3s: 15}
	for d := range 60 {
		q, p := 10+float64(d)/10, 0.9-float64(d)/100
		o.Flow.Days = append(o.Flow.Days, forecast.FlowDay{Date: day("2026-05-02") + forecast.Date(d), P05: 0.8 * q, P10: 0.84 * q, P25: 0.9 * q, P50: q, P75: 1.1 * q, P90: 1.27 * q, P95: 1.4 * q, Fishable: &p})
	}
	return o
}

// sameRow compares rows column by column: no value equals no value.
func sameRow(a, b *Row) bool {
	for _, c := range Outlooks.Columns {
		x, okX := text(c.Field(a))
		y, okY := text(c.Field(b))
		if okX != okY || okX && x != y {
			return false
		}
	}
	return true
}

// Each row carries the flow of its own day, and none where it is not forecast.
func TestRowsCarryTheFlowOfTheirDay(t *testing.T) {
	seen := 0
	for _, r := range rowsOf(outlook("wend", 150)) {
		lead := int(r.Day - day("2026-05-02"))
		if lead < 0 || lead >= 60 {
			if !math.IsNaN(r.PFishable) || !math.IsNaN(r.FlowM3s[1]) || r.FlowSource != "" {
				t.Fatalf("%s has the flow %v, %v", r.Day, r.FlowM3s, r.PFishable)
			}
			continue
		}
		seen++
		if want := 10 + float64(lead)/10; r.FlowM3s[1] != want || r.PFishable != 0.9-float64(lead)/100 || r.FlowSource == "" {
			t.Fatalf("%s: %v, %v, %q; want %v", r.Day, r.FlowM3s, r.PFishable, r.FlowSource, want)
		}
	}
	if seen == 0 {
		t.Fatal("no row has a flow")
	}
	cal := string(written(t, ICS, rowsOf(outlook("wend", 150))))
	if text := strings.ReplaceAll(cal, "\r\n ", ""); !strings.Contains(text, "Chance of fishable flow") || !strings.Contains(text, "14 May 78%") || !strings.Contains(text, "not a wading forecast") {
		t.Error("the calendar does not tell the chance of fishable flow with its caution")
	}
}

func rowsOf(outlooks ...*forecast.Outlook) []Row {
	var out []Row
	for _, o := range outlooks {
		out = slices.AppendSeq(out, Flatten(o, o.Stages[0].Days.From, 0))
	}
	return out
}

// set stores the text form of a value where a Field points.
func set(t *testing.T, p any, s string, ok bool) {
	t.Helper()
	var err error
	switch v := p.(type) {
	case *string:
		*v = s
	case *float64:
		*v = math.NaN()
		if ok {
			*v, err = strconv.ParseFloat(s, 64)
		}
	case *int:
		*v, err = strconv.Atoi(s)
	case *bool:
		*v, err = strconv.ParseBool(s)
	case *forecast.Date:
		*v = 0
		if ok {
			err = v.UnmarshalText([]byte(s))
		}
	case *time.Time:
		*v = time.Time{}
		if ok {
			*v, err = time.Parse(time.RFC3339Nano, s)
		}
	}
	if err != nil {
		t.Fatal(err)
	}
}

func readCSV(t *testing.T, b []byte) []Row {
	t.Helper()
	records, err := csv.NewReader(bytes.NewReader(b)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	out := make([]Row, len(records)-1)
	for i, rec := range records[1:] {
		for k, c := range Outlooks.Columns {
			if records[0][k] != c.Name {
				t.Fatalf("column %d is %q, want %q", k, records[0][k], c.Name)
			}
			set(t, c.Field(&out[i]), rec[k], rec[k] != "")
		}
	}
	return out
}

func readJSON(t *testing.T, b []byte) []Row {
	t.Helper()
	var doc struct {
		Version string `json:"schema_version"`
		Comment string `json:"comment"`
		Rows    []map[string]json.RawMessage
	}
	if err := json.Unmarshal(b, &doc); err != nil {
		t.Fatal(err)
	}
	if doc.Version != Outlooks.Version || doc.Comment != forecast.StandingCaution {
		t.Errorf("version %q, comment %q", doc.Version, doc.Comment)
	}
	out := make([]Row, len(doc.Rows))
	for i, m := range doc.Rows {
		for _, c := range Outlooks.Columns {
			raw := string(m[c.Name])
			var s string
			if json.Unmarshal(m[c.Name], &s) == nil && raw != "null" {
				raw = s
			}
			set(t, c.Field(&out[i]), raw, raw != "null")
		}
	}
	return out
}

func readParquet(t *testing.T, b []byte) ([]Row, *file.Reader) {
	t.Helper()
	r, err := file.NewParquetReader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	var out []Row
	for g := range r.NumRowGroups() {
		rg := r.RowGroup(g)
		rows := make([]Row, rg.NumRows())
		n := int64(len(rows))
		levels := make([]int16, n)
		for k, c := range Outlooks.Columns {
			cr, err := rg.Column(k)
			if err != nil {
				t.Fatal(err)
			}
			if cr.Descriptor().Name() != c.Name {
				t.Fatalf("column %d is %q, want %q", k, cr.Descriptor().Name(), c.Name)
			}
			switch cr := cr.(type) {
			case *file.ByteArrayColumnChunkReader:
				v := make([]parquet.ByteArray, n)
				readAll(t, n, func(at int64) (int64, int, error) { return cr.ReadBatch(n-at, v[at:], nil, nil) })
				for i := range rows {
					*c.Field(&rows[i]).(*string) = string(v[i])
				}
			case *file.BooleanColumnChunkReader:
				v := make([]bool, n)
				readAll(t, n, func(at int64) (int64, int, error) { return cr.ReadBatch(n-at, v[at:], nil, nil) })
				for i := range rows {
					*c.Field(&rows[i]).(*bool) = v[i]
				}
			case *file.Float64ColumnChunkReader:
				v := make([]float64, n)
				readAll(t, n, func(at int64) (int64, int, error) { return cr.ReadBatch(n-at, v[at:], levels[at:], nil) })
				scatter(rows, v, levels, func(r *Row, x float64, ok bool) {
					if !ok {
						x = math.NaN()
					}
					*c.Field(r).(*float64) = x
				})
			case *file.Int32ColumnChunkReader:
				v := make([]int32, n)
				at := 0
				readAll(t, n, func(done int64) (int64, int, error) {
					total, values, err := cr.ReadBatch(n-done, v[at:], levels[done:], nil)
					at += values
					return total, values, err
				})
				scatter(rows, v, levels, func(r *Row, x int32, ok bool) {
					if ok {
						*c.Field(r).(*forecast.Date) = forecast.Date(x)
					}
				})
			case *file.Int64ColumnChunkReader:
				v := make([]int64, n)
				if _, isInt := c.Field(&rows[0]).(*int); isInt {
					readAll(t, n, func(at int64) (int64, int, error) { return cr.ReadBatch(n-at, v[at:], nil, nil) })
					for i := range rows {
						*c.Field(&rows[i]).(*int) = int(v[i])
					}
					break
				}
				readAll(t, n, func(at int64) (int64, int, error) { return cr.ReadBatch(n-at, v[at:], levels[at:], nil) })
				scatter(rows, v, levels, func(r *Row, x int64, ok bool) {
					if ok {
						*c.Field(r).(*time.Time) = time.UnixMicro(x).UTC()
					}
				})
			}
		}
		out = append(out, rows...)
	}
	return out, r
}

func readAll(t *testing.T, n int64, next func(at int64) (int64, int, error)) {
	t.Helper()
	for at := int64(0); at < n; {
		k, _, err := next(at)
		if err != nil || k == 0 {
			t.Fatalf("read %d of %d values: %v", at, n, err)
		}
		at += k
	}
}

func scatter[T any](rows []Row, v []T, levels []int16, put func(*Row, T, bool)) {
	k := 0
	for i := range rows {
		var x T
		if levels[i] == 1 {
			x = v[k]
			k++
		}
		put(&rows[i], x, levels[i] == 1)
	}
}

func readArrow(t *testing.T, b []byte) ([]Row, *ipc.FileReader) {
	t.Helper()
	r, err := ipc.NewFileReader(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	var out []Row
	for k := range r.NumRecords() {
		rec, err := r.RecordAt(k)
		if err != nil {
			t.Fatal(err)
		}
		rows := make([]Row, rec.NumRows())
		for k, c := range Outlooks.Columns {
			for i := range rows {
				ok := rec.Column(k).IsValid(i)
				switch a := rec.Column(k).(type) {
				case *array.String:
					*c.Field(&rows[i]).(*string) = a.Value(i)
				case *array.Int64:
					*c.Field(&rows[i]).(*int) = int(a.Value(i))
				case *array.Boolean:
					*c.Field(&rows[i]).(*bool) = a.Value(i)
				case *array.Float64:
					*c.Field(&rows[i]).(*float64) = a.Value(i)
					if !ok {
						*c.Field(&rows[i]).(*float64) = math.NaN()
					}
				case *array.Date32:
					if ok {
						*c.Field(&rows[i]).(*forecast.Date) = forecast.Date(a.Value(i))
					}
				case *array.Timestamp:
					if ok {
						*c.Field(&rows[i]).(*time.Time) = a.Value(i).ToTime(arrow.Microsecond)
					}
				default:
					t.Fatalf("column %s came back as %T", c.Name, a)
				}
			}
		}
		out = append(out, rows...)
	}
	return out, r
}

func written(t *testing.T, f Format, rows []Row) []byte {
	t.Helper()
	var b bytes.Buffer
	n, err := Write(&b, f, meta, Rows(rows))
	if err != nil {
		t.Fatal(err)
	}
	if n != len(rows) {
		t.Errorf("%s: %d rows written of %d", f, n, len(rows))
	}
	return b.Bytes()
}

func TestRowsComeBackFromEveryTableFormat(t *testing.T) {
	rows := rowsOf(outlook("wend", 150), outlook("garrow", 150))
	rows[3].DataCutoff = time.Time{} // nothing known: null
	rows[5].ThermalWeight = math.NaN()
	parquetRows := func(t *testing.T, b []byte) []Row { r, _ := readParquet(t, b); return r }
	arrowRows := func(t *testing.T, b []byte) []Row { r, _ := readArrow(t, b); return r }
	for f, read := range map[Format]func(*testing.T, []byte) []Row{CSV: readCSV, JSON: readJSON, Parquet: parquetRows, Arrow: arrowRows} {
		t.Run(string(f), func(t *testing.T) {
			got := read(t, written(t, f, rows))
			if d := cmp.Diff(rows, got, cmpopts.EquateNaNs()); d != "" {
				t.Errorf("rows changed on the way (-want +got):\n%.2000s", d)
			}
			if empty := read(t, written(t, f, nil)); len(empty) != 0 {
				t.Errorf("no rows came back as %d", len(empty))
			}
		})
	}
}

func TestSeveralBatchesKeepTheirOrder(t *testing.T) {
	if testing.Short() {
		t.Skip("70,000 rows in two formats")
	}
	one := rowsOf(outlook("wend", 150))[:350]
	rows := slices.Repeat(one, 200)
	for i := range rows {
		rows[i].Members = i
	}
	p, pr := readParquet(t, written(t, Parquet, rows))
	if pr.NumRowGroups() != 3 {
		t.Errorf("%d row groups, want 3", pr.NumRowGroups())
	}
	a, _ := readArrow(t, written(t, Arrow, rows))
	for i := range rows {
		if p[i].Members != i || a[i].Members != i || !sameRow(&p[i], &rows[i]) || !sameRow(&a[i], &rows[i]) {
			t.Fatalf("row %d came back as another", i)
		}
	}
}

func TestFilesDescribeThemselves(t *testing.T) {
	rows := rowsOf(outlook("wend", 10))
	want := map[string]string{"Conventions": "CF-1.11, ACDD-1.3", "schema": "eclose/outlook", "schema_version": "2",
		"title": meta.Title, "date_created": "2026-05-02T06:00:00Z", "comment": forecast.StandingCaution}
	check := func(t *testing.T, get func(string) string) {
		t.Helper()
		for k, v := range want {
			if got := get(k); got != v {
				t.Errorf("%s is %q, want %q", k, got, v)
			}
		}
	}
	t.Run("parquet", func(t *testing.T) {
		_, r := readParquet(t, written(t, Parquet, rows))
		kv := r.MetaData().KeyValueMetadata()
		check(t, func(k string) string {
			if v := kv.FindValue(k); v != nil {
				return *v
			}
			return ""
		})
		var columns []jsonColumn
		if err := json.Unmarshal([]byte(*kv.FindValue("columns")), &columns); err != nil || len(columns) != len(Outlooks.Columns) {
			t.Errorf("column descriptions: %d, %v", len(columns), err)
		}
	})
	t.Run("arrow", func(t *testing.T) {
		_, r := readArrow(t, written(t, Arrow, rows))
		m := r.Schema().Metadata()
		check(t, func(k string) string { v, _ := m.GetValue(k); return v })
		f, _ := r.Schema().FieldsByName("lat")
		if u, _ := f[0].Metadata.GetValue("units"); u != "degrees_north" {
			t.Errorf("units of lat are %q", u)
		}
	})
	t.Run("csv", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "out.csv")
		if _, err := WriteFile(path, CSV, meta, Rows(rows)); err != nil {
			t.Fatal(err)
		}
		b, err := os.ReadFile(path + "-metadata.json")
		if err != nil {
			t.Fatal(err)
		}
		var doc map[string]any
		if err := json.Unmarshal(b, &doc); err != nil {
			t.Fatal(err)
		}
		check(t, func(k string) string { s, _ := doc[csvTerms[k]].(string); return s })
		if doc["url"] != "out.csv" || !strings.Contains(string(b), "degrees_north") {
			t.Errorf("description of the columns: %s", b)
		}
		body := string(written(t, CSV, rows))
		if n := strings.Count(body, RowCaution); n != len(rows) {
			t.Errorf("%d of %d rows carry the caution", n, len(rows))
		}
	})
	t.Run("json and geojson", func(t *testing.T) {
		for _, f := range []Format{JSON, GeoJSON} {
			var doc map[string]any
			if err := json.Unmarshal(written(t, f, rows), &doc); err != nil {
				t.Fatal(err)
			}
			check(t, func(k string) string { s, _ := doc[k].(string); return s })
		}
	})
}

func TestColumnsAreDescribedOnce(t *testing.T) {
	seen := map[string]bool{}
	for _, c := range Outlooks.Columns {
		if seen[c.Name] || c.Name != strings.ToLower(c.Name) || c.Long == "" {
			t.Errorf("column %q: twice, not in lower case, or without words", c.Name)
		}
		seen[c.Name] = true
		var r Row
		switch c.Field(&r).(type) {
		case *float64, *int:
			if c.Units == "" {
				t.Errorf("column %q has no units", c.Name)
			}
		}
	}
}

func TestGeoJSONHasOnePointForEachStage(t *testing.T) {
	rows := rowsOf(outlook("wend", 20), outlook("garrow", 20))
	rows = slices.Delete(rows, 5, 6) // one day missing
	type feature[P any] struct {
		ID         string
		Geometry   geoPoint
		Properties P
	}
	var doc struct {
		Type     string
		Features []feature[geoProperty]
	}
	var rivers struct{ Features []feature[geoRiver] }
	b := written(t, GeoJSON, rows)
	if err := errors.Join(json.Unmarshal(b, &doc), json.Unmarshal(b, &rivers)); err != nil {
		t.Fatal(err)
	}
	if doc.Type != "FeatureCollection" || len(doc.Features) != 10 {
		t.Fatalf("%s of %d features, want 8 of stages and 2 of rivers", doc.Type, len(doc.Features))
	}
	if w := rivers.Features[9]; w.ID != "garrow" || len(w.Properties.WaterP50) != 20 || *w.Properties.WaterP50[3] != 9.3 || w.Properties.FlowP50[3] != nil ||
		*w.Properties.FlowP50[12] != 10 || w.Properties.CautionLevel != "unknown" || w.Properties.Caution != forecast.StandingCaution {
		t.Errorf("the river's feature: %+v", w)
	}
	f := doc.Features[0]
	if f.Geometry.Coordinates != [2]float64{-3.0987, 54.4321} {
		t.Errorf("coordinates %v are not longitude, latitude", f.Geometry.Coordinates)
	}
	if f.ID != "wend/spring-olive/emergence" || f.Properties.Caution != forecast.StandingCaution {
		t.Errorf("feature %q, caution %q", f.ID, f.Properties.Caution)
	}
	p := f.Properties
	if len(p.P) != 20 || p.P[5] != nil || *p.P[6] != rows[5].P || p.FirstDay != rows[0].Day {
		t.Errorf("days: %d from %s, sixth %v", len(p.P), p.FirstDay, p.P[5])
	}
	if *p.WindowPeak != (dates{rows[0].Window.Peak.P10, rows[0].Window.Peak.P50, rows[0].Window.Peak.P90}) {
		t.Errorf("peak %v", p.WindowPeak)
	}
	if w := doc.Features[2].Properties.WindowStart; w != nil {
		t.Errorf("a stage without a window has %v", w)
	}
}

func TestCalendarHasOneEventForEachWindow(t *testing.T) {
	rows := rowsOf(outlook("wend", 20), outlook("garrow", 20))
	b := written(t, ICS, rows)
	for line := range bytes.Lines(b) {
		if !bytes.HasSuffix(line, []byte("\r\n")) || len(line) > 77 {
			t.Errorf("line %q: not CRLF or longer than 75", line)
		}
	}
	cal, err := ics.ParseCalendar(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	events := cal.Events()
	// Of four stages a river one is not fishable and one has no window.
	if len(events) != 4 {
		t.Fatalf("%d events, want 4", len(events))
	}
	e := events[0]
	if e.Id() != "wend.spring-olive.emergence.2026@eclose" {
		t.Errorf("UID %q", e.Id())
	}
	start, err := e.GetAllDayStartAt()
	if err != nil || forecast.DateOf(start) != day("2026-05-14") {
		t.Errorf("start %v, %v", start, err)
	}
	end, err := e.GetAllDayEndAt()
	if err != nil || forecast.DateOf(end) != day("2026-06-03") {
		t.Errorf("end %v is not the day after the window: %v", end, err)
	}
	text := e.GetProperty(ics.ComponentPropertyDescription).Value
	for _, want := range []string{forecast.StandingCaution, "likely", "8 past seasons"} {
		if !strings.Contains(text, want) {
			t.Errorf("description lacks %q: %s", want, text)
		}
	}
	if again := written(t, ICS, rows); !bytes.Equal(b, again) {
		t.Error("the same rows gave another calendar")
	}
}

func TestTheSameRowsGiveTheSameBytes(t *testing.T) {
	rows := rowsOf(outlook("wend", 40))
	for _, f := range Formats {
		if !bytes.Equal(written(t, f, rows), written(t, f, rows)) {
			t.Errorf("%s differs from one writing to the next", f)
		}
	}
}

func TestFlattenKeepsToTheDaysAskedFor(t *testing.T) {
	o := outlook("wend", 30)
	rows := slices.Collect(Flatten(o, day("2026-04-25"), day("2026-04-27")))
	if len(rows) != 3*4 || rows[0].Day != day("2026-04-25") || rows[2].Day != day("2026-04-27") {
		t.Errorf("%d rows, first %v", len(rows), rows[0].Day)
	}
	// Issued 2 May 00:30 British Summer Time, which is 1 May in UTC.
	if rows[0].LeadDays != -7 {
		t.Errorf("lead %d, want -7", rows[0].LeadDays)
	}
	if p := rows[0].P; math.Abs(p-math.Round(p*1e4)/1e4) > 0 {
		t.Errorf("chance %v has more than four digits", p)
	}
}

func TestBadRowsAreRefused(t *testing.T) {
	good := rowsOf(outlook("wend", 3))
	for name, spoil := range map[string]func(*Row){
		"a chance above one":   func(r *Row) { r.P = 1.5 },
		"a chance that is not": func(r *Row) { r.PCalendar = math.NaN() },
		"no river":             func(r *Row) { r.River = "" },
		"no day":               func(r *Row) { r.Day = 0 },
	} {
		rows := slices.Clone(good)
		spoil(&rows[2])
		for _, f := range Formats {
			if _, err := Write(io.Discard, f, meta, Rows(rows)); err == nil || !strings.Contains(err.Error(), "row 3") {
				t.Errorf("%s as %s: %v, want an error that names row 3", name, f, err)
			}
		}
	}
	if _, err := Write(io.Discard, "xml", meta, Rows(good)); err == nil {
		t.Error("an unknown format was taken")
	}
}

// failing fails after some bytes.
type failing struct{ left int }

var errFull = errors.New("disk full")

func (f *failing) Write(b []byte) (int, error) {
	if f.left -= len(b); f.left < 0 {
		return 0, errFull
	}
	return len(b), nil
}

func TestAFullDiskIsAnErrorInEveryFormat(t *testing.T) {
	rows := rowsOf(outlook("wend", 100))
	for _, f := range Formats {
		size := len(written(t, f, rows))
		for _, left := range []int{0, 3, size / 2, size - 1} {
			if _, err := Write(&failing{left}, f, meta, Rows(rows)); err == nil {
				t.Errorf("%s: no error when only %d of %d bytes fit", f, left, size)
			}
		}
	}
}

func TestAFileIsThereWholeOrNotAtAll(t *testing.T) {
	dir := t.TempDir()
	rows := rowsOf(outlook("wend", 30))
	broken := errors.New("store went away")
	half := iter.Seq2[Row, error](func(yield func(Row, error) bool) {
		for _, r := range rows[:20] {
			if !yield(r, nil) {
				return
			}
		}
		yield(Row{}, broken)
	})
	for _, f := range Formats {
		path := filepath.Join(dir, "out."+string(f))
		if _, err := WriteFile(path, f, meta, half); !errors.Is(err, broken) {
			t.Errorf("%s: %v, want the error of the source", f, err)
		}
		if _, err := os.Stat(path); !os.IsNotExist(err) {
			t.Errorf("%s: a broken export left a file", f)
		}
		if _, err := WriteFile(path, f, meta, Rows(rows)); err != nil {
			t.Fatal(err)
		}
		before, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := WriteFile(path, f, meta, half); err == nil {
			t.Errorf("%s: no error the second time", f)
		}
		after, err := os.ReadFile(path)
		if err != nil || !bytes.Equal(before, after) {
			t.Errorf("%s: a broken export spoilt the older file: %v", f, err)
		}
	}
	left, err := filepath.Glob(filepath.Join(dir, ".*"))
	if err != nil || len(left) != 0 {
		t.Errorf("left over: %v %v", left, err)
	}
	if _, err := WriteFile(filepath.Join(dir, "no", "such", "folder.csv"), CSV, meta, Rows(rows)); err == nil {
		t.Error("a missing folder is no error")
	}
}

// TestExportIsStreamed writes a million rows, as 52 rivers of 40 groups have, and
// watches the heap. It takes about twelve seconds: ECLOSE_LONG=1.
func TestExportIsStreamed(t *testing.T) {
	if os.Getenv("ECLOSE_LONG") != "1" {
		t.Skip("ECLOSE_LONG is not 1")
	}
	one := rowsOf(outlook("wend", 240))
	for _, f := range Formats {
		runtime.GC()
		var before, m runtime.MemStats
		runtime.ReadMemStats(&before)
		var peak uint64
		many := func(yield func(Row, error) bool) {
			for n := range 1_000_000 {
				r := one[n%len(one)]
				r.River = strconv.Itoa(n / len(one))
				if n%20_000 == 0 {
					runtime.ReadMemStats(&m)
					peak = max(peak, m.HeapInuse)
				}
				if !yield(r, nil) {
					return
				}
			}
		}
		start := time.Now()
		n, err := Write(io.Discard, f, meta, many)
		if err != nil || n != 1_000_000 {
			t.Fatalf("%s: %d rows, %v", f, n, err)
		}
		grown := float64(peak-min(peak, before.HeapInuse)) / (1 << 20)
		t.Logf("%s: heap grew by up to %.0f MiB, %.1f s", f, grown, time.Since(start).Seconds())
		if grown > 256 {
			t.Errorf("%s: the heap grew by %.0f MiB", f, grown)
		}
	}
}

func FuzzTextSurvivesCSVAndJSON(f *testing.F) {
	f.Add("Wend", "# not a comment", 0.5)
	f.Add("a\r\nb", "\"", 1e-300)
	f.Add("\x00", "=1+1", 0.1)
	f.Fuzz(func(t *testing.T, river, name string, weight float64) {
		if strings.ToValidUTF8(river+name, "") != river+name {
			t.Skip("text is UTF-8")
		}
		r := rowsOf(outlook("wend", 1))[0]
		r.River, r.RiverName, r.ThermalWeight = river, name, weight
		if river == "" || math.IsInf(weight, 0) {
			t.Skip("refused")
		}
		if d := cmp.Diff([]Row{r}, readJSON(t, written(t, JSON, []Row{r})), cmpopts.EquateNaNs()); d != "" {
			t.Error(d)
		}
		// CSV readers fold \r\n within a field to \n: the format's own loss.
		if strings.Contains(river+name, "\r") {
			return
		}
		if d := cmp.Diff([]Row{r}, readCSV(t, written(t, CSV, []Row{r})), cmpopts.EquateNaNs()); d != "" {
			t.Error(d)
		}
	})
}

func BenchmarkFormats(b *testing.B) {
	rows := rowsOf(outlook("wend", 240), outlook("garrow", 240))
	rows = slices.Repeat(rows, 20)
	for _, f := range Formats {
		b.Run(string(f), func(b *testing.B) {
			var size bytes.Buffer
			for b.Loop() {
				size.Reset()
				if _, err := Write(&size, f, meta, Rows(rows)); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(size.Len())/float64(len(rows)), "bytes/row")
			b.ReportMetric(float64(len(rows))*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
		})
	}
}

func TestADayWithoutAnyChanceHasNoRow(t *testing.T) {
	o := outlook("wend", 1)
	from := o.IssueDate()
	o.Stages = o.Stages[:1]
	o.Stages[0].Days = forecast.DaysOf([]forecast.Day{
		{Date: from - 1, P: 0.5}, {Date: from}, {Date: from + 1, PCalendar: 0.001}, {Date: from + 2, P: 0.0004}, {Date: from + 3, Activity: [3]float64{0, 0, 0.01}},
	})
	var got []int
	for r := range Flatten(o, 0, 0) {
		got = append(got, r.LeadDays)
	}
	if !slices.Equal(got, []int{1, 3}) {
		t.Errorf("rows of the days %v after the issue, want 1 and 3", got)
	}
}

// ExampleFlatten shows the way from an outlook to a line of text.
func ExampleFlatten() {
	o := outlook("wend", 1)
	for r := range Flatten(o, o.Stages[0].Days.From, 0) {
		fmt.Println(r.Day, r.Group, r.Stage, r.P)
		break
	}
	// Output: 2026-04-20 spring-olive emergence 0.5
}
