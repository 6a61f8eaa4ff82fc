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
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/chart"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// Sheet is a hand-out of a river's season: one sheet of paper, the picture on
// its front, dates, hours, grades and sources on its back. It is a file of its
// own that loads nothing.
type Sheet struct {
	River     forecast.River
	Outlook   *forecast.Outlook
	Catalogue *insects.Catalogue
	Sightings []diary.Sighting  // of the river; nil: none
	Notice    string            // at the head; empty: none
	Units     wading.Units      // that come first
	Owners    map[string]string // of the data of feeds, where that is not the agency
}

type sheetGroup struct {
	seasonGroup
	Latin string
	Refs  string // numbers of its sources
}

// sheetGroups is how many groups two sides of one sheet of paper hold in print
// that can be read.
const sheetGroups = 32

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
	slices.SortStableFunc(ranked, func(a, b seasonGroup) int { return cmp.Compare(worth(a), worth(b)) })
	keep := map[string]bool{}
	for _, g := range ranked[:most] {
		keep[g.Key] = true
	}
	return slices.DeleteFunc(slices.Clone(groups), func(g seasonGroup) bool { return !keep[g.Key] }), true
}

// Write writes the sheet as HTML, ready to be printed on A4 or Letter.
func (s Sheet) Write(w io.Writer) error {
	o := s.Outlook
	issue := o.IssueDate()
	from := o.YearStart()
	if issue-from >= 273 { // this year's season is over: show the next
		from = issue - 15
	}
	const days = 365
	region := regionOf(s.River)
	picture, groups := seasonOf(o, s.Catalogue, region, from, days, issue, sorted(s.Sightings))
	data := struct {
		Name, Region, Months string
		Style                template.CSS
		Axis                 template.HTML
		O                    *forecast.Outlook
		Groups               []sheetGroup
		RowMM, TablePT       string
		Sources              []insects.Source
		Caution, Credits     string
		Fewer                bool // groups that seldom matter are left out
		Notice               string
		Flow                 string // chance of fishable flow by day; empty: none
	}{Name: s.River.Name, Region: region.Words(), Style: template.CSS(chart.Style), Axis: template.HTML(picture.Axis()), O: o, Caution: o.Caution, Credits: creditsOf([]forecast.River{s.River}, s.Owners), Notice: s.Notice} //nolint:gosec // our own
	data.Flow = o.Flow.FishableByDay(issue, sheetFlowDays, s.Units)
	data.Months = from.Time().Format("January 2006") + " to " + (from + days - 1).Time().Format("January 2006")
	groups, data.Fewer = worthiest(groups, s.Catalogue, sheetGroups)
	var codes []string
	for _, g := range groups {
		if cg, ok := s.Catalogue.Group(g.Key); ok {
			codes = append(codes, cg.Sources()...)
		}
	}
	slices.Sort(codes)
	number := map[string]int{} // of the source that a code stands for
	for _, c := range codes {
		src, ok := s.Catalogue.Source(c)
		if !ok || number[c] > 0 {
			continue
		}
		if number[src.Code] == 0 {
			data.Sources = append(data.Sources, src)
			number[src.Code] = len(data.Sources)
		}
		number[c] = number[src.Code]
	}
	for _, g := range groups {
		x := sheetGroup{seasonGroup: g}
		if cg, ok := s.Catalogue.Group(g.Key); ok {
			x.Latin = strings.Join(cg.Genera, ", ")
			var refs []int
			for _, c := range cg.Sources() {
				if n := number[c]; n > 0 && !slices.Contains(refs, n) {
					refs = append(refs, n)
				}
			}
			slices.Sort(refs)
			x.Refs = strings.Trim(strings.ReplaceAll(fmt.Sprint(refs), " ", ", "), "[]")
		}
		data.Groups = append(data.Groups, x)
	}
	// The rows share the height that a page of the smaller paper, Letter, has for
	// them: 205 mm on the front, 176 mm in the table, where a row has two lines and
	// some have three. With many more groups than sheetGroups the back becomes two pages,
	// since nobody reads smaller print.
	n := float64(max(1, len(groups)))
	front := 205.0
	if data.Flow != "" {
		front -= 9
	}
	const mmPerPT, line = 0.353, 1.13
	data.RowMM = fmt.Sprintf("%.2f", min(14, front/n))
	data.TablePT = fmt.Sprintf("%.1f", max(5.4, min(8, (176/n-0.64)/(2.25*line*mmPerPT))))
	if err := templates.ExecuteTemplate(w, "sheet.html", data); err != nil {
		return fmt.Errorf("writing the sheet of %s: %w", s.River.Name, err)
	}
	return nil
}

// sheet hands the sheet over to be saved: its style stands inside, which no page
// of ours may have.
func (s *site) sheet(r *http.Request) (*answer, error) {
	river, ok := s.river(r.PathValue("slug"))
	if !ok {
		return nil, errNotFound
	}
	st, err := s.Data.State(r.Context(), river.Slug)
	if err != nil {
		return nil, fmt.Errorf("reading the state of %s: %w", river.Slug, err)
	}
	if st == nil || st.Outlook == nil {
		return nil, errNotFound
	}
	sheet := Sheet{River: river, Outlook: st.Outlook, Catalogue: s.Catalogue, Units: unitsOf(r.Context())}
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
