package page

import (
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/chart"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/model/insects"
)

// Sheet is a hand-out of a river's season: one sheet of paper, the picture on
// its front, dates, hours, grades and sources on its back. It is a file of its
// own that loads nothing.
type Sheet struct {
	River     forecast.River
	Outlook   *forecast.Outlook
	Catalogue *insects.Catalogue
	Sightings []diary.Sighting // of the river; nil: none
}

type sheetGroup struct {
	seasonGroup
	Latin string
	Codes string
}

// Write writes the sheet as HTML, ready to be printed on A4 or Letter.
func (s Sheet) Write(w io.Writer) error {
	o := s.Outlook
	issue := o.IssueDate()
	from := forecast.DateOf(time.Date(issue.Time().Year(), 1, 1, 0, 0, 0, 0, time.UTC))
	if issue.Time().Month() >= time.October { // this year's season is over: show the next
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
		RowMM                string
		Sources              []insects.Source
		Caution              string
	}{Name: s.River.Name, Region: region.Words(), Style: template.CSS(chart.Style), Axis: template.HTML(picture.Axis()), O: o, Caution: o.Caution} //nolint:gosec // our own
	data.Months = from.Time().Format("January 2006") + " to " + (from + days - 1).Time().Format("January 2006")
	var codes []string
	for _, g := range groups {
		x := sheetGroup{seasonGroup: g}
		if cg, ok := s.Catalogue.Group(g.Key); ok {
			x.Latin = strings.Join(cg.Genera, ", ")
			x.Codes = strings.Join(cg.Sources(), ", ")
			for _, c := range cg.Sources() {
				if !slices.Contains(codes, c) {
					codes = append(codes, c)
				}
			}
		}
		data.Groups = append(data.Groups, x)
	}
	slices.Sort(codes)
	seen := map[string]bool{}
	for _, c := range codes {
		if src, ok := s.Catalogue.Source(c); ok && !seen[src.Code] {
			seen[src.Code] = true
			data.Sources = append(data.Sources, src)
		}
	}
	// The rows of the front share the height that a page has for them, in mm.
	const front = 200.0
	data.RowMM = fmt.Sprintf("%.2f", min(14, front/float64(max(1, len(groups)))))
	if err := templates.ExecuteTemplate(w, "sheet.html", data); err != nil {
		return fmt.Errorf("writing the sheet of %s: %w", s.River.Name, err)
	}
	return nil
}
