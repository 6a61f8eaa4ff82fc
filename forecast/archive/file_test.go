package archive

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/klauspost/compress/zstd"

	"example.org/eclose/forecast"
)

// filled sets every number of a struct to another value that the file can hold,
// so that a field the columns forget comes back as nothing.
func filled(v reflect.Value, i *int) {
	switch v.Kind() {
	case reflect.Struct:
		for k := range v.NumField() {
			if v.Type().Field(k).Name != "Date" {
				filled(v.Field(k), i)
			}
		}
	case reflect.Array:
		for k := range v.Len() {
			filled(v.Index(k), i)
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		filled(v.Elem(), i)
	case reflect.Float64:
		*i++
		v.SetFloat(float64(*i%97) / 100)
	default:
		panic("a field of another kind")
	}
}

func example() *forecast.Outlook {
	at := time.Date(2026, 5, 18, 19, 0, 0, 0, time.UTC)
	from := forecast.DateOf(at) - 10
	o := &forecast.Outlook{River: "wend", RiverName: "Wend", Zone: "America/Los_Angeles", IssuedAt: at, DataCutoff: at.Add(-time.Hour),
		ModelVersion: "9", WaterSource: "fitted-short:air+flow", WeatherSource: "21x15+past-seasons", Flow: &forecast.FlowAhead{Source: forecast.FlowJoined, NowM3s: 3}}
	n := 0
	for d := range forecast.Date(40) {
		w, f := forecast.WaterDay{}, forecast.FlowDay{}
		filled(reflect.ValueOf(&w).Elem(), &n)
		filled(reflect.ValueOf(&f).Elem(), &n)
		w.Date, f.Date = from+d, from+d
		if d%3 == 0 {
			w.Observed, w.Climatology, f.Fishable = nil, nil, nil
		}
		o.Water, o.Flow.Days = append(o.Water, w), append(o.Flow.Days, f)
	}
	o.Flow.Days[3].P95, o.Flow.Days[4].P05 = 123400, 0.001234
	for _, s := range forecast.Stages {
		var days []forecast.Day
		for d := range forecast.Date(40) {
			x := forecast.Day{}
			filled(reflect.ValueOf(&x).Elem(), &n)
			x.Date = from + d
			days = append(days, x)
		}
		o.Stages = append(o.Stages, forecast.StageOutlook{Group: "march-brown", Name: "March brown", Stage: s, Days: forecast.DaysOf(days),
			Grade: "sightings:3", Basis: "several-reaches:light-traps+flight", Hours: forecast.Hours{Spans: []forecast.Span{{From: 300, To: 600}, {From: 1320, To: 1500}}}})
	}
	return o
}

func TestEveryNumberOfADayComesBack(t *testing.T) {
	want := example()
	content, err := unpacked(want)
	if err != nil {
		t.Fatal(err)
	}
	file, err := pack(content)
	if err != nil {
		t.Fatal(err)
	}
	back, err := unpack(file)
	if err != nil {
		t.Fatal(err)
	}
	got, err := outlookOf(back)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

func TestAFileThatEndsEarlyOrGoesOnIsRefused(t *testing.T) {
	content, err := unpacked(example())
	if err != nil {
		t.Fatal(err)
	}
	start := bytes.IndexByte(content, '\n') + 1
	for n := start; n < len(content); n++ {
		if _, err := outlookOf(content[:n]); err == nil {
			t.Fatalf("%d of %d bytes are taken for a whole file", n, len(content))
		}
	}
	if _, err := outlookOf(append(content, 0)); err == nil {
		t.Error("a byte too many goes unnoticed")
	}
	if _, err := outlookOf(bytes.Replace(content, []byte(fileFormat), []byte("eclose-outlook 3"), 1)); err == nil || !strings.Contains(err.Error(), "newer version") {
		t.Errorf("another format gives %v", err)
	}
}

// TestTheFirstFormatIsRead writes the columns of a file again as the first format
// had them: first differences, stage by stage.
func TestTheFirstFormatIsRead(t *testing.T) {
	want := example()
	content, err := unpacked(want)
	if err != nil {
		t.Fatal(err)
	}
	head, rest, _ := bytes.Cut(content, []byte{'\n'})
	in := columns{b: rest}
	next := func(n int) []int64 {
		out := make([]int64, n)
		in.read(n, 1, func(i int, v float64) { out[i] = int64(v) })
		return out
	}
	stages := len(want.Stages)
	first := make([][]int64, stages*dayColumns)
	for k := range dayColumns {
		for i, s := range want.Stages {
			first[i*dayColumns+k] = next(s.Days.Len())
		}
	}
	for len(in.b) > 0 {
		first = append(first, next(len(want.Water))) // the flow has as many days
	}
	content = append(bytes.Replace(head, []byte(fileFormat), []byte(formatFirst), 1), '\n')
	for _, column := range first {
		last := int64(0)
		for _, v := range column {
			content = binary.AppendVarint(content, v-last)
			last = v
		}
	}
	got, err := outlookOf(content)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// reader is all that another program needs to know of the format.
const reader = `
import gzip, json, sys
content = gzip.open(sys.argv[1]).read()
end = content.index(b"\n")
head, b, at = json.loads(content[:end]), content[end+1:], 0
def column(n, steps):
    global at
    out, last, slope = [], 0, 0
    for _ in range(n):
        z = shift = 0
        while True:
            byte = b[at]; at += 1
            z |= (byte & 127) << shift; shift += 7
            if byte < 128: break
        slope += (z >> 1) ^ -(z & 1); last += slope
        out.append(last / steps)
    return out
def some(n, steps):
    there, v = column(n, 1), column(n, steps)
    return [x if t else None for t, x in zip(there, v)]
stages = [[column(s["days"], steps) for s in head["stages"]]
          for steps in (1000, 1000, 10000, 10000, 10000, 10000)]
n = head["water"]["days"]
water = [column(n, 100) for _ in range(5)] + [some(n, 100), some(n, 100)]
f = head["flow"]
flow = [column(f["days"], 10 ** f["decimals"]) for _ in range(7)] + [column(f["days"], 1000), some(f["days"], 1000)]
assert at == len(b)
json.dump({"river": head["outlook"]["river"], "p": stages[0][1], "observed": water[5], "p95": flow[6]}, sys.stdout)
`

func TestAnotherProgramReadsAFile(t *testing.T) {
	python, err := exec.LookPath("python3")
	if err != nil {
		if os.Getenv("ECLOSE_CI") != "" {
			t.Fatal("python3 is missing")
		}
		t.Skip("python3 is missing")
	}
	o := example()
	content, err := unpacked(o)
	if err != nil {
		t.Fatal(err)
	}
	file, err := pack(content)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "outlook.gz")
	if err := os.WriteFile(path, file, 0o600); err != nil {
		t.Fatal(err)
	}
	text, err := exec.CommandContext(t.Context(), python, "-c", reader, path).CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	var got struct {
		River    string     `json:"river"`
		P        []float64  `json:"p"`
		Observed []*float64 `json:"observed"`
		P95      []float64  `json:"p95"`
	}
	if err := json.Unmarshal(text, &got); err != nil {
		t.Fatal(err)
	}
	want := got
	want.River, want.P, want.Observed, want.P95 = o.River, nil, nil, nil
	for _, d := range o.Stages[1].Days.All() {
		want.P = append(want.P, d.P)
	}
	for i := range o.Water {
		want.Observed, want.P95 = append(want.Observed, o.Water[i].Observed), append(want.P95, o.Flow.Days[i].P95)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
}

// A file of a version that kept JSON under other keys, and sentences for remarks.
func TestFormerKeysAndSentencesAreRead(t *testing.T) {
	text := []byte(`{"river":"wend","drivers":"past seasons' weather","notes":["Wend said \"drivers\": none."],` +
		`"water":[{"date":"2026-05-18","normal_c":8.25}],"degree_days":[{"base_c":4,"normal_c_days":120}],"stages":[]}`)
	_, decode, err := contentOf("wend.json.zst", packedOnce(t, text))
	if err != nil {
		t.Fatal(err)
	}
	o, err := decode(text)
	if err != nil {
		t.Fatal(err)
	}
	if o.WeatherSource != forecast.PastSeasons || o.Water[0].Climatology == nil || *o.Water[0].Climatology != 8.25 || o.Heat[0].Climatology != 120 || o.Notes[0].String() != `Wend said "drivers": none.` {
		t.Errorf("%+v", o)
	}
}

// A file of columns in which a version before this one kept words for codes.
func TestFormerWordsAreRead(t *testing.T) {
	want := example()
	content, err := unpacked(want)
	if err != nil {
		t.Fatal(err)
	}
	for code, words := range map[string]string{
		`"sightings:3"`:                        `"sightings here (3 seasons)"`,
		`"several-reaches:light-traps+flight"`: `"several reaches (light-traps), adults in flight at light traps, not emergence"`,
		`"fitted-short:air+flow"`:              `"model fitted here, less than a year of readings, driven by air temperature and flow"`,
		`"21x15+past-seasons"`:                 `"21-member weather forecast for 15 days, then past seasons' weather"`,
		`"official+statistics"`:                `"official, then statistics"`,
		`"notes":null`:                         `"notes":null,"caution":"This is an insect forecast."`,
	} {
		was := content
		if content = bytes.ReplaceAll(content, []byte(code), []byte(words)); bytes.Equal(was, content) {
			t.Errorf("%s is not in the file", code)
		}
	}
	got, err := outlookOf(content)
	if err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	var h Head
	if err := json.Unmarshal([]byte(`{"water_source":"measured here"}`), &h); err != nil || h.WaterSource != forecast.MeasuredWater {
		t.Errorf("a former head has %q, %v", h.WaterSource, err)
	}
}

func packedOnce(t *testing.T, text []byte) []byte {
	t.Helper()
	w, err := zstd.NewWriter(nil)
	if err != nil {
		t.Fatal(err)
	}
	return w.EncodeAll(text, nil)
}
