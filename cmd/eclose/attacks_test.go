package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/model/wading"
)

// last changes the newest lines of a file, the newest first.
func last(n int, change func(k int, cells []string)) func([]string) []string {
	return func(lines []string) []string {
		for k := range n {
			i := len(lines) - 1 - k
			cells := strings.Split(lines[i], ",")
			change(k, cells)
			lines[i] = strings.Join(cells, ",")
		}
		return lines
	}
}

// later moves all times of a file.
func later(by time.Duration) func([]string) []string {
	return func(lines []string) []string {
		for i := range lines {
			cells := strings.SplitN(lines[i], ",", 2)
			at, err := time.Parse("2006-01-02 15:04", cells[0])
			if err != nil {
				panic(err)
			}
			lines[i] = at.Add(by).Format("2006-01-02 15:04") + "," + cells[1]
		}
		return lines
	}
}

// again repeats the newest line with another flow.
func again(flow string) func([]string) []string {
	return func(lines []string) []string {
		cells := strings.Split(lines[len(lines)-1], ",")
		cells[1] = flow
		return append(lines, strings.Join(cells, ","))
	}
}

const secondGauge = `  [[river.gauge]]
  feed = "csv"
  site = "upper"
  file = "upper.csv"
  variables = ["discharge", "gauge_height"]
`

// beside adds a second gauge to the beck's river, which is the same beck until changed.
func (b *beck) beside(change func(*beck)) {
	o := newBeck()
	change(o)
	b.others = map[string]string{"upper.csv": "time,flow,height,water\n" + strings.Join(o.lines(), "\n") + "\n"}
	b.toml = func(s string) string {
		return strings.Replace(s, "  [river.warnings]", secondGauge+"  [river.warnings]", 1)
	}
}

// twin adds a second sensor of flow to the gauge.
func (b *beck) twin(flow func(q float64, hoursBack int) float64) {
	b.flowOnly()
	b.file = func(lines []string) []string {
		for i, l := range lines {
			cells := strings.Split(l, ",")
			q, _ := strconv.ParseFloat(cells[1], 64)
			cells[2] = ""
			if q = flow(q, len(lines)-1-i); !math.IsNaN(q) {
				cells[2] = fmt.Sprintf("%.4f", q)
			}
			lines[i] = strings.Join(cells, ",")
		}
		return lines
	}
	b.toml = func(s string) string {
		return strings.Replace(strings.Replace(s, `variable = "gauge_height"`, `variable = "discharge"`, 1), `unit = "m"`, `unit = "m3/s"`, 1)
	}
}

// withDaily adds daily means of the same gauge, up to yesterday's.
func (b *beck) withDaily() {
	var lines []string
	for d := 400; d > 0; d-- {
		at := midday.Truncate(24*time.Hour).AddDate(0, 0, -d)
		lines = append(lines, fmt.Sprintf("%s,%.3f", at.Format("2006-01-02"), usual(at.Add(12*time.Hour))))
	}
	b.others = map[string]string{"days.csv": "day,mean\n" + strings.Join(lines, "\n") + "\n"}
	b.toml = func(s string) string {
		s = strings.Replace(s, "[[river]]", `[feeds.csv.layout.days]
zone = "UTC"
time-column = "day"
time-layout = "2006-01-02"
  [[feeds.csv.layout.days.column]]
  name = "mean"
  variable = "discharge"
  unit = "m3/s"
  period = "P1D"

[[river]]`, 1)
		return strings.Replace(s, "  [river.warnings]", `  [[river.gauge]]
  feed = "csv"
  site = "wath"
  file = "days.csv"
  layout = "days"
  period = "P1D"
  variables = ["discharge"]
  [river.warnings]`, 1)
	}
}

// onWall writes the times as the clock on the wall in London shows them.
func (b *beck) onWall() {
	london, err := time.LoadLocation("Europe/London")
	if err != nil {
		panic(err)
	}
	b.file = func(lines []string) []string {
		for i := range lines {
			cells := strings.SplitN(lines[i], ",", 2)
			at, err := time.Parse("2006-01-02 15:04", cells[0])
			if err != nil {
				panic(err)
			}
			lines[i] = at.In(london).Format("2006-01-02 15:04") + "," + cells[1]
		}
		return lines
	}
	b.toml = func(s string) string { return strings.Replace(s, `zone = "UTC"`, `zone = "Europe/London"`, 1) }
}

// A file can be wrong in ways that the readings themselves do not show.
func TestNoFaultOfAFileLowersTheCaution(t *testing.T) {
	t.Parallel()
	now := usual(midday)
	spate := func(b *beck) { b.flows(now, 5*now) }
	for _, c := range []struct {
		what  string
		set   func(*beck)
		least wading.Level
		known bool
		says  string
	}{
		{"every line twice", func(b *beck) {
			b.file = func(l []string) []string { return append(l, l...) }
		}, wading.Care, true, ""},
		{"newest line first", func(b *beck) { b.file = func(l []string) []string { slices.Reverse(l); return l } }, wading.Care, true, ""},
		{"high water, and the same minute again with a low flow", func(b *beck) { b.flowOnly(); spate(b); b.file = again(fmt.Sprint(now)) }, wading.KeepOut, false, "different"},
		{"a low flow, and the same minute again with high water", func(b *beck) { b.flowOnly(); b.file = again(fmt.Sprint(5 * now)) }, wading.KeepOut, false, "different"},
		{"a clock ten hours ahead", func(b *beck) { b.file = later(10 * time.Hour) }, wading.Care, false, "a clock is wrong"},
		{"a clock three hours ahead and high water", func(b *beck) { spate(b); b.file = later(3 * time.Hour) }, wading.KeepOut, false, "a clock is wrong"},
		{"a clock 14 hours behind", func(b *beck) { b.file = later(-14 * time.Hour) }, wading.Care, false, "flow reading is"},
		{"one line of the year 2062", func(b *beck) {
			b.file = func(l []string) []string { return append(l, "2062-05-20 12:00,5,0.7,17") }
		}, wading.Care, true, ""},
		{"ice instead of the last flow", func(b *beck) {
			b.flowOnly()
			b.file = last(1, func(_ int, c []string) { c[1] = "Ice" })
		}, wading.Care, false, "Ice"},
		{"equipment instead of the last flow", func(b *beck) {
			b.flowOnly()
			b.file = last(1, func(_ int, c []string) { c[1] = "Eqp" })
		}, wading.Care, false, "Eqp"},
		{"no flow in the last line", func(b *beck) { b.file = last(1, func(_ int, c []string) { c[1] = "" }) }, wading.Care, true, ""},
		{"-999 for nothing, undeclared", func(b *beck) { b.flowOnly(); b.file = last(1, func(_ int, c []string) { c[1] = "-999" }) }, wading.Care, false, "gross range"},
		{"a huge flow", func(b *beck) { b.flowOnly(); b.file = last(1, func(_ int, c []string) { c[1] = "1e300" }) }, wading.KeepOut, false, "gross range"},
		{"a huge flow an hour ago", func(b *beck) {
			b.flowOnly()
			b.file = last(2, func(k int, c []string) {
				if k == 1 {
					c[1] = "1e300"
				}
			})
		}, wading.KeepOut, false, "too far"},
		{"a negative height", func(b *beck) { b.file = last(1, func(_ int, c []string) { c[2] = "-3" }) }, wading.Care, false, "too far"},
		{"a height of -999999", func(b *beck) { b.file = last(3, func(_ int, c []string) { c[2] = "-999999" }) }, wading.Care, false, "gross range"},
		{"flows in cfs from an hour ago", func(b *beck) { b.flowOnly(); b.flows(now*35.3147, now*35.3147) }, wading.KeepOut, false, "mix-up"},
		{"heights in cm from an hour ago", func(b *beck) { b.each(2, func(_ int, x *hour) { x.height *= 100 }) }, wading.KeepOut, false, "major"},
		{"six days of history", func(b *beck) { b.hours = b.hours[len(b.hours)-6*24:] }, wading.Quiet, false, "too few"},
		{"flows and heights by turns", func(b *beck) {
			b.file = last(24*9, func(k int, c []string) { c[1+k%2] = "" })
		}, wading.Care, false, "too few readings of flow and gauge height together"},
		{"a flow that only trembles for three days while the height climbs", func(b *beck) {
			b.each(72, func(h int, x *hour) {
				x.flow, x.height = now+0.001*float64(h%3), heightOf(now*(1+float64(72-h)/50))
			})
		}, wading.Care, false, "do not agree"},
		{"a height that only trembles for two days while the flow climbs", func(b *beck) {
			b.each(48, func(h int, x *hour) {
				x.flow, x.height = now*(1+float64(48-h)/40), heightOf(now)+0.001*float64(h%3)
			})
		}, wading.BetterNot, false, "do not agree"},
		{"a reading every three hours, the last a quarter higher", func(b *beck) {
			b.flowOnly()
			b.file = last(24*9, func(k int, c []string) {
				if k%3 != 0 {
					c[1] = ""
				}
				if k == 0 {
					c[1] = fmt.Sprintf("%.3f", 1.3*now)
				}
			})
		}, wading.KeepOut, true, "rising"},
		{"a reading every four hours", func(b *beck) {
			b.flowOnly()
			b.file = last(24*9, func(k int, c []string) {
				if k%4 != 0 {
					c[1] = ""
				}
			})
		}, wading.Care, false, "would not be seen"},
		{"a datum moved by five metres while the water rises", func(b *beck) {
			b.flows(now, 1.2*now, 1.5*now, 2.2*now)
			b.each(2, func(_ int, x *hour) { x.height -= 5 })
		}, wading.KeepOut, false, "too far"},
		{"a flow silent for a day while the height rises", func(b *beck) {
			b.flows(now, 2*now, 3*now, 5*now)
			b.each(24, func(_ int, x *hour) { x.flow = math.NaN() })
		}, wading.KeepOut, true, "flow reading is"},
		{"water at 60 °C, from a sensor in the sun", func(b *beck) { b.each(3, func(_ int, x *hour) { x.water = 60 }) }, wading.Care, true, "treat the water as cold"},
		{"water at -40 °C", func(b *beck) { b.each(3, func(_ int, x *hour) { x.water = -40 }) }, wading.Care, true, "treat the water as cold"},
		{"a dam above", func(b *beck) {
			b.toml = func(s string) string { return strings.Replace(s, "lat =", "regulated = true\nlat =", 1) }
		}, wading.Care, true, "dam"},
		{"only heights, a quiet one", func(b *beck) {
			b.variables = `"gauge_height", "water_temperature"`
		}, wading.Quiet, false, "cannot be judged"},
		{"only heights, above the action stage five hours ago", func(b *beck) {
			b.variables = `"gauge_height", "water_temperature"`
			b.each(40, func(h int, x *hour) { x.height = 1.3 })
			b.each(5, func(h int, x *hour) { x.height = math.NaN() })
		}, wading.KeepOut, false, "gauge height reading is"},
		{"a second gauge upstream where a spate comes down", func(b *beck) { b.beside(func(s *beck) { s.flows(now, 2*now, 3*now, 5*now) }) }, wading.KeepOut, true, "upper"},
		{"a second gauge upstream, quiet", func(b *beck) { b.beside(func(*beck) {}) }, wading.Care, true, ""},
		{"a second gauge upstream, silent since a spate five hours ago", func(b *beck) {
			b.beside(func(s *beck) {
				s.flows(now, 2*now, 3*now, 5*now, 5*now, 5*now, 5*now, 5*now)
				s.each(5, func(_ int, x *hour) { x.flow, x.height = math.NaN(), math.NaN() })
			})
		}, wading.KeepOut, false, "upper"},
		{"the first gauge quiet and the second, below it, twenty times above its record", func(b *beck) {
			b.beside(func(s *beck) { s.flows(250, 250, 250) })
		}, wading.KeepOut, true, "upper"},
		{"two sensors of flow at one gauge, the second in flood", func(b *beck) {
			b.twin(func(q float64, h int) float64 {
				if h < 3 {
					return 5 * q
				}
				return q
			})
		}, wading.KeepOut, true, "rising"},
		{"two sensors of flow, the second silent since a flood", func(b *beck) {
			b.twin(func(q float64, h int) float64 {
				switch {
				case h < 4:
					return math.NaN()
				case h < 7:
					return 5 * q
				}
				return q
			})
		}, wading.KeepOut, false, "flow reading is"},
		{"yesterday's daily mean beside a gauge that fell silent in a flood", func(b *beck) {
			*b = *newBeckTo(midday.Add(17 * time.Hour)) // five hours after the day
			b.flowOnly()
			b.flows(now, 2*now, 3*now, 5*now, 5*now, 5*now, 5*now, 5*now, 5*now, 5*now, 5*now)
			b.each(6, func(_ int, x *hour) { x.flow = math.NaN() })
			b.withDaily()
		}, wading.KeepOut, false, "flow reading is"},
		{"a clock five minutes ahead", func(b *beck) { b.file = later(25 * time.Minute) }, wading.Care, true, ""},
		{"a logger on summer time, declared as UTC", func(b *beck) { b.file = later(time.Hour) }, wading.Care, false, "a clock is wrong"},
		{"high water in the hour that the clocks repeat", func(b *beck) {
			*b = *newBeckTo(time.Date(2026, 10, 25, 1, 0, 0, 0, time.UTC))
			b.flowOnly()
			q := b.back(0).flow
			b.flows(q, 1.6*q)
			b.onWall()
		}, wading.KeepOut, true, "up 60% in 1.0 h"},
		{"high water in the first of these hours", func(b *beck) {
			*b = *newBeckTo(time.Date(2026, 10, 25, 1, 0, 0, 0, time.UTC))
			b.flowOnly()
			q := b.back(0).flow
			b.flows(q, 5*q, q)
			b.onWall()
		}, wading.KeepOut, false, "too far within 1.0 h"},
		{"the hour that the clocks leave out", func(b *beck) {
			*b = *newBeckTo(time.Date(2026, 3, 29, 2, 0, 0, 0, time.UTC))
			b.flowOnly()
			b.onWall()
		}, wading.BetterNot, true, ""}, // it is night
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
		})
	}
}

// TestAFileThatCannotBeReadAgesTheCaution: what was read stays, and grows old.
func TestAFileThatCannotBeReadAgesTheCaution(t *testing.T) {
	t.Parallel()
	b := newBeck()
	b.flows(5*usual(midday), 5*usual(midday), 5*usual(midday))
	dir, config := write(t, b.config())
	whole := "time,flow,height,water\n" + strings.Join(b.lines(), "\n") + "\n"
	put := func(text string) (code int, errs string) {
		if err := os.WriteFile(filepath.Join(dir, "wath.csv"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		code, _, errs = call(t, b.now, "ingest", "--config", config)
		return code, errs
	}
	if code, errs := put(whole); code != 0 {
		t.Fatal(errs)
	}
	for what, text := range map[string]string{
		"empty":                    "",
		"a header and nothing":     "time,flow,height,water\n",
		"a web page":               "<!DOCTYPE html><html><body>Service unavailable</body></html>",
		"a column renamed":         strings.Replace(whole, "flow", "debit", 1),
		"cut in a line":            whole[:len(whole)-9],
		"a comma for the point":    strings.ReplaceAll(whole, ".", ","),
		"not a number":             whole + "2026-05-20 12:15,1e400,0.7,17\n",
		"infinite":                 whole + "2026-05-20 12:15,Inf,0.7,17\n",
		"twice as wide characters": strings.ReplaceAll(whole, "1", "1\x00"),
	} {
		code, errs := put(text)
		if code != 1 || errs == "" {
			t.Errorf("%s: ingest ended with %d and said %q", what, code, errs)
		}
		if v := cautionOf(t, config, "Wath Beck", b.now); v.Level != 3 {
			t.Errorf("%s: level %d, known %t", what, v.Level, v.Known)
		}
		if v := cautionOf(t, config, "Wath Beck", midday.Add(wading.MaxAge+time.Minute)); v.Level != 3 || v.Known {
			t.Errorf("%s: two hours on level %d, known %t", what, v.Level, v.Known)
		}
	}
}
