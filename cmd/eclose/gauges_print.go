package main

import (
	"fmt"
	"math"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed"
)

// alive is how recent the end of a series must be for the gauge to count as
// reporting. Our own default: daily values are a day or two late, and a sensor
// may be out for a fortnight's service.
const alive = 30 * 24 * time.Hour

// spanOf says in at most 15 letters how long a gauge has had a variable: from
// the begin of what runs on, or ran last. An older series that ended before is
// not joined to it, as if there were no years between.
func spanOf(g ingest.Gauge, v ingest.Variable, now time.Time) string {
	has := false
	var first, last time.Time
	for _, s := range g.Series {
		if s.Variable == v {
			has = true
			if s.End.After(last) {
				last = s.End
			}
		}
	}
	for _, s := range g.Series {
		if s.Variable == v && !s.Begin.IsZero() && last.Sub(s.End) < alive && (first.IsZero() || s.Begin.Before(first)) {
			first = s.Begin
		}
	}
	year := first.Format("2006")
	switch {
	case !has:
		return "none"
	case last.IsZero() && first.IsZero():
		return "listed"
	case last.IsZero():
		return "since " + year
	case now.Sub(last) < alive && first.IsZero():
		return "reporting"
	case now.Sub(last) < alive:
		return year + " to now"
	case first.IsZero():
		return "to " + last.Format("2006-01")
	}
	return year + " to " + last.Format("2006-01")
}

// wordOf is a variable as people write it.
func wordOf(v ingest.Variable) string {
	if v == ingest.Discharge {
		return "flow"
	}
	return strings.ReplaceAll(string(v), "_", " ")
}

// nameWidth keeps a line of the table within 80 columns.
const nameWidth = 38

func writeGaugesTable(e *env, found []ingest.Gauge, q ingest.GaugeSearch, asked []feed.Agency, floods map[string]gaugeFloods) {
	if len(found) == 0 {
		var names []string
		for _, a := range asked {
			names = append(names, a.About)
		}
		hint := "a larger --radius, or --all-types"
		if q.Region != "" {
			hint = "another --with, or --all-types"
		}
		fmt.Fprintf(e.stdout, "No gauge with %s found in: %s. Try %s.\n", wordOf(q.Variable), strings.Join(names, "; "), hint)
		return
	}
	line := func(km, name, a, b string) {
		fmt.Fprintln(e.stdout, strings.TrimRight(fmt.Sprintf("%4s  %s  %-17s  %s", km, padded(name, nameWidth), a, b), " "))
	}
	flow := func(g ingest.Gauge) string {
		if q.Variable == ingest.Discharge {
			return ""
		}
		return spanOf(g, ingest.Discharge, e.now())
	}
	head := ""
	if q.Variable != ingest.Discharge {
		head = "flow"
	}
	line("km", "gauge", wordOf(q.Variable), head)
	for _, g := range found {
		km := ""
		if !math.IsNaN(g.DistanceKm) {
			km = fmt.Sprintf("%.0f", g.DistanceKm)
		}
		line(km, g.Name, spanOf(g, q.Variable, e.now()), flow(g))
		about := g.Feed + " " + g.Site
		if !math.IsNaN(g.Lat + g.Lon) {
			about += fmt.Sprintf("  %.4f,%.4f", g.Lat, g.Lon)
		}
		// "Active" is what a list of gauges is of; anything else is news.
		if g.Status != "" && !strings.EqualFold(g.Status, "Active") {
			about += "  " + strings.ToLower(g.Status)
		}
		fmt.Fprintf(e.stdout, "      %s\n", about)
		if f := floods[g.Site]; f.line() != "" {
			fmt.Fprintf(e.stdout, "      %s\n", f.line())
		}
	}
	many := "1 gauge"
	if len(found) != 1 {
		many = fmt.Sprintf("%d gauges", len(found))
	}
	fmt.Fprintf(e.stdout, "\n%s. To use the first, add to the config:\n\n    [[river.gauge]]\n    feed = %q\n    site = %q\n", many, found[0].Feed, found[0].Site)
}

// padded cuts a text to so many letters, or fills it up with blanks.
func padded(s string, width int) string {
	r := []rune(s)
	if len(r) > width {
		return string(r[:width-1]) + "…"
	}
	return s + strings.Repeat(" ", width-len(r))
}

type gaugeJSON struct {
	Feed       string            `json:"feed"`
	Site       string            `json:"site"`
	Name       string            `json:"name"`
	Region     string            `json:"region,omitempty"`
	Status     string            `json:"status,omitempty"`
	Lat        *float64          `json:"lat"`
	Lon        *float64          `json:"lon"`
	DistanceKm *float64          `json:"distance_km"`
	Zone       string            `json:"zone,omitempty"`
	Series     []gaugeSeriesJSON `json:"series"`
	Floods     *gaugeFloodsJSON  `json:"floods,omitempty"`
}

type gaugeSeriesJSON struct {
	ID        string     `json:"id,omitempty"`
	Variable  string     `json:"variable"`
	Statistic string     `json:"statistic"`
	Period    string     `json:"period"`
	Primary   bool       `json:"primary"`
	Begin     *time.Time `json:"begin"`
	End       *time.Time `json:"end"`
}

func writeGaugesJSON(e *env, found []ingest.Gauge, floods map[string]gaugeFloods) error {
	out := make([]gaugeJSON, 0, len(found))
	for _, g := range found {
		j := gaugeJSON{Feed: g.Feed, Site: g.Site, Name: g.Name, Region: g.Region, Status: g.Status, Lat: known(g.Lat), Lon: known(g.Lon), DistanceKm: known(g.DistanceKm), Zone: g.Zone, Series: []gaugeSeriesJSON{}}
		if f, ok := floods[g.Site]; ok {
			j.Floods = f.json()
		}
		for _, s := range g.Series {
			x := gaugeSeriesJSON{ID: s.ID, Variable: string(s.Variable), Statistic: string(s.Statistic), Period: s.Period, Primary: s.Primary}
			if !s.Begin.IsZero() {
				x.Begin = &s.Begin
			}
			if !s.End.IsZero() {
				x.End = &s.End
			}
			j.Series = append(j.Series, x)
		}
		out = append(out, j)
	}
	return writeJSON(e.stdout, out)
}

// known is nil for a number that is not known: JSON has no NaN.
func known(f float64) *float64 {
	if math.IsNaN(f) {
		return nil
	}
	return &f
}
