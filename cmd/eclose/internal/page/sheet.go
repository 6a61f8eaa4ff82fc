package page

import (
	"bytes"
	"cmp"
	"fmt"
	"html/template"
	"io"
	"math"
	"net/http"
	"slices"
	"sort"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/chart"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// Sheet is a hand-out of a river's season: one sheet of paper, the picture on
// its front, dates, hours, grades and sources on its back. It is a file of its
// own that loads nothing.
type Sheet struct {
	River     forecast.River
	Outlook   *forecast.Outlook
	Flows     *trip.Flows // nil: no limits are known
	Catalogue *insects.Catalogue
	Sightings []diary.Sighting  // of the river; nil: none
	Notice    string            // at the head; empty: none
	Units     wading.Units      // that come first
	Owners    map[string]string // of the data of feeds, where that is not the agency
}

type sheetGroup struct {
	seasonGroup
	Latin    string
	Dates    string
	Days     [2]sheetStage // emergence, egg-laying
	Fly      string
	Refs     string // numbers of its sources
	Pictured template.HTML
}

// sheetStage is the likeliest day of a stage.
type sheetStage struct {
	Day, P, Hours string
	None          bool // no event on the water
	Seen          []string
}

// sheetGroups is how many groups two sides of one sheet of paper hold in print
// that can be read.
const sheetGroups = 16

// sheetFlowDays is of how many days the sheet tells the chance of fishable flow. Our own.
const sheetFlowDays = 10

// worthiest keeps the groups that mean most to an angler, in the order in which
// they came; it says whether some fell out.
func worthiest(groups []seasonGroup, c *insects.Catalogue, most int) ([]seasonGroup, bool) {
	if len(groups) <= most {
		return groups, false
	}
	worth := func(g seasonGroup) int {
		best := math.MaxInt
		if cg, ok := c.Group(g.Key); ok {
			for _, st := range g.Stages {
				if st.Fishable {
					best = min(best, cg.Worth(insects.Stage(st.Stage)))
				}
			}
		}
		return best
	}
	ranked := slices.Clone(groups)
	sort.SliceStable(ranked, func(i, j int) bool { return cmp.Compare(worth(ranked[i]), worth(ranked[j])) < 0 })
	keep := map[string]bool{}
	for _, g := range ranked[:most] {
		keep[g.Key] = true
	}
	return slices.DeleteFunc(slices.Clone(groups), func(g seasonGroup) bool { return !keep[g.Key] }), true
}

// sheetData is what the template of a sheet gets.
type sheetData struct {
	Name, Region, Months string
	Style                template.CSS
	Axis                 template.HTML
	O                    *forecast.Outlook
	Stamp                string
	Best                 []string // weeks to be there
	Groups               []sheetGroup
	RowMM                string
	Sources              []insects.Source
	Limits               []string
	Caution, Credits     string
	Fewer                bool // groups that seldom matter are left out
	Notice               string
	Flow                 string // chance of fishable flow by day; empty: none
}

// sheetDays is how many days the picture of a sheet has.
const sheetDays = 365

// Write writes the sheet as HTML, ready to be printed on A4 or Letter.
func (s Sheet) Write(w io.Writer) error {
	o := s.Outlook
	issue := o.IssueDate()
	from := o.YearStart()
	if issue-from >= 273 { // this year's season is over: show the next
		from = issue - 15
	}
	region := regionOf(s.River)
	picture, groups := seasonOf(o, s.Catalogue, region, from, sheetDays, issue, sorted(s.Sightings))
	here := slices.DeleteFunc(slices.Clone(groups), func(g seasonGroup) bool { return g.Elsewhere != "" })
	if len(here) == 0 {
		here = groups
	}
	data := sheetData{Name: s.River.Name, Region: region.Words(), Style: template.CSS(chart.Style), O: o, Caution: forecast.StandingCaution, Credits: Credits([]forecast.River{s.River}, s.Owners), Notice: s.Notice, //nolint:gosec // our own
		Months: from.Time().Format("January 2006") + " to " + (from + sheetDays - 1).Time().Format("January 2006"), Stamp: head{O: o}.Stamp()}
	data.Best, picture.Boxes = s.bestWeeks(from)
	data.Flow = o.Flow.FishableByDay(issue, sheetFlowDays, s.Units)
	data.Axis = template.HTML(picture.Axis()) //nolint:gosec // our own drawing
	here, data.Fewer = worthiest(here, s.Catalogue, sheetGroups)
	if s.Flows != nil && s.Flows.Limits != nil {
		l := s.Flows.Limits
		for _, x := range []struct {
			words string
			q     float64
		}{{"take care", l.CareM3s}, {"better not to wade", l.BetterNotM3s}, {"keep out of the water", l.KeepOutM3s}} {
			data.Limits = append(data.Limits, x.words+" from "+s.Units.Flow(x.q))
		}
	}
	var numbers map[string]int
	numbers, data.Sources = s.sources(here)
	rows := map[string]int{}
	for i, l := range picture.Lines {
		rows[forecast.UpperFirst(l.Name)] = i
	}
	for _, g := range here {
		x := s.sheetGroup(g, numbers, from)
		x.Row = template.HTML(picture.Row(rows[g.Name])) //nolint:gosec // our own drawing, its names escaped
		data.Groups = append(data.Groups, x)
	}
	// The rows share the height that a page of the smaller paper, Letter, has for them.
	front := 176.0
	if data.Flow != "" {
		front -= 14
	}
	data.RowMM = fmt.Sprintf("%.2f", min(12, front/float64(max(1, len(here)))))
	if err := templates.ExecuteTemplate(w, "sheet.html", data); err != nil {
		return fmt.Errorf("writing the sheet of %s: %w", s.River.Name, err)
	}
	return nil
}

// stayDays is the length of the stays that a sheet names. Our own.
const stayDays = 14

// bestWeeks names the best two weeks still to come, and the next best a week apart,
// and where they lie in a picture.
func (s Sheet) bestWeeks(from forecast.Date) (words []string, boxes [][2]int) {
	issue := s.Outlook.IssueDate()
	t, err := trip.Plan(trip.Ask{From: issue, To: from + sheetDays - 1, Days: stayDays}, []trip.River{{Outlook: s.Outlook, Flows: s.Flows}}, s.Catalogue.Group)
	if err != nil {
		return nil, nil // a sheet without them is still a sheet
	}
	for _, x := range []*trip.Stay{&t.First, t.Second} {
		if x == nil || len(x.Best()) == 0 {
			continue
		}
		var names []string
		for _, l := range x.Best() {
			if !slices.Contains(names, l.Name) {
				names = append(names, l.Name)
			}
		}
		words = append(words, fmt.Sprintf("%s: %s; %s a day that you see at least one (calendar %s)", dateSpan(x.From, x.To), strings.Join(names, ", "), forecast.Percent(x.Chance), forecast.Percent(x.Calendar)))
		boxes = append(boxes, [2]int{int(x.From - from), int(x.To - from)})
	}
	return words, boxes
}

// sources numbers the sources behind some groups.
func (s Sheet) sources(groups []seasonGroup) (number map[string]int, list []insects.Source) {
	var codes []string
	for _, g := range groups {
		if cg, ok := s.Catalogue.Group(g.Key); ok {
			codes = append(codes, cg.Sources()...)
		}
	}
	slices.Sort(codes)
	number = map[string]int{} // of the source that a code stands for
	for _, c := range codes {
		src, ok := s.Catalogue.Source(c)
		if !ok || number[c] > 0 {
			continue
		}
		if number[src.Code] == 0 {
			list = append(list, src)
			number[src.Code] = len(list)
		}
		number[c] = number[src.Code]
	}
	return number, list
}

// sheetGroup is a group's row: of each stage the likeliest day, its hours, the fly.
func (s Sheet) sheetGroup(g seasonGroup, number map[string]int, from forecast.Date) sheetGroup {
	x := sheetGroup{seasonGroup: g, Days: [2]sheetStage{{None: true}, {None: true}}}
	var flies []string
	cg, _ := s.Catalogue.Group(g.Key)
	for _, line := range g.Stages {
		k := 1
		if line.Up {
			k = 0
		}
		x.Days[k].Seen = line.Seen
		if !line.Fishable {
			continue
		}
		if x.Dates == "" {
			x.Dates = dateSpan(line.Window.Start.P50, line.Window.End.P50)
			if line.AllYear {
				x.Dates = "all year"
			}
		}
		d, p := s.likeliest(g.Key, line.Stage, from)
		if d == 0 { // no day of it within the sheet's year
			continue
		}
		x.Days[k] = sheetStage{Day: d.Short(), P: forecast.Percent(p), Hours: line.Hours.Words(), Seen: line.Seen}
		if fly := trip.PatternOf(cg, line.Stage).Words(); fly != "" && !slices.Contains(flies, fly) {
			flies = append(flies, fly)
		}
	}
	x.Fly = strings.Join(flies, "; ")
	if cg == nil {
		return x
	}
	if plan, ok := planOf(cg); ok {
		x.Pictured = plan.svg()
	}
	x.Latin = strings.Join(cg.Genera, ", ")
	var refs []int
	for _, c := range cg.Sources() {
		if n := number[c]; n > 0 && !slices.Contains(refs, n) {
			refs = append(refs, n)
		}
	}
	slices.Sort(refs)
	x.Refs = strings.Trim(strings.ReplaceAll(fmt.Sprint(refs), " ", ", "), "[]")
	return x
}

// likeliest is the likeliest day of a stage within a sheet's year.
func (s Sheet) likeliest(group string, stage forecast.Stage, from forecast.Date) (best forecast.Date, p float64) {
	for i := range s.Outlook.Stages {
		st := &s.Outlook.Stages[i]
		if st.Group != group || st.Stage != stage {
			continue
		}
		for _, d := range st.Days.All() {
			if d.Date >= from && d.Date < from+sheetDays && (best == 0 || d.P > p) {
				best, p = d.Date, d.P
			}
		}
	}
	return best, p
}

// sheet hands the sheet over to be saved: its style stands inside, which no page
// of ours may have.
func (s *site) sheet(r *http.Request) (*answer, error) {
	river, err := s.asksForRiver(r)
	if err != nil {
		return nil, err
	}
	_, st, err := s.whole(r, river)
	if err != nil {
		return nil, err
	}
	if st == nil {
		return nil, errNotFound
	}
	sheet := Sheet{River: river, Outlook: st.Outlook, Flows: st.Flows, Notice: s.Notice, Owners: s.Owners, Catalogue: s.Catalogue, Units: unitsOf(r.Context())}
	if s.Diary != nil {
		if sheet.Sightings, err = s.Diary.List(r.Context(), diary.Filter{River: river.Slug}); err != nil {
			return nil, fmt.Errorf("reading the diary of %s: %w", river.Slug, err)
		}
	}
	var b bytes.Buffer
	if err := sheet.Write(&b); err != nil {
		return nil, err
	}
	return &answer{raw: b.Bytes(), kind: "text/html; charset=utf-8", file: river.Slug + "-season.html"}, nil
}
