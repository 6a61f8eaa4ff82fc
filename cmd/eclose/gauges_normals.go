package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/usgs"
	"example.org/eclose/model/wading"
)

type gaugesNormalsCmd struct {
	Site     string      `arg:"" help:"USGS site number, e.g. 14092500; other agencies publish no such statistics."`
	Variable string      `aliases:"with" default:"water-temperature" help:"Variable: water-temperature, discharge, gauge-height."`
	From     time.Time   `format:"2006-01-02" placeholder:"DATE" help:"First day (default: today); the year is ignored."`
	Days     int         `default:"28" help:"Number of days, 1 to 366."`
	Units    string      `enum:"metric,us" default:"metric" help:"How to print: metric or us."`
	Format   string      `enum:"text,json" default:"text" help:"Output: text, or json (always metric)."`
	Servers  agencyFlags `embed:""`
}

// Run prints what the days ahead have been like in past years, as the agency
// works it out. A person who plans a trip holds it against the outlook; no
// outlook, check or caution rests on it.
func (c *gaugesNormalsCmd) Run(e *env) error {
	v := ingest.Variable(strings.ReplaceAll(c.Variable, "-", "_"))
	if v.Unit() == "" {
		return app.Usagef("--variable %s: unknown variable; use water-temperature, discharge or gauge-height", c.Variable)
	}
	if c.Days < 1 || c.Days > 366 {
		return app.Usagef("--days %d: write 1 to 366", c.Days)
	}
	cfg, err := c.Servers.load()
	if err != nil {
		return err
	}
	s, err := c.Servers.server(e, cfg, usgs.FeedName)
	if err != nil {
		return err
	}
	src, err := usgs.New(usgs.Config{Client: s.Client, BaseURL: s.BaseURL, Key: s.Key, Now: s.Now})
	if err != nil {
		return app.Usagef("%w", err)
	}
	all, err := src.Normals(e.ctx, c.Site, v)
	if err != nil {
		return fmt.Errorf("fetching long-term statistics: %w", err)
	}
	if c.From.IsZero() {
		c.From = e.now()
	}
	list := ahead(all, c.From, c.Days)
	if c.Format == "json" {
		return writeNormalsJSON(e, c.Site, v, list)
	}
	if len(list) == 0 {
		fmt.Fprintf(e.stdout, "No statistics for %s at %s: they need years of approved daily means.\n", wordOf(v), c.Site)
		return nil
	}
	writeNormals(e, c.Site, v, c.Units, list)
	return nil
}

// ahead takes so many days from a date on, over the turn of the year. A year of
// its own decides whether there is a 29 February.
func ahead(all []usgs.DayNormal, from time.Time, days int) []usgs.DayNormal {
	var out []usgs.DayNormal
	for d := range days {
		day := from.AddDate(0, 0, d).Format("01-02")
		if i := slices.IndexFunc(all, func(n usgs.DayNormal) bool { return n.Day == day }); i >= 0 {
			out = append(out, all[i])
		}
	}
	return out
}

func writeNormals(e *env, site string, v ingest.Variable, units string, list []usgs.DayNormal) {
	unit, show := v.Unit(), func(x float64) float64 { return x }
	if units == "us" {
		switch v {
		case ingest.WaterTemperature, ingest.AirTemperature:
			unit, show = "°F", wading.CtoF
		case ingest.Discharge:
			unit, show = "ft3/s", func(x float64) float64 { return x / wading.Foot3M3 }
		case ingest.GaugeHeight:
			unit, show = "ft", func(x float64) float64 { return x / wading.FootM }
		default: // the others keep the unit they are stored in
		}
	}
	cell := func(x float64) string {
		if x = show(x); math.IsNaN(x) {
			return "-"
		}
		switch {
		case unit == "°F", math.Abs(x) >= 100:
			return fmt.Sprintf("%.0f", x)
		case unit == "m", math.Abs(x) < 10 && v == ingest.Discharge:
			return fmt.Sprintf("%.2f", x)
		}
		return fmt.Sprintf("%.1f", x)
	}
	fmt.Fprintf(e.stdout, "%s at %s: daily means in past years, %s\n\n", wordOf(v), site, unit)
	row := func(cells ...any) { fmt.Fprintf(e.stdout, "%-8s%8v%8v%8v%8v%8v%8v%8v%8v\n", cells...) }
	row("day", "lowest", "10 %", "25 %", "median", "75 %", "90 %", "highest", "years")
	for _, n := range list {
		day, err := time.Parse("2006-01-02", "2000-"+n.Day)
		if err != nil {
			continue // no day of any year
		}
		row(day.Format("2 Jan"), cell(n.Lowest), cell(n.P10), cell(n.P25), cell(n.Median), cell(n.P75), cell(n.P90), cell(n.Highest), n.Years)
	}
	fmt.Fprintln(e.stdout, "\nFrom approved USGS values. \"10%\": lower in one year in ten. Past values are not\na forecast and say nothing about wading this year.")
}

type normalJSON struct {
	Day     string   `json:"day"`
	Years   int      `json:"years"`
	Lowest  *float64 `json:"lowest"`
	P10     *float64 `json:"p10"`
	P25     *float64 `json:"p25"`
	Median  *float64 `json:"median"`
	P75     *float64 `json:"p75"`
	P90     *float64 `json:"p90"`
	Highest *float64 `json:"highest"`
	Mean    *float64 `json:"mean"`
}

func writeNormalsJSON(e *env, site string, v ingest.Variable, list []usgs.DayNormal) error {
	out := struct {
		Feed     string       `json:"feed"`
		Site     string       `json:"site"`
		Variable string       `json:"variable"`
		Unit     string       `json:"unit"`
		Days     []normalJSON `json:"days"`
	}{usgs.FeedName, site, string(v), v.Unit(), make([]normalJSON, 0, len(list))}
	for _, n := range list {
		out.Days = append(out.Days, normalJSON{n.Day, n.Years, known(n.Lowest), known(n.P10), known(n.P25), known(n.Median), known(n.P75), known(n.P90), known(n.Highest), known(n.Mean)})
	}
	return writeJSON(e.stdout, out)
}
