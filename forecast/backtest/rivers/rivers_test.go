package rivers

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"golang.org/x/net/html"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/forecast/export"
)

// small is a plan of a few groups over nine seasons of two rivers.
func small(t testing.TB) (Plan, invented) {
	p, src := inventedPlan(t, 2, 2015, 2023)
	p.Members, p.Every = 20, 28
	for i := range p.Rivers {
		p.Rivers[i].Groups = []string{groups[0], groups[1], groups[2]}
	}
	return p, src
}

var groups = []string{"baetid-olive-spring", "western-green-drake", "pale-morning-dun"}

func everything(t *testing.T, o *Outcome) []byte {
	t.Helper()
	r := Judge(o)
	var b bytes.Buffer
	if err := r.WritePage(&b); err != nil {
		t.Fatal(err)
	}
	meta := export.Meta{Title: "test", Created: time.Unix(0, 0)}
	for _, f := range []export.Format{export.CSV, export.Parquet} {
		if _, err := export.WriteTable(&b, f, ScoreTable, meta, export.Rows(r.Scores)); err != nil {
			t.Fatal(err)
		}
		if _, err := export.WriteTable(&b, f, DateTable, meta, o.AllDates()); err != nil {
			t.Fatal(err)
		}
		if _, err := export.WriteTable(&b, f, CaseTable, meta, o.AllCases()); err != nil {
			t.Fatal(err)
		}
	}
	return b.Bytes()
}

func run(t *testing.T, p Plan, src Source) *Outcome {
	t.Helper()
	o, err := Run(t.Context(), p, src)
	if err != nil {
		t.Fatal(err)
	}
	return o
}

// once is the outcome of the small plan, computed by one worker.
var once = sync.OnceValues(func() (*Outcome, error) {
	p, src := small(nil)
	p.Workers = 1
	return Run(context.Background(), p, src)
})

func smallOutcome(t *testing.T) *Outcome {
	t.Helper()
	o, err := once()
	if err != nil {
		t.Fatal(err)
	}
	return o
}

func TestTheSameBytesForAnyNumberOfWorkersAndAfterAnInterruption(t *testing.T) {
	p, src := small(t)
	want := everything(t, smallOutcome(t))
	p.Workers = 3
	// Interrupted after a third, one slice damaged, then gone on.
	p.Dir = t.TempDir()
	part := p
	part.Last = 2017
	run(t, part, src)
	found, err := filepath.Glob(filepath.Join(p.Dir, "*.json"))
	if err != nil || len(found) != 6 {
		t.Fatalf("%d slices are kept, %v", len(found), err)
	}
	if err := os.WriteFile(found[0], []byte(`{"Key": "half a`), 0o600); err != nil {
		t.Fatal(err)
	}
	o := run(t, p, src)
	if o.Resumed != 5 {
		t.Errorf("%d slices were found, 5 are whole", o.Resumed)
	}
	if got := everything(t, o); !bytes.Equal(got, want) {
		t.Error("three workers, interrupted and gone on with, give other bytes than one at a stretch")
	}
	// A change of the plan finds nothing of it.
	p.Members, p.First = 21, 2023
	if o := run(t, p, src); o.Resumed != 0 {
		t.Errorf("%d slices of another plan were taken for ours", o.Resumed)
	}
}

// later is a source whose record differs from a date on.
type later struct {
	invented
	from forecast.Date
}

func (s later) Whole(ctx context.Context, r forecast.River) (forecast.Record, error) {
	rec, err := s.invented.Whole(ctx, r)
	for i := max(0, int(s.from-rec.Day0)); i < len(rec.Water); i++ {
		rec.Water[i], rec.Air[i], rec.Flow[i] = 30, 35, 1
	}
	return rec, err
}

func TestASeasonIsJudgedWithoutWhatCameAfterIt(t *testing.T) {
	p, src := small(t)
	p.First, p.Last = 2018, 2018
	strip := func(o *Outcome) string {
		for i := range o.Shards {
			o.Shards[i].Key = ""
		}
		b, err := json.Marshal(o)
		if err != nil {
			t.Fatal(err)
		}
		return string(b)
	}
	want := strip(run(t, p, src))
	if got := strip(run(t, p, later{src, date(2018, 12, 31)})); got != want {
		t.Error("readings after the season changed how it is judged")
	}
	if got := strip(run(t, p, later{src, date(2018, 5, 1)})); got == want {
		t.Error("other readings within the season changed nothing: the test sees nothing")
	}
}

// seen invents sightings of seasons that run early or late as a whole, around the
// dates that the model's own analysis of each season gives.
func seen(t *testing.T, p Plan, src Source) []forecast.Sighting {
	t.Helper()
	rng := rand.New(rand.NewPCG(5, 5))
	var out []forecast.Sighting
	for _, r := range p.Rivers {
		rec, err := src.Whole(t.Context(), r)
		if err != nil {
			t.Fatal(err)
		}
		for y := p.First - 1; y <= p.Last; y++ {
			o, err := rec.Cut(noon(r, date(y, 12, 31)), r.Zone).Outlook(r, p.Catalogue, forecast.Options{Members: 20, Ahead: 50, ChancesOnly: true})
			if err != nil {
				t.Fatal(err)
			}
			late := 10 * rng.NormFloat64()
			for _, s := range o.Stages {
				peak := float64(s.Window.Peak.P50) + late + 3*rng.NormFloat64()
				spread := float64(s.Window.End.P50-s.Window.Start.P50) / 2.56
				for range 12 {
					day := s.Calendar.Peak.P50 - 40 + forecast.Date(rng.IntN(80))
					hours := 1 + 3*rng.Float64()
					z := (float64(day) - peak) / spread
					out = append(out, forecast.Sighting{River: r.Slug, Group: s.Group, Stage: s.Stage, Day: day, Hours: hours,
						Amount: amountOf(rng.Float64() < -math.Expm1(-math.Exp(-z*z/2)*hours/2))})
				}
			}
		}
	}
	return out
}

func TestSightingsAreHeldAgainstTheChanceOfTheHoursWatched(t *testing.T) {
	p, src := small(t)
	p.First, p.Rivers = 2021, p.Rivers[:1]
	p.Sightings = seen(t, p, src)
	o := run(t, p, src)
	// Every sighting once at each lead, but for those whose issue lies before
	// anything is known.
	n := 0
	for _, s := range p.Sightings {
		if s.Day >= date(p.First, 1, 1) {
			n++
		}
	}
	var cases []Case
	for c := range o.AllCases() {
		cases = append(cases, c)
		if int(c.Day-c.Issue) != c.Lead {
			t.Fatalf("a lead of %d days from %s to %s", c.Lead, c.Issue, c.Day)
		}
	}
	if len(cases) != 5*n {
		t.Errorf("%d cases of %d sightings", len(cases), n)
	}
	// The sums of the cells are those of the cases.
	r := Judge(o)
	for _, s := range r.Of("group, river, lead") {
		var pr, ca []float64
		var y []bool
		for _, c := range cases {
			if c.Group == s.Group && c.Stage == s.Stage && c.River == s.River && c.Lead == s.Lead {
				pr, ca, y = append(pr, c.P), append(ca, c.Calendar), append(y, c.Seen)
			}
		}
		if len(y) != s.N || math.Abs(brier(pr, y)-s.Model) > 1e-12 || math.Abs(brier(ca, y)-s.Calendar) > 1e-12 {
			t.Fatalf("%s %s %s %d: %d sightings with scores %v and %v, by hand %d, %v and %v", s.Group, s.Stage, s.River, s.Lead,
				s.N, s.Model, s.Calendar, len(y), brier(pr, y), brier(ca, y))
		}
	}
	// What was seen earlier in a season tells whether it runs early or late.
	zero := r.Of("lead")[0]
	if !(zero.Skill.Value > 0) {
		t.Errorf("the model foresees its own sightings no better than the calendar: %v", zero.Skill)
	}
	for _, x := range r.Sentences {
		if strings.Contains(x, "consistency") {
			t.Errorf("judged by sightings, but: %s", x)
		}
	}
}

func TestGroupsWhoseSeasonIsOverNeedNotBeIssuedAgain(t *testing.T) {
	p, src := inventedPlan(t, 1, 2021, 2022)
	p.Members, p.Every = 20, 14
	short := run(t, p, src)
	p.whole = true
	full := run(t, p, src)
	for i := range full.Shards {
		a, b := short.Shards[i], full.Shards[i]
		if diff := cmp.Diff(b.Dates, a.Dates); diff != "" {
			t.Errorf("%s %d: dates differ: %s", b.River, b.Season, diff)
		}
		if len(a.Cells) != len(b.Cells) {
			t.Fatalf("%s %d: %d cells, %d in full", b.River, b.Season, len(a.Cells), len(b.Cells))
		}
		for j, x := range b.Cells {
			y := a.Cells[j]
			if x.N != y.N || math.Abs(x.Model-y.Model) > 1e-6*float64(x.N) || x.Calendar != y.Calendar || x.Last != y.Last {
				t.Errorf("%s %d: %+v in full, %+v", b.River, b.Season, x, y)
			}
		}
	}
}

// Outlooks with the chances of the days that scores read give the bytes of those with all days.
func TestScoresAreTheSameBytesOfOnlyTheDaysRead(t *testing.T) {
	p, src := small(t)
	p.First, p.Last, p.allDays = 2021, 2023, true
	want := everything(t, run(t, p, src))
	p.allDays = false
	if !bytes.Equal(everything(t, run(t, p, src)), want) {
		t.Error("chances of days that nothing reads move a score")
	}
}

func TestAFewSeasonsProveNothing(t *testing.T) {
	p, src := small(t)
	p.First, p.Rivers = 2020, p.Rivers[:1]
	r := Judge(run(t, p, src))
	all := strings.Join(r.Sentences, " ")
	if !strings.Contains(all, "not demonstrated") || !strings.Contains(all, "consistency, not skill") {
		t.Errorf("four seasons without sightings: %s", all)
	}
	for _, s := range r.Scores {
		if s.Verdict != "not demonstrated: too few seasons" {
			t.Fatalf("%s %s: %s", s.Scope, s.Group, s.Verdict)
		}
	}
}

func TestTheCalendarsIntervalIsOfSeasonsNotOfDays(t *testing.T) {
	r := Judge(smallOutcome(t))
	all := r.Of("all")[0]
	if all.Seasons != 9 || all.Skill.Seasons != 9 {
		t.Errorf("%d seasons, resampled %d", all.Seasons, all.Skill.Seasons)
	}
	// Last year's date is one of the year before, moved by a year.
	if !(all.ErrorLast > all.Error && all.ErrorLast < 30) {
		t.Errorf("last year's dates are off by %v days", all.ErrorLast)
	}
	if !(all.Skill.Low < all.Skill.Value && all.Skill.Value < all.Skill.High) {
		t.Errorf("interval %v", all.Skill)
	}
}

func TestThePageIsWholeAndItsChartsAreNamed(t *testing.T) {
	var b bytes.Buffer
	r := Judge(smallOutcome(t))
	if err := r.WritePage(&b); err != nil {
		t.Fatal(err)
	}
	if dir := os.Getenv("ECLOSE_KEEP"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, "report.html"), b.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	if strings.Contains(b.String(), "NaN") || strings.Contains(b.String(), "Inf") {
		t.Error("the page shows a number that is none")
	}
	charts := strings.Count(b.String(), "<svg")
	if charts != 4 || strings.Count(b.String(), "<title>") != charts+1 || strings.Count(b.String(), "<desc>") != charts {
		t.Errorf("%d charts, not all with title and description", charts)
	}
	for _, label := range []string{"lead (days", "(days)", "(%)"} {
		if !strings.Contains(b.String(), label) {
			t.Errorf("no axis is labelled %q", label)
		}
	}
	for z := html.NewTokenizer(&b); ; {
		if z.Next() == html.ErrorToken {
			if !errors.Is(z.Err(), io.EOF) {
				t.Error(z.Err())
			}
			return
		}
	}
}

func TestPlansThatCannotBeAreRefused(t *testing.T) {
	for name, spoil := range map[string]func(*Plan){
		"no river":         func(p *Plan) { p.Rivers = nil },
		"seasons reversed": func(p *Plan) { p.First = p.Last + 1 },
		"no lead":          func(p *Plan) { p.Leads = nil },
		"a negative lead":  func(p *Plan) { p.Leads = []int{-1} },
		"a lead of a year": func(p *Plan) { p.Leads = []int{365} },
		"no clock":         func(p *Plan) { p.Now = time.Time{} },
		"two members":      func(p *Plan) { p.Members = 2 },
	} {
		p, src := small(t)
		spoil(&p)
		if _, err := Run(t.Context(), p, src); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}

func TestASeasonThatRunsIsNotJudgedByItself(t *testing.T) {
	p, src := small(t)
	p.First, p.Now = 2023, time.Date(2023, 8, 1, 0, 0, 0, 0, time.UTC)
	o := run(t, p, src)
	for _, s := range o.Shards {
		if s.Skipped == "" || len(s.Cells) > 0 {
			t.Errorf("%s %d was judged before its end", s.River, s.Season)
		}
	}
	if text := strings.Join(Judge(o).Sentences, " "); !strings.Contains(text, "not over") {
		t.Errorf("the report says: %s", text)
	}
	var page bytes.Buffer
	if err := Judge(o).WritePage(&page); err != nil {
		t.Fatal(err)
	}
	for _, r := range p.Rivers {
		if name := r.Slug + " 2023"; !strings.Contains(page.String(), name) {
			t.Errorf("the page does not name %s among what is left out", name)
		}
	}
}

// outlooks is a few outlooks as an archive would keep them.
type outlooks []*forecast.Outlook

var errNone = errors.New("none")

func (s outlooks) Latest(_ context.Context, river string, asOf time.Time) (*forecast.Outlook, error) {
	for _, o := range slices.Backward(s) {
		if o.River == river && !o.IssuedAt.After(asOf) {
			return o, nil
		}
	}
	return nil, errNone
}

func TestIssuedOutlooksAreJudgedAsTheyWereIssued(t *testing.T) {
	p, src := small(t)
	p.Rivers, p.First = p.Rivers[:1], 2023
	r := p.Rivers[0]
	rec, err := src.Whole(t.Context(), r)
	if err != nil {
		t.Fatal(err)
	}
	var kept outlooks
	for _, d := range []forecast.Date{date(2023, 5, 1), date(2023, 5, 8)} {
		o, err := rec.Cut(noon(r, d), r.Zone).Outlook(r, p.Catalogue, forecast.Options{Members: 20})
		if err != nil {
			t.Fatal(err)
		}
		kept = append(kept, o)
	}
	see := func(month time.Month, day int, hours float64) forecast.Sighting {
		return forecast.Sighting{River: r.Slug, Group: groups[2], Stage: forecast.Emergence, Day: date(2023, month, day), Amount: diary.Few, Hours: hours}
	}
	// Of the 8th: leads 0 and 7; the 14th: lead 7 from the 1st (six days old by
	// then is the 7th); the 20th of June is too late for either but for 60 days.
	p.Sightings = []forecast.Sighting{see(5, 8, 2), see(5, 14, 4), see(8, 20, 2)}
	p.Leads = []int{0, 7}
	o, missing, err := ScoreIssued(t.Context(), p, kept, errNone)
	if err != nil {
		t.Fatal(err)
	}
	if missing != 1 {
		t.Errorf("%d sightings without an outlook, want the one of August", missing)
	}
	type got struct {
		day, issue string
		lead       int
	}
	var cases []got
	for c := range o.AllCases() {
		cases = append(cases, got{c.Day.String(), c.Issue.String(), c.Lead})
		st := stageIn(kept, c)
		d, _ := st.On(c.Day)
		if want := 1 - math.Pow(1-d.P, c.Hours/2); math.Abs(c.P-want) > 1e-12 {
			t.Errorf("%s: a chance of %v, %v was issued", c.Day, c.P, want)
		}
	}
	want := []got{{"2023-05-08", "2023-05-08", 0}, {"2023-05-08", "2023-05-01", 7}, {"2023-05-14", "2023-05-08", 0}, {"2023-05-14", "2023-05-01", 7}}
	if diff := cmp.Diff(want, cases, cmp.AllowUnexported(got{})); diff != "" {
		t.Error(diff)
	}
}

func TestAnOutlookThatKnewTheSightingIsNotJudgedByIt(t *testing.T) {
	p, src := small(t)
	p.Rivers, p.First, p.Leads = p.Rivers[:1], 2023, []int{0}
	r := p.Rivers[0]
	rec, err := src.Whole(t.Context(), r)
	if err != nil {
		t.Fatal(err)
	}
	var kept outlooks
	for _, d := range []forecast.Date{date(2023, 5, 7), date(2023, 5, 8)} { // issued at noon
		o, err := rec.Cut(noon(r, d), r.Zone).Outlook(r, p.Catalogue, forecast.Options{Members: 20})
		if err != nil {
			t.Fatal(err)
		}
		kept = append(kept, o)
	}
	for name, c := range map[string]struct {
		recorded time.Time
		want     forecast.Date
	}{
		"written down before noon": {noon(r, date(2023, 5, 8)).Add(-time.Hour), date(2023, 5, 7)},
		"in the evening":           {noon(r, date(2023, 5, 8)).Add(7 * time.Hour), date(2023, 5, 8)},
		"years later":              {noon(r, date(2025, 5, 8)), date(2023, 5, 8)},
		"nobody knows when":        {time.Time{}, date(2023, 5, 8)},
	} {
		p.Sightings = []forecast.Sighting{{River: r.Slug, Group: groups[2], Stage: forecast.Emergence, Day: date(2023, 5, 8), Amount: diary.Few, Hours: 2, Recorded: c.recorded}}
		o, missing, err := ScoreIssued(t.Context(), p, kept, errNone)
		if err != nil || missing != 0 {
			t.Fatalf("%s: %d without an outlook, %v", name, missing, err)
		}
		for got := range o.AllCases() {
			if got.Issue != c.want {
				t.Errorf("%s: judged by the outlook of %s, want that of %s", name, got.Issue, c.want)
			}
		}
	}
}

func stageIn(s outlooks, c Case) *forecast.StageOutlook {
	for _, o := range s {
		for i := range o.Stages {
			if o.IssueDate() == c.Issue && o.Stages[i].Group == c.Group && o.Stages[i].Stage == c.Stage {
				return &o.Stages[i]
			}
		}
	}
	return nil
}

func amountOf(seen bool) diary.Amount {
	if seen {
		return diary.Few
	}
	return diary.None
}

// brier is the mean squared distance of chance and outcome, by its definition.
func brier(p []float64, y []bool) float64 {
	sum := 0.0
	for i, v := range p {
		if y[i] {
			v = 1 - v
		}
		sum += v * v
	}
	return sum / float64(len(p))
}
