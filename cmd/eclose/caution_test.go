package main

import (
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
)

// The beck of these tests is invented: hour by hour since 2020, with a gauge that
// gives flow, height and water temperature to a CSV file.
const cautionBeck = `
[feeds.csv]
zone = "UTC"
time-column = "time"
time-layout = "2006-01-02 15:04"
  [[feeds.csv.column]]
  name = "flow"
  variable = "discharge"
  unit = "m3/s"
  [[feeds.csv.column]]
  name = "height"
  variable = "gauge_height"
  unit = "m"
  [[feeds.csv.column]]
  name = "water"
  variable = "water_temperature"
  unit = "degC"

[[river]]
name = "Wath Beck"
region = "europe-upland"
zone = "Europe/London"
lat = 54.5
lon = -2.9
  [[river.gauge]]
  feed = "csv"
  site = "wath"
  file = "wath.csv"
  variables = [%s]
  [river.warnings]
  feed = "none"
  [river.flood]
  unit = "m"
  action = 1.2
  major = 2.5
`

// midday is when the beck is read last, judging is when it is judged, and
// firstHour is where its record begins.
var (
	midday    = time.Date(2026, 5, 20, 12, 0, 0, 0, time.UTC)
	judging   = midday.Add(20 * time.Minute)
	firstHour = time.Date(2020, 1, 1, 0, 0, 0, 0, time.UTC)
)

// hour is one line of the beck's file; NaN is an empty cell.
type hour struct {
	flow, height, water float64
}

// usual is the beck at a time: it swings by seasons, days and hours between 2 and
// 12 m3/s and is near 5 in May.
func usual(t time.Time) float64 {
	d := float64(t.YearDay())
	n := float64(t.Unix() / 3600)
	wet := 1.0
	if t.Year() < 2026 {
		wet = 1.15 // and 2026 is a dry year
	}
	return wet * (5.5 + 3*math.Sin(2*math.Pi*(d+200)/365) + 1.5*math.Sin(n/110+1) + 0.05*math.Sin(n/3.8))
}

func heightOf(flow float64) float64 { return 0.3 + 0.2*math.Sqrt(max(0, flow)) }

// beck is the record of one gauge, and the variables that are read of it.
type beck struct {
	hours     []hour    // since firstHour
	end       time.Time // of the last of them
	now       time.Time // when it is judged
	variables string
	file      func(lines []string) []string // changes the lines of the file
	toml      func(config string) string    // changes the config
	others    map[string]string             // further files, by name
}

func newBeck() *beck { return newBeckTo(midday) }

func newBeckTo(end time.Time) *beck {
	b := &beck{variables: `"discharge", "gauge_height", "water_temperature"`, end: end, now: end.Add(judging.Sub(midday))}
	for t := firstHour; !t.After(end); t = t.Add(time.Hour) {
		q := math.Round(1000*usual(t)) / 1000
		b.hours = append(b.hours, hour{flow: q, height: heightOf(q), water: 17 + 0.5*math.Sin(float64(t.Hour())/4)})
	}
	return b
}

// back is the line so many hours before the last.
func (b *beck) back(h int) *hour { return &b.hours[len(b.hours)-1-h] }

// flows sets the last flows, and their heights with them.
func (b *beck) flows(last ...float64) {
	for i, q := range last {
		x := b.back(len(last) - 1 - i)
		x.flow, x.height = q, heightOf(q)
	}
}

// flowOnly leaves the heights out.
func (b *beck) flowOnly() { b.variables = `"discharge", "water_temperature"` }

// each changes the lines of the last hours.
func (b *beck) each(hours int, change func(h int, x *hour)) {
	for h := range hours {
		change(h, b.back(h))
	}
}

// config is the beck's config; one without heights has no flood stages.
func (b *beck) config() string {
	text := fmt.Sprintf(cautionBeck, b.variables)
	if !strings.Contains(b.variables, "gauge_height") {
		text, _, _ = strings.Cut(text, "  [river.flood]")
	}
	if b.toml != nil {
		text = b.toml(text)
	}
	return text
}

// lines are the lines of the beck's file below the header, oldest first.
func (b *beck) lines() (out []string) {
	cell := func(v float64) string {
		if math.IsNaN(v) {
			return ""
		}
		return fmt.Sprintf("%.4f", v)
	}
	for i, x := range b.hours {
		at := b.end.Add(-time.Duration(len(b.hours)-1-i) * time.Hour)
		// Past years are needed around the date alone, and most of the last one.
		if d := at.YearDay() - b.end.YearDay(); b.end.Sub(at) > 335*24*time.Hour && (d < -9 || d > 9) {
			continue
		}
		out = append(out, fmt.Sprintf("%s,%s,%s,%s", at.Format("2006-01-02 15:04"), cell(x.flow), cell(x.height), cell(x.water)))
	}
	if b.file != nil {
		out = b.file(out)
	}
	return out
}

// judged is what the command says of the beck: fetched and judged
// through the program, as its reader would.
func (b *beck) judged(t *testing.T) wading.View {
	t.Helper()
	dir, config := write(t, b.config())
	files := map[string]string{"wath.csv": "time,flow,height,water\n" + strings.Join(b.lines(), "\n") + "\n"}
	maps.Copy(files, b.others)
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if code, out, errs := call(t, b.now, "ingest", "--config", config); code != 0 {
		t.Fatalf("ingest: %s%s", out, errs)
	}
	return cautionOf(t, config, "Wath Beck", b.now)
}

func cautionOf(t *testing.T, config, river string, now time.Time) wading.View {
	t.Helper()
	code, out, errs := call(t, now, "caution", river, "--config", config, "--format", "json")
	if code != 0 {
		t.Fatalf("caution: %s", errs)
	}
	var v wading.View
	if err := json.Unmarshal([]byte(out), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

func TestNothingDoubtfulLowersTheCautionThroughTheCommand(t *testing.T) {
	t.Parallel()
	nan := math.NaN()
	now := usual(midday)
	for _, c := range []struct {
		what  string
		set   func(*beck)
		least wading.Level
		known bool
		says  string
	}{
		{"the beck as it is: nobody ever measured its depth", func(*beck) {}, wading.Care, true, "no depth or speed was measured"},
		{"without heights", (*beck).flowOnly, wading.Care, true, ""},

		{"flow x4 within three hours", func(b *beck) { b.flowOnly(); b.flows(now, 2*now, 3*now, 4*now) }, wading.KeepOut, true, "rising"},
		{"the same with heights", func(b *beck) { b.flows(now, 2*now, 3*now, 4*now) }, wading.KeepOut, true, "rising"},
		{"14 per cent an hour for a day", func(b *beck) {
			q := 3 * now
			b.each(25, func(_ int, x *hour) { x.flow, x.height = q, heightOf(q); q /= 1.14 })
		}, wading.KeepOut, true, "rising"},
		{"x2.2 within a day, steadily", func(b *beck) {
			q := 2.2 * now
			b.each(25, func(_ int, x *hour) { x.flow, x.height = q, heightOf(q); q /= math.Pow(2.2, 1.0/24) })
		}, wading.BetterNot, true, "rising"},
		{"x4 across a gap", func(b *beck) {
			b.each(6, func(h int, x *hour) { x.flow, x.height = nan, nan })
			b.flows(4 * now)
		}, wading.KeepOut, false, "within the last day"},

		{"height above the action stage", func(b *beck) { b.flows(21, 21, 21, 21, 21, 21, 21) }, wading.KeepOut, true, "action stage"},
		{"that height two and a half hours old, the flow fresh", func(b *beck) {
			b.each(30, func(_ int, x *hour) { x.height = 1.3 })
			b.each(3, func(_ int, x *hour) { x.height = nan })
		}, wading.KeepOut, false, "gauge height reading is"},
		{"a height old and low, the flow fresh", func(b *beck) { b.each(3, func(_ int, x *hour) { x.height = nan }) }, wading.Care, false, "gauge height reading is"},
		{"a height at major stage that looks like a spike", func(b *beck) { b.back(0).height = 2.6 }, wading.KeepOut, false, "major stage"},
		{"and one followed by a reading that unmasks it", func(b *beck) { b.back(1).height = 4.6 }, wading.KeepOut, false, "too far"},

		{"one reading of 0.00 beside an unmoved height", func(b *beck) { b.back(0).flow = 0 }, wading.Care, false, "too far"},
		{"a flow that drops by half while the height stands", func(b *beck) { b.back(0).flow = 0.4 * now }, wading.Care, false, "do not agree"},
		{"1,900 to 0.5 ft3/s in an hour", func(b *beck) { b.flowOnly(); b.flows(53.8, 53.8, 53.8, 0.014) }, wading.KeepOut, false, "too far"},
		{"and still so ten hours later", func(b *beck) {
			b.flowOnly()
			b.each(10, func(h int, x *hour) { x.flow = 0.014 + 0.001*float64(h) })
			b.back(10).flow = 53.8
		}, wading.KeepOut, false, "from one reading to the next"},
		{"a flow frozen for three days while the height moves", func(b *beck) {
			b.each(72, func(h int, x *hour) { x.flow, x.height = now, heightOf(now*(1+float64(72-h)/72)) })
		}, wading.Care, false, "while the gauge height has"},
		{"a flow frozen for three days and no height", func(b *beck) { b.flowOnly(); b.each(72, func(_ int, x *hour) { x.flow = now }) }, wading.Care, false, "stuck"},
		{"a unit label 35 times too small", func(b *beck) {
			b.flowOnly()
			b.each(72, func(_ int, x *hour) { x.flow /= 35.3147 })
		}, wading.Care, false, "mix-up of m³/s and cfs"},
		{"twenty times above anything on record", func(b *beck) { b.flows(250, 250, 250) }, wading.KeepOut, true, "above any flow on record"},
		{"and without a past season", func(b *beck) { b.hours = b.hours[len(b.hours)-40*24:]; b.flows(250) }, wading.KeepOut, true, "above any flow on record"},
		{"a little above the record", func(b *beck) {
			b.each(24*9, func(_ int, x *hour) { x.flow *= 1.15 * 12 / now; x.height = heightOf(x.flow) })
		}, wading.BetterNot, true, "above any flow on record"},
		{"a spike down at high water", func(b *beck) {
			b.flowOnly()
			b.each(24*9, func(_ int, x *hour) { x.flow *= 2.2 })
			b.back(0).flow /= 2.5
		}, wading.BetterNot, false, "too far"},

		{"one reading only", func(b *beck) { b.hours = b.hours[len(b.hours)-1:] }, wading.Quiet, false, "h of flow readings: too few to check"},
		{"flow below nothing", func(b *beck) { b.flowOnly(); b.back(0).flow = -3 }, wading.Care, false, "the flow reading"},
		{"flow and height in each other's column", func(b *beck) { b.each(2, func(_ int, x *hour) { x.flow, x.height = x.height, x.flow }) }, wading.KeepOut, false, "do not agree"},
		{"a height a metre too high for its flow", func(b *beck) { b.each(30, func(_ int, x *hour) { x.height++ }) }, wading.KeepOut, false, "do not agree"},
		{"a week of nothing", func(b *beck) { b.flowOnly(); b.each(24*8, func(_ int, x *hour) { x.flow = 0 }) }, wading.Care, false, "far below anything on record"},
		{"heights in feet since three hours", func(b *beck) { b.each(3, func(_ int, x *hour) { x.height /= 0.3048 }) }, wading.KeepOut, false, "major stage"},
		{"every third reading missing", func(b *beck) {
			b.each(24*9, func(h int, x *hour) {
				if h%3 == 1 {
					x.flow, x.height = nan, nan
				}
			})
		}, wading.Care, true, ""},

		{"only a day of readings", func(b *beck) { b.hours = b.hours[len(b.hours)-25:] }, wading.Quiet, false, "too few to check"},
		{"flow missing", func(b *beck) { b.each(40*24, func(_ int, x *hour) { x.flow = nan }) }, wading.Quiet, false, "no recent flow reading"},
		{"flow three hours old after high water", func(b *beck) {
			b.flowOnly()
			b.each(24*9, func(_ int, x *hour) { x.flow *= 2.2 })
			b.each(3, func(_ int, x *hour) { x.flow = nan })
		}, wading.BetterNot, false, "flow reading is"},
		{"water temperature missing", func(b *beck) { b.each(3, func(_ int, x *hour) { x.water = nan }) }, wading.Care, true, "treat the water as cold"},
	} {
		t.Run(c.what, func(t *testing.T) {
			t.Parallel()
			b := newBeck()
			c.set(b)
			v := b.judged(t)
			text, _ := json.MarshalIndent(v, "", " ")
			if v.Level != int(c.least) || v.Known != c.known {
				t.Errorf("level %d known %t, want %d %t\n%s", v.Level, v.Known, c.least, c.known, text)
			}
			if !strings.Contains(string(text), c.says) {
				t.Errorf("%q is not said\n%s", c.says, text)
			}
			if !c.known && !strings.HasSuffix(v.Headline, "treat the river as too high until you have seen it") {
				t.Errorf("headline %q", v.Headline)
			}
			if v.Until.Before(v.At) || !v.Known && v.Until.After(v.At) || v.Known && v.Until.After(midday.Add(wading.MaxAge)) {
				t.Errorf("judged at %v, valid until %v", v.At, v.Until)
			}
		})
	}
}

// A gauge of a few visits: whoever plans on a low day must not get laxer lines.
func TestThePrintedLimitsDoNotMoveWithTodaysFlow(t *testing.T) {
	t.Parallel()
	limits := map[float64]wading.Limits{}
	for _, today := range []float64{2, 40} {
		dir, config := write(t, "[[river]]\nname = \"Wath Beck\"\nzone = \"UTC\"\nlat = 54.5\nlon = -2.9\n[[river.gauge]]\nfeed = \"usgs\"\nsite = \"USGS-99000009\"\n")
		store, err := series.Open(t.Context(), filepath.Join(dir, "series"))
		if err != nil {
			t.Fatal(err)
		}
		put := func(v ingest.Variable, ts string, at []time.Time, values []float64) {
			s := ingest.Series{Key: ingest.Key{Feed: "usgs", Site: "USGS-99000009", Variable: v, Statistic: ingest.Instant, TimeSeries: ts}, Value: values}
			for _, x := range at {
				s.Time = append(s.Time, x.UnixMicro())
			}
			if _, err := store.Put(t.Context(), s, midday); err != nil {
				t.Fatal(err)
			}
		}
		// Two visits: a narrow one in low water, a wide one in high water.
		visits := []time.Time{midday.AddDate(-2, 0, 0), midday.AddDate(-1, 0, 0)}
		for v, x := range map[ingest.Variable][]float64{ingest.Discharge: {2, 30}, ingest.ChannelWidth: {9, 30}, ingest.ChannelVelocity: {0.5, 1}, ingest.ChannelArea: {4, 30}} {
			put(v, "channel-measurements main", visits, x)
		}
		put(ingest.Discharge, "", []time.Time{midday.Add(-time.Hour)}, []float64{today})
		if err := store.Close(); err != nil {
			t.Fatal(err)
		}
		v := cautionOf(t, config, "Wath Beck", midday)
		if v.Limits == nil || !v.Limits.Rough {
			t.Fatalf("limits are %+v", v.Limits)
		}
		limits[today] = *v.Limits
		code, text, errs := call(t, midday, "caution", "Wath Beck", "--config", config)
		if code != 0 || !strings.Contains(text, "(rough, from few measurements)") {
			t.Errorf("%s%s", text, errs)
		}
	}
	if limits[2] != limits[40] {
		t.Errorf("the limits are %+v on a low day and %+v on a high one", limits[2], limits[40])
	}
}

func TestTheCautionKnowsTheDark(t *testing.T) {
	t.Parallel()
	b := newBeck()
	dir, config := write(t, b.config())
	if err := os.WriteFile(filepath.Join(dir, "wath.csv"), []byte("time,flow,height,water\n2026-05-20 12:00,5,0.7,17\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if code, out, errs := call(t, midday, "ingest", "--config", config); code != 0 {
		t.Fatalf("ingest: %s%s", out, errs)
	}
	// At 54.5 north, 2.9 west the sun sets at 20:15 UTC on 20 May and rises at 03:58.
	for at, want := range map[string]int{"20:05": 0, "20:25": 1, "21:40": 2, "02:40": 2, "03:45": 1, "04:10": 0} {
		clock, err := time.Parse("15:04", at)
		if err != nil {
			t.Fatal(err)
		}
		now := midday.Truncate(24 * time.Hour).Add(time.Duration(clock.Hour())*time.Hour + time.Duration(clock.Minute())*time.Minute)
		got := 0
		for _, r := range cautionOf(t, config, "Wath Beck", now).Reasons {
			if r.Code == "dark" {
				got = r.Level
			}
		}
		if got != want {
			t.Errorf("at %s UTC the dark asks for %d, want %d", at, got, want)
		}
	}
}
