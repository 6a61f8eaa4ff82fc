package trip

import (
	"bytes"
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	ics "github.com/arran4/golang-ical"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

var day0 = forecast.DateOf(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC))

func date(m, d int) forecast.Date {
	return forecast.DateOf(time.Date(2026, time.Month(m), d, 0, 0, 0, 0, time.UTC))
}

// invent is an outlook whose stages have a chance of p between two dates and
// none else, over water of a warmest hour of maxC.
func invent(river string, maxC float64, stages ...forecast.StageOutlook) *forecast.Outlook {
	o := &forecast.Outlook{River: river, RiverName: strings.ToUpper(river[:1]) + river[1:], Zone: "UTC", IssuedAt: time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC), Seasons: 8, WeatherSource: "weather of past seasons", Stages: stages}
	for d := range 365 {
		o.Water = append(o.Water, forecast.WaterDay{Date: day0 + forecast.Date(d), P10: 9, P50: 10, P90: 11, MaxP50: maxC, MaxP90: maxC + 1})
	}
	return o
}

func stage(group string, st forecast.Stage, from, to forecast.Date, p float64) forecast.StageOutlook {
	s := forecast.StageOutlook{Group: group, Name: strings.ReplaceAll(group, "-", " "), Stage: st, Fishable: true, Grade: "prior", Hours: forecast.Hours{Spans: []forecast.Span{{From: 11 * 60, To: 14 * 60}}}}
	mid := (from + to) / 2
	s.Window = forecast.Window{Start: forecast.Range{P10: from - 5, P50: from, P90: from + 5}, Peak: forecast.Range{P10: mid - 5, P50: mid, P90: mid + 5}, End: forecast.Range{P10: to - 5, P50: to, P90: to + 5}}
	days := make([]forecast.Day, 365)
	for d := range days {
		x := forecast.Day{Date: day0 + forecast.Date(d)}
		if x.Date >= from && x.Date <= to {
			x.P, x.PCalendar = p, p/2
		}
		days[d] = x
	}
	s.Days = forecast.DaysOf(days)
	return s
}

func lookup(t *testing.T) Groups {
	t.Helper()
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	return c.Group
}

// flows has eight seasons of 10 m3/s and floods of 50 in the first n of them,
// between two dates of each.
func flows(n int, from, to forecast.Date) *Flows {
	f := &Flows{Day0: forecast.DateOf(time.Date(2018, 1, 1, 0, 0, 0, 0, time.UTC)), Limits: &wading.Limits{CareM3s: 15, BetterNotM3s: 25, KeepOutM3s: 40}}
	for d := f.Day0; d < date(5, 1); d++ {
		t := d.Time()
		here := forecast.DateOf(time.Date(2026, t.Month(), t.Day(), 0, 0, 0, 0, time.UTC))
		v := 10.0
		if t.Year() < 2018+n && here >= from && here <= to {
			v = 50
		}
		f.M3s = append(f.M3s, v)
	}
	return f
}

func TestChancesAddUpAsTheyAreSaidTo(t *testing.T) {
	o := invent("wend", 14,
		stage("western-green-drake", forecast.Emergence, date(6, 1), date(6, 30), 0.5),
		stage("western-green-drake", forecast.EggLaying, date(6, 1), date(6, 30), 0.3),
		stage("pale-morning-dun", forecast.Emergence, date(6, 1), date(6, 30), 0.2))
	tr, err := Plan(Ask{From: date(6, 3), To: date(6, 9), Days: 3}, []River{{Outlook: o, Flows: flows(0, 0, 0)}}, lookup(t))
	if err != nil {
		t.Fatal(err)
	}
	s := tr.Weeks[0]
	// One group's stages share a draw, so the likelier counts; groups do not. The drake's
	// egg-laying is none that one travels for.
	for _, x := range []struct {
		name      string
		got, want float64
	}{
		{"chance", s.Chance, 1 - 0.5*0.8}, {"calendar", s.Calendar, 1 - 0.75*0.9}, {"at least", s.AtLeast, 0.5}, {"stages", s.Stages, 0.7}, {"stages by the calendar", s.StagesCalendar, 0.35},
		{"flow", s.Flow.P, 0},
	} {
		if math.Abs(x.got-x.want) > 1e-12 {
			t.Errorf("%s: %v, want %v", x.name, x.got, x.want)
		}
	}
	if tr.Second != nil {
		t.Errorf("a week of one river has no second choice, got %+v", tr.Second)
	}
}

func TestTheBestStayLiesInsideTheWindow(t *testing.T) {
	o := invent("wend", 14, stage("western-green-drake", forecast.Emergence, date(6, 17), date(6, 20), 0.6))
	tr, err := Plan(Ask{From: date(6, 1), To: date(7, 12), Days: 4}, []River{{Outlook: o}}, lookup(t))
	if err != nil {
		t.Fatal(err)
	}
	if tr.First.From != date(6, 17) || tr.First.To != date(6, 20) {
		t.Errorf("first choice %s to %s, want 17 to 20 June", tr.First.From, tr.First.To)
	}
	if tr.BoxReady != date(6, 16) || tr.LookAgain != date(6, 10) {
		t.Errorf("box ready %s, look again %s", tr.BoxReady, tr.LookAgain)
	}
	if tr.Second == nil || tr.Second.From < tr.First.To+7 && tr.Second.To > tr.First.From-7 {
		t.Errorf("the second choice of a single river must lie a week apart: %+v", tr.Second)
	}
}

func TestRisksTurnTheOrder(t *testing.T) {
	st := stage("western-green-drake", forecast.Emergence, date(6, 1), date(6, 30), 0.6)
	ask := Ask{From: date(6, 8), To: date(6, 14), Days: 3}
	dry := flows(0, 0, 0)
	noLimits := flows(0, 0, 0)
	noLimits.Limits = nil
	for _, x := range []struct {
		name   string
		good   River
		poorer River
	}{
		{"a river that floods in most Junes comes after one that does not", River{Outlook: invent("a", 14, st), Flows: dry}, River{Outlook: invent("b", 14, st), Flows: flows(6, date(6, 1), date(6, 30))}},
		{"a warm river comes after a cool one", River{Outlook: invent("a", 14, st), Flows: dry}, River{Outlook: invent("b", 22, st), Flows: dry}},
		{"a river of unknown flow comes after a low one", River{Outlook: invent("a", 14, st), Flows: dry}, River{Outlook: invent("b", 14, st), Flows: nil}},
		{"a river without a limit comes after a low one", River{Outlook: invent("a", 14, st), Flows: dry}, River{Outlook: invent("b", 14, st), Flows: noLimits}},
		{"unknown flow comes before certain flood", River{Outlook: invent("a", 14, st), Flows: nil}, River{Outlook: invent("b", 14, st), Flows: flows(8, date(6, 1), date(6, 30))}},
	} {
		for _, order := range [][]River{{x.good, x.poorer}, {x.poorer, x.good}} {
			tr, err := Plan(ask, order, lookup(t))
			if err != nil {
				t.Fatal(err)
			}
			if tr.First.River != "a" || tr.Second == nil || tr.Second.River != "b" || tr.Weeks[0].River != "a" {
				t.Errorf("%s: first %s, weeks begin with %s", x.name, tr.First.River, tr.Weeks[0].River)
			}
		}
	}
}

func TestFlowOdds(t *testing.T) {
	from, to := date(6, 10), date(6, 12)
	for _, x := range []struct {
		name  string
		flows *Flows
		known bool
		p     float64
		words string
	}{
		{"two of eight seasons in flood", flows(2, date(6, 1), date(6, 30)), true, 0.25, "in 2 of 8 past seasons"},
		{"a flood elsewhere in the year does not count", flows(8, date(3, 1), date(3, 30)), true, 0, "in 0 of 8"},
		{"no flow", nil, false, 0, "unknown"},
		{"too few seasons", &Flows{Day0: day0 - 3*365, M3s: make([]float64, 3*365), Limits: &wading.Limits{BetterNotM3s: 9}}, false, 0, "unknown (3 past seasons"},
	} {
		got := FlowOdds(x.flows, from, to, wading.Metric)
		if got.Known != x.known || math.Abs(got.P-x.p) > 1e-12 || !strings.Contains(got.Words, x.words) {
			t.Errorf("%s: %+v", x.name, got)
		}
	}
}

func TestWarmOddsFollowTheBand(t *testing.T) {
	for _, x := range []struct {
		name        string
		max, lo, hi float64
	}{
		{"middle on the line is even", WarmC, 0.4999, 0.5001},
		{"90 % point on the line is one in ten", WarmC - 1, 0.0999, 0.1001},
		{"far below is nothing", WarmC - 10, 0, 1e-9},
	} {
		got := warmOdds(invent("a", x.max), date(6, 1), date(6, 3), wading.Metric)
		if !got.Known || got.P < x.lo || got.P > x.hi {
			t.Errorf("%s: %v", x.name, got.P)
		}
	}
	if got := warmOdds(&forecast.Outlook{}, date(6, 1), date(6, 3), wading.Metric); got.Known {
		t.Error("odds without water are not known")
	}
}

func TestAsksThatMakeNoSenseAreRefused(t *testing.T) {
	for name, a := range map[string]Ask{
		"to before from": {From: date(6, 9), To: date(6, 1), Days: 3}, "stay longer than the span": {From: date(6, 1), To: date(6, 2), Days: 3},
		"no days": {From: date(6, 1), To: date(6, 9)}, "no dates": {Days: 3}, "two years": {From: day0, To: day0 + 800, Days: 3}, "negative": {From: date(6, 1), To: date(6, 9), Days: -1},
	} {
		if _, err := Plan(a, nil, nil); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	_, err := Plan(Ask{From: date(6, 1), To: date(6, 9), Days: 3, Groups: []string{"skwala"}},
		[]River{{Outlook: invent("a", 14, stage("western-green-drake", forecast.Emergence, date(6, 1), date(6, 30), 0.6))}}, lookup(t))
	if !errors.Is(err, ErrNotHere) {
		t.Errorf("a group that no river has: %v", err)
	}
	if _, err := Plan(Ask{From: date(4, 1), To: date(4, 9), Days: 3}, []River{{Outlook: invent("a", 14, stage("x", forecast.Emergence, date(4, 1), date(6, 30), 0.6))}}, lookup(t)); !errors.Is(err, ErrNothing) {
		t.Errorf("days before the issue: %v", err)
	}
}

func TestTyingListSaysWhatHowManyAndByWhen(t *testing.T) {
	o := invent("wend", 14,
		stage("western-green-drake", forecast.Emergence, date(6, 11), date(6, 30), 0.7),
		stage("pale-morning-dun", forecast.EggLaying, date(6, 1), date(6, 30), 0.4),
		stage("skwala", forecast.EggLaying, date(6, 1), date(6, 30), 0.02))
	tr, err := Plan(Ask{From: date(6, 10), To: date(6, 12), Days: 3}, []River{{Outlook: o}}, lookup(t))
	if err != nil {
		t.Fatal(err)
	}
	if len(tr.Tying) != 2 {
		t.Fatalf("%d lines, want 2: one in fifty is not tied for", len(tr.Tying))
	}
	first, second := tr.Tying[0], tr.Tying[1]
	if first.Kind != "spinner" || first.For[0] != "pale morning dun laying eggs" || first.NeededBy != date(6, 9) {
		t.Errorf("first line %+v", first)
	}
	if second.NeededBy != date(6, 10) || second.Kind != "emerger" {
		t.Errorf("the drake opens on 11 June, so it is needed by the 10th: %+v", second)
	}
	n := 0
	for _, h := range first.Hooks {
		n += h.Count
	}
	if n != 3 { // 2 a day x 3 days x 0.4 = 2.4, rounded up
		t.Errorf("%d spinners, want 3", n)
	}
}

func TestHooksFillFromTheMiddle(t *testing.T) {
	for _, x := range []struct {
		name              string
		biggest, small, n int
		want              string
	}{
		{"one size", 14, 14, 3, "3 × size 14"},
		{"middle first", 12, 16, 4, "1 × size 12, 2 × size 14, 1 × size 16"},
		{"more sizes than flies", 16, 24, 3, "1 × size 18, 1 × size 20, 1 × size 22"},
		{"unknown", 0, 0, 3, "hook size unknown"},
	} {
		if got := (Fly{Hooks: hooks(x.biggest, x.small, x.n)}).HookWords(); got != x.want {
			t.Errorf("%s: %s, want %s", x.name, got, x.want)
		}
	}
}

func TestEveryGroupOfTheCatalogueHasAnImitation(t *testing.T) {
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	for _, g := range c.Groups() {
		for _, st := range forecast.Stages {
			if p := PatternOf(&g, st); p.Kind == "" || p.Materials() == "" {
				t.Errorf("%s %s: %+v", g.Key, st, p)
			}
		}
	}
}

func TestPrintedTripFitsAndNeverCallsWaterSafe(t *testing.T) {
	o := invent("wend", 14, stage("western-green-drake", forecast.Emergence, date(6, 11), date(6, 30), 0.7))
	tr, err := Plan(Ask{From: date(6, 1), To: date(7, 12), Days: 3}, []River{{Outlook: o, Flows: flows(3, date(6, 1), date(6, 20))}, {Outlook: invent("garrow", 19.5, stage("skwala", forecast.EggLaying, date(6, 1), date(6, 30), 0.4))}}, lookup(t))
	if err != nil {
		t.Fatal(err)
	}
	var b bytes.Buffer
	if err := tr.WriteTable(&b); err != nil {
		t.Fatal(err)
	}
	for line := range strings.SplitSeq(b.String(), "\n") {
		if len([]rune(line)) > 80 {
			t.Errorf("longer than 80 columns: %q", line)
		}
	}
	if strings.Contains(strings.ToLower(b.String()), "safe") {
		t.Error("the word must not be printed of water")
	}
	for _, want := range []string{"Best: Wend", "Second   Garrow", "Costs ", "Changes ", "A week later", "Tie 5 flies", forecast.StandingCaution[:40]} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("the table lacks %q", want)
		}
	}
}

func TestCalendarIsReadByItsOwnLibraryAndKeepsItsUIDs(t *testing.T) {
	o := invent("wend", 14, stage("western-green-drake", forecast.Emergence, date(6, 11), date(6, 30), 0.7))
	tr, err := Plan(Ask{From: date(6, 1), To: date(7, 12), Days: 3}, []River{{Outlook: o}}, lookup(t))
	if err != nil {
		t.Fatal(err)
	}
	var a, b bytes.Buffer
	if err := errors.Join(tr.WriteICS(&a), tr.WriteICS(&b)); err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("two calendars of one trip differ")
	}
	if strings.Contains(strings.ReplaceAll(a.String(), "\r\n", ""), "\n") {
		t.Error("a line ends without CR")
	}
	cal, err := ics.ParseCalendar(&a)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(cal.Events()); n != 4 {
		t.Errorf("%d events, want both stays, the look and the box", n)
	}
}

// A forecast spate must move a trip: the same river, the same insects, another week.
func TestAForecastSpateMovesTheTrip(t *testing.T) {
	plan := func(flooded bool) *Trip {
		o := invent("wend", 12, stage("a", forecast.Emergence, date(5, 1), date(6, 20), 0.6))
		o.IssuedAt = date(5, 18).Time()
		f := &forecast.FlowAhead{Source: forecast.FlowStatistics, NowM3s: 10, LowM3s: 5, HighM3s: 20}
		for d := range 30 {
			q, p := 10.0, 0.9
			if flooded && d < 9 {
				q, p = 60, 0.02
			}
			f.Days = append(f.Days, forecast.FlowDay{Date: date(5, 18) + forecast.Date(d), P05: q * .8, P10: q * .85, P25: q * .9, P50: q, P75: q * 1.1, P90: q * 1.2, P95: q * 1.3, Fishable: &p})
		}
		o.Flow = f
		past := flows(0, date(5, 1), date(6, 30))
		tr, err := Plan(Ask{From: date(5, 19), To: date(6, 10), Days: 3}, []River{{Outlook: o, Flows: past}}, lookup(t))
		if err != nil {
			t.Fatal(err)
		}
		return tr
	}
	calm, spate := plan(false), plan(true)
	if calm.First.From >= date(5, 27) {
		t.Errorf("without a spate the first choice is %s", calm.First.From)
	}
	if spate.First.From < date(5, 27) {
		t.Errorf("with a spate until 26 May the first choice is %s", spate.First.From)
	}
	if spate.First.Flow.P > 0.5 || !strings.Contains(spate.First.Flow.Words, "forecast") {
		t.Errorf("flow of the first choice: %+v", spate.First.Flow)
	}
}
