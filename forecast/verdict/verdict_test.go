package verdict

import (
	"bytes"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

var now = time.Date(2026, 6, 1, 13, 0, 0, 0, time.UTC)

var today = forecast.DateOf(now)

// show is a stage that has a chance between two days from today, and none else.
type show struct {
	group    string
	stage    forecast.Stage
	from, to int
	p        float64
	hours    string
	allYear  bool
}

// river is a river of cool water and low flow with some stages, and a caution that
// invites.
func river(name string, shows ...show) trip.River {
	o := &forecast.Outlook{River: strings.ToLower(name), RiverName: name, Zone: "UTC", Lat: 45, Lon: -5, IssuedAt: now, DataCutoff: now.Add(-time.Hour), Seasons: 8}
	day0 := today - 100
	for d := range forecast.Date(365) {
		o.Water = append(o.Water, forecast.WaterDay{Date: day0 + d, P10: 9, P50: 10, P90: 11, MaxP50: 12, MaxP90: 13})
	}
	for _, x := range shows {
		s := forecast.StageOutlook{Group: x.group, Name: insects.Label(x.group), Stage: x.stage, Fishable: true, AllYear: x.allYear}
		if err := s.Hours.UnmarshalText([]byte(x.hours)); err != nil {
			panic(err)
		}
		from, to := today+forecast.Date(x.from), today+forecast.Date(x.to)
		at := func(d forecast.Date) forecast.Range { return forecast.Range{P10: d - 4, P50: d, P90: d + 4} }
		s.Window = forecast.Window{Start: at(from), Peak: at((from + to) / 2), End: at(to)}
		s.Calendar = s.Window
		var days []forecast.Day
		for d := range forecast.Date(365) {
			day := forecast.Day{Date: day0 + d}
			if day.Date >= from && day.Date <= to {
				day.P, day.PCalendar = x.p, x.p/2
			}
			days = append(days, day)
		}
		s.Days = forecast.DaysOf(days)
		o.Stages = append(o.Stages, s)
	}
	flows := &trip.Flows{Day0: today - 8*366, Limits: &wading.Limits{CareM3s: 15, BetterNotM3s: 25, KeepOutM3s: 40}}
	for range 8 * 366 {
		flows.M3s = append(flows.M3s, 10)
	}
	return trip.River{Outlook: o, Flows: flows, Caution: &wading.Caution{Known: true, Level: wading.Care, Flow: wading.Reading{Present: true, Value: 10}}}
}

func drake(from, to int, p float64) show {
	return show{group: "western-green-drake", stage: forecast.Emergence, from: from, to: to, p: p, hours: "11:30-15:00"}
}

func groups(t *testing.T) trip.Groups {
	t.Helper()
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	return c.Group
}

func ask(t *testing.T, rivers ...trip.River) Verdict {
	t.Helper()
	return Of(Question{Now: now}, rivers, groups(t))
}

// Nothing is put as "go" unless today's caution is known, below 2 and no warning is in
// force, and the caution stands beside the answer in every case.
func TestNoInvitationAgainstTheCaution(t *testing.T) {
	warned := &wading.Caution{Known: true, Level: wading.Care, Reasons: []wading.Reason{{Code: "warning.flood", Level: wading.Care, Text: func(wading.Units) string { return "official warning" }}}}
	for _, x := range []struct {
		name    string
		caution *wading.Caution
		invites bool
	}{
		{"nothing special", &wading.Caution{Known: true, Level: wading.Quiet}, true},
		{"take care", &wading.Caution{Known: true, Level: wading.Care}, true},
		{"better not", &wading.Caution{Known: true, Level: wading.BetterNot}, false},
		{"keep out", &wading.Caution{Known: true, Level: wading.KeepOut}, false},
		{"unknown", &wading.Caution{Level: wading.Quiet}, false},
		{"unknown, at least 1", &wading.Caution{Level: wading.Care}, false},
		{"never judged", nil, false},
		{"a warning", warned, false},
	} {
		r := river("Garrow", drake(0, 9, 0.6))
		r.Caution = x.caution
		v := ask(t, r, river("Wend", drake(0, 9, 0.1)))
		if v.Invite != x.invites || v.Answer != Go || strings.HasPrefix(v.Headline(), "Go ") != x.invites || strings.HasPrefix(v.Rivers[0].Heading(), "Go ") != x.invites {
			t.Errorf("%s: %s, invite %v: %s", x.name, v.Answer, v.Invite, v.Headline())
		}
		var b bytes.Buffer
		if err := v.WriteText(&b); err != nil {
			t.Fatal(err)
		}
		if n := strings.Count(b.String(), "Caution "); n != 2 {
			t.Errorf("%s: %d cautions for two rivers:\n%s", x.name, n, &b)
		}
		if len(v.Lines()) > 5 {
			t.Errorf("%s: %d lines", x.name, len(v.Lines()))
		}
	}
}

// A forecast that was written to a file is a copy of the caution in it.
func TestTheCautionOfAForecastHasItsTimes(t *testing.T) {
	r := river("Garrow", drake(0, 9, 0.6))
	at := time.Date(2026, 6, 1, 12, 0, 0, 0, time.UTC)
	r.Caution = &wading.Caution{At: at, Until: at.Add(90 * time.Minute), Known: true, Level: wading.Care, Flow: wading.Reading{Present: true, Value: 10, Age: 30 * time.Minute}}
	v := ask(t, r)
	if got := v.Rivers[0].CautionLine(wading.Metric); !strings.Contains(got, "read at 11:30 UTC on 1 Jun 2026.") || !strings.Contains(got, "Valid until 13:30 UTC on 1 Jun 2026; after that the caution level is unknown.") {
		t.Error(got)
	}
}

func TestTheAnswerFollowsWhatIsWorthBeingThereFor(t *testing.T) {
	midge := show{group: "midge-year-round", stage: forecast.Emergence, from: 0, to: 200, p: 0.95, hours: "11:00-17:00", allYear: true}
	high := river("Garrow", drake(0, 9, 0.6))
	high.Outlook.Flow = &forecast.FlowAhead{NowM3s: 60}
	for d := range forecast.Date(30) {
		high.Outlook.Flow.Days = append(high.Outlook.Flow.Days, forecast.FlowDay{Date: today + d, P05: 45, P10: 50, P25: 55, P50: 60, P75: 65, P90: 70, P95: 75})
	}
	old := river("Garrow", drake(0, 9, 0.6))
	old.Outlook.IssuedAt = now.Add(-72 * time.Hour)
	for _, x := range []struct {
		name   string
		rivers []trip.River
		answer Answer
		first  string
	}{
		{"the likelier river leads", []trip.River{river("Wend", drake(0, 9, 0.1)), river("Garrow", drake(0, 9, 0.6))}, Go, "Garrow"},
		{"two alike are too close to call", []trip.River{river("Wend", drake(0, 9, 0.58)), river("Garrow", drake(0, 9, 0.6))}, Draw, "Garrow"},
		{"a midge of 95% does not outrank a drake of 40%", []trip.River{river("Wend", midge), river("Garrow", drake(0, 9, 0.4))}, Go, "Garrow"},
		{"midges alone are nothing to travel for", []trip.River{river("Wend", midge)}, Nothing, ""},
		{"too little is nothing", []trip.River{river("Garrow", drake(0, 9, 0.05))}, Nothing, ""},
		{"good insects in a flood are not an answer", []trip.River{high}, Water, "Garrow"},
		{"an old forecast does not answer", []trip.River{old}, Stale, ""},
		{"nor does none", nil, Stale, ""},
	} {
		v := ask(t, x.rivers...)
		first := ""
		if v.First != nil {
			first = v.First.RiverName
		}
		if v.Answer != x.answer || first != x.first {
			t.Errorf("%s: %s %s: %s", x.name, v.Answer, first, v.Headline())
		}
	}
	v := ask(t, river("Garrow", drake(0, 9, 0.05), drake(40, 50, 0.5)))
	if v.Answer != Nothing || !strings.Contains(v.Headline(), "next: western green drake hatch on Garrow, from about 11 Jul") {
		t.Errorf("what comes next: %s", v.Headline())
	}
	// A wish outdoes the order of the catalogue.
	wish := Of(Question{Now: now, Groups: []string{"midge-year-round"}}, []trip.River{river("Wend", midge), river("Garrow", drake(0, 9, 0.4))}, groups(t))
	if wish.First == nil || wish.First.RiverName != "Wend" {
		t.Errorf("a wish for midges: %s", wish.Headline())
	}
}

// At 13:00 the morning is over, and what goes on is told in the order of the day.
func TestTodayLeavesOutWhatIsOver(t *testing.T) {
	garrow := river("Garrow",
		show{group: "little-black-saddle-case", stage: forecast.EggLaying, to: 5, p: 0.4, hours: "18:15-21:30"},
		show{group: "pale-morning-dun", stage: forecast.EggLaying, to: 5, p: 0.5, hours: "08:00-10:30 and 18:00-20:00"},
		show{group: "pale-morning-dun", stage: forecast.Emergence, to: 5, p: 0.5, hours: "08:00-12:30"},
		drake(0, 5, 0.6))
	v := ask(t, garrow)
	var got []string
	for _, c := range v.Rivers[0].Today {
		got = append(got, c.Hours.String())
	}
	if want := "11:30-15:00|18:00-20:00|18:15-21:30"; strings.Join(got, "|") != want {
		t.Errorf("today %v, want %s", got, want)
	}
	if h := garrow.Outlook.Stages[1].Hours.String(); h != "08:00-10:30 and 18:00-20:00" {
		t.Errorf("the forecast itself now has the hours %s", h)
	}
}

// What lives in other water is not listed, and a run of best days is short.
func TestARiverListsWhatLivesInIt(t *testing.T) {
	r := river("Garrow", drake(3, 6, 0.6), show{group: "trico", stage: forecast.EggLaying, to: 9, p: 0.9, hours: "08:00-10:00"})
	r.Outlook.Stages[1].Elsewhere = true
	v := ask(t, r)
	if c := v.First.Catches; len(c) != 1 || c[0].Group != "western-green-drake" {
		t.Errorf("catches %+v", c)
	}
	if from, to := v.First.From-today, v.First.To-today; from != 3 || to != 6 {
		t.Errorf("best days %d to %d, want 3 to 6", from, to)
	}
}
