package forecast

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/eclose/forecast/records"
	"example.org/eclose/model/insects"
)

// openCountry invents open records of a region's mayflies around the beck: six past
// seasons that run some days later than the catalogue says, and the one under way.
type openCountry struct {
	later  float64 // usual dates, beside the catalogue's, days
	season float64 // this season, beside those
	far    string  // a group that is not found near the beck
}

func (x openCountry) records(t *testing.T, issue time.Time) *records.Open {
	t.Helper()
	rng := rand.New(rand.NewPCG(19, 4))
	out := &records.Open{}
	groups := 0
	for _, g := range catalogue(t).Forecastable(insects.Rockies) {
		w, ok := g.Window(insects.Rockies, insects.EggLaying)
		if groups == 10 {
			break
		}
		if g.Order != "Ephemeroptera" || !ok || w.AllYear || w.Start < 1 || w.End > 365 {
			continue
		}
		groups++
		for year := issue.Year() - 6; year <= issue.Year(); year++ {
			off := x.later + 4*rng.NormFloat64()
			if year == issue.Year() {
				off = x.later + x.season
			}
			for range 25 {
				day := DateOf(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)) + Date(math.Round(float64(w.Median)+off+0.4*w.SpreadSDDays()*rng.NormFloat64())) - 1
				r := records.Dated{Group: g.Key, Stage: records.EggLaying, Region: insects.Rockies, Day: day, Published: day.Time().Add(30 * time.Hour)}
				r.LatDeg, r.LonDeg = beck.Lat+0.1*rng.NormFloat64(), beck.Lon+0.1*rng.NormFloat64()
				if g.Key == x.far || rng.IntN(2) == 0 {
					r.LatDeg += 1.5
				}
				if day < DateOf(issue) {
					out.Records = append(out.Records, r)
				}
			}
		}
	}
	for year := issue.Year() - 6; year <= issue.Year(); year++ {
		for d := range Date(365) {
			if day := date1(year) + d; day < DateOf(issue) {
				out.Effort = append(out.Effort, records.Looked{Region: insects.Rockies, Day: day, N: 50})
			}
		}
	}
	return out
}

func outlookWith(t *testing.T, rec Record, opt Options) *Outlook {
	t.Helper()
	opt.Members = 40
	o, err := rec.Outlook(beck, catalogue(t), opt)
	if err != nil {
		t.Fatal(err)
	}
	return o
}

func text(t *testing.T, v any) string {
	t.Helper()
	b, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

// laterBy is the mean of how many days the peaks of some stages lie later than
// another outlook's.
func laterBy(a, b *Outlook, of func(StageOutlook) bool) (days float64, n int) {
	for i := range a.Stages {
		x, y := &a.Stages[i], &b.Stages[i]
		if of(*x) && x.Window.Peak.P50 != 0 && y.Window.Peak.P50 != 0 {
			days += float64(x.Window.Peak.P50 - y.Window.Peak.P50)
			n++
		}
	}
	return days / float64(max(1, n)), n
}

func TestOpenRecordsReplaceTheBookAndCanBeLeftOut(t *testing.T) {
	rec := beckRecord(t, midMay)
	plain := outlookWith(t, rec, Options{})
	open := openCountry{later: 9}.records(t, midMay)
	dated := func(s StageOutlook) bool { return s.Records != nil && s.Records.Used && s.Grade.Grade() == Recorded }
	// Before the season under way has any record, only the usual dates move.
	past := &records.Open{Effort: open.Effort, Records: slices.DeleteFunc(slices.Clone(open.Records), func(r records.Dated) bool { return r.Day >= date1(midMay.Year()) })}
	o := outlookWith(t, rec, Options{Open: past})
	later, n := laterBy(o, plain, dated)
	if n < 8 || later < 7 || later > 11 {
		t.Errorf("%d stages dated by records, on average %.1f days later; the records say 9", n, later)
	}
	for _, s := range o.Stages {
		if !dated(s) {
			continue
		}
		if s.Grade != evidenceOf(Recorded, s.Records.Records) || s.Records.Book.Median == 0 || s.Records.Years != 6 {
			t.Errorf("%s %s: grade %q, window %+v", s.Group, s.Stage, s.Grade, s.Records)
		}
		if !slices.ContainsFunc(s.Reasons, func(r Remark) bool { return r.Code == ByRecords && strings.Contains(r.String(), "the catalogue says") }) {
			t.Errorf("%s %s: no reason names the records beside the catalogue", s.Group, s.Stage)
		}
	}
	if !slices.ContainsFunc(o.Entered, func(e Entered) bool { return e.Kind == Records && e.Use == ForWindow && e.Sightings == 150 }) {
		t.Errorf("entered: %+v", o.Entered)
	}
	if got := text(t, outlookWith(t, rec, Options{Open: open, Without: []SightingKind{Records}})); got != text(t, plain) {
		t.Error("records that are left out still change the outlook")
	}
	if got := text(t, outlookWith(t, rec, Options{Open: &records.Open{}})); got != text(t, plain) {
		t.Error("no record at all changes the outlook")
	}
}

func TestOpenRecordsOfTheSeasonMoveIt(t *testing.T) {
	rec := beckRecord(t, midMay)
	usual := outlookWith(t, rec, Options{Open: openCountry{}.records(t, midMay)})
	for _, days := range []float64{-9, 9} {
		o := outlookWith(t, rec, Options{Open: openCountry{season: days}.records(t, midMay)})
		ahead := func(s StageOutlook) bool { return s.Window.Peak.P50 > rec.Issue && s.Window.Peak.P50 < rec.Issue+90 }
		if moved, n := laterBy(o, usual, ahead); n < 10 || moved*days < 0.5*math.Abs(days) || math.Abs(moved) > math.Abs(days) {
			t.Errorf("a season %.0f days late by records: %d stages ahead move by %.1f days", days, n, moved)
		}
		if !slices.ContainsFunc(o.Notes, func(r Remark) bool { return r.Code == SeasonSoFar && r.Season.Days*days > 0 }) {
			t.Errorf("%.0f days: notes %v", days, o.Notes)
		}
		if !slices.ContainsFunc(o.Entered, func(e Entered) bool { return e.Use == ForSeason }) {
			t.Errorf("%.0f days: entered %v", days, o.Entered)
		}
		if !slices.ContainsFunc(o.Stages, func(s StageOutlook) bool {
			return slices.ContainsFunc(s.Reasons, func(r Remark) bool { return r.Code == MovedBy && strings.Contains(r.String(), "open record") })
		}) {
			t.Errorf("%.0f days: no reason names the records that moved a date", days)
		}
	}
}

func TestWhatOthersWouldHaveShownIsLeftOffLists(t *testing.T) {
	key := ""
	c := catalogue(t)
	for _, g := range c.Forecastable(insects.Rockies) {
		if w, ok := g.Window(insects.Rockies, insects.EggLaying); ok && g.Order == "Ephemeroptera" && !w.AllYear && w.Start > 0 && w.End < 366 && g.Habitat == insects.Riffle {
			key = g.Key
			break
		}
	}
	if key == "" {
		t.Fatal("the catalogue has no mayfly of riffles in the Rockies")
	}
	rec := beckRecord(t, midMay)
	elsewhere := func(opt Options) bool {
		o := outlookWith(t, rec, opt)
		i := slices.IndexFunc(o.Stages, func(s StageOutlook) bool { return s.Group == key })
		return o.Stages[i].Elsewhere
	}
	open := openCountry{far: key}.records(t, midMay)
	if elsewhere(Options{}) || !elsewhere(Options{Open: open}) || elsewhere(Options{Open: openCountry{}.records(t, midMay)}) {
		t.Error("a group that nobody records near by stays on the list, or one that they do is left off")
	}
	if elsewhere(Options{Open: open, Sightings: []Sighting{saw("2024-07-01", key, Emergence, "few")}}) {
		t.Error("a sighting here does not put it back")
	}
}

// No record of the day of issue or later, none that was published after it, and no
// effort of later days changes a byte of an outlook.
func TestNoOpenRecordAfterTheIssueEnters(t *testing.T) {
	rec := beckRecord(t, midMay)
	open := openCountry{later: 5, season: 4}.records(t, midMay)
	before := text(t, outlookWith(t, rec, Options{Open: open}))
	with := func(change func(o *records.Open)) string {
		o := &records.Open{Records: slices.Clone(open.Records), Effort: slices.Clone(open.Effort)}
		change(o)
		return text(t, outlookWith(t, rec, Options{Open: o}))
	}
	add := func(move func(r *records.Dated)) func(o *records.Open) {
		return func(o *records.Open) {
			for _, r := range open.Records {
				move(&r)
				o.Records = append(o.Records, r)
			}
		}
	}
	issue := DateOf(midMay)
	for what, change := range map[string]func(*records.Open){
		"records of the day":               add(func(r *records.Dated) { r.Day, r.Published = issue, time.Time{} }),
		"records of later days":            add(func(r *records.Dated) { r.Day, r.Published = issue+1+r.Day%200, time.Time{} }),
		"past records published after":     add(func(r *records.Dated) { r.Day, r.Published = r.Day-9, midMay.Add(time.Hour) }),
		"past records kept after, no date": add(func(r *records.Dated) { r.Day, r.Published, r.Stored = r.Day-9, time.Time{}, midMay.Add(time.Hour) }),
		"effort of the day and of later days": func(o *records.Open) {
			o.Effort = append(o.Effort, records.Looked{Region: insects.Rockies, Day: issue, N: 9000}, records.Looked{Region: insects.Rockies, Day: issue + 9, N: 9000})
		},
	} {
		if with(change) != before {
			t.Errorf("%s changed the outlook", what)
		}
	}
	// The test must be able to fail.
	for what, change := range map[string]func(*records.Open){
		"past records": add(func(r *records.Dated) { r.Day -= 9 }),
		"effort of before": func(o *records.Open) {
			o.Effort = append(o.Effort, records.Looked{Region: insects.Rockies, Day: issue - 9, N: 9000})
		},
	} {
		if with(change) == before {
			t.Errorf("%s changed nothing: the test sees nothing", what)
		}
	}
}
