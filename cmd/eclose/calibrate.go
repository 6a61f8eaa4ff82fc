package main

import (
	"fmt"
	"io"
	"math"
	"strings"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
)

type calibrateCmd struct {
	River string `arg:"" help:"River name or slug from the config."`
	configFlag
	Format string `enum:"text,json" default:"text" help:"Output: text or json."`
}

// Run shows how the diary calibrates a river: its forecast of today with and
// without the sightings. Nothing is kept: every forecast uses all sightings that
// are known when it is issued.
func (c calibrateCmd) Run(e *env) error {
	cfg, catalogue, rivers, err := c.loadRivers([]string{c.River})
	if err != nil {
		return err
	}
	r := rivers[0]
	sightings, err := app.Sightings(e.ctx, cfg, e.now())
	if err != nil {
		return err
	}
	if len(sightings) == 0 {
		return fmt.Errorf("no sightings recorded for %s (%q) or another river of the config; add some, including blank sessions: eclose diary add --river %s", r.Name, r.Slug, r.Slug)
	}
	store, err := series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return fmt.Errorf("%w; run eclose ingest first", err)
	}
	defer store.Close() //nolint:errcheck // it was only read
	rec, err := forecast.Gather(e.ctx, store, r, e.now())
	if err != nil {
		return err
	}
	shifts, unused, err := forecast.Calibrate(rec, r, catalogue, sightings)
	if err != nil {
		return err
	}
	for _, x := range unused {
		fmt.Fprintf(e.stderr, "eclose: %q (%s) not used: %s; check the name with 'eclose group find %q', then correct it with 'eclose diary add --revise ID'\n",
			x.Group, count(x.Sightings, "sighting"), x.Why, x.Group)
	}
	if len(shifts) == 0 {
		return fmt.Errorf("the sightings move nothing at %s: none names a group that occurs there or shares its season", r.Name)
	}
	if c.Format == "json" {
		return writeJSON(e.stdout, newShiftsJSON(r.Slug, shifts))
	}
	printShifts(e.stdout, r.Name, shifts)
	return nil
}

// shiftJSON is one group's move for programs.
type shiftJSON struct {
	Group     string          `json:"group"`
	Stage     string          `json:"stage"`
	Sightings int             `json:"sightings_here"`
	Days      float64         `json:"median_shift_days"`
	Before    forecast.Window `json:"without_sightings"`
	After     forecast.Window `json:"with_sightings"`
}

type shiftsJSON struct {
	River  string      `json:"river"`
	Shifts []shiftJSON `json:"shifts"`
}

func newShiftsJSON(slug string, shifts []forecast.Shift) shiftsJSON {
	out := shiftsJSON{River: slug, Shifts: []shiftJSON{}}
	for _, s := range shifts {
		out.Shifts = append(out.Shifts, shiftJSON{s.Group, string(s.Stage), s.Sightings, s.Days, s.Before, s.After})
	}
	return out
}

// printShifts says by how much each group's windows moved.
func printShifts(w io.Writer, river string, shifts []forecast.Shift) {
	fmt.Fprintf(w, "%s: what the sightings change in today's forecast\n\n", river)
	fmt.Fprintf(w, "%-30s%-12s%-22s%s\n  %-26s%-26s%s\n%s\n", "group", "stage", "sightings here", "median shift", "start", "peak", "end", strings.Repeat("-", 80))
	for _, s := range shifts {
		fmt.Fprintf(w, "%-30s%-12s%-22s%s\n", insects.Label(s.Group), s.Stage, count(s.Sightings, "time"), movedWords(s.Days))
		cells := [3]string{
			windowDay(s.Before.Start) + " -> " + windowDay(s.After.Start),
			windowDay(s.Before.Peak) + " -> " + windowDay(s.After.Peak),
			windowDay(s.Before.End) + " -> " + windowDay(s.After.End),
		}
		fmt.Fprintf(w, "  %-26s%-26s%s\n", cells[0], cells[1], cells[2])
	}
	fmt.Fprint(w, "\nstart, peak, end: dates by which 10, 50 and 90% of activity will have passed, without\nand with the sightings. Sightings of one insect move the others of the same season.\n")
}

func windowDay(r forecast.Range) string {
	if r.P50 == 0 {
		return "-"
	}
	return r.P50.Time().Format("2 Jan")
}

func movedWords(days float64) string {
	n := int(math.Round(math.Abs(days)))
	switch {
	case n == 0:
		return "less than a day"
	case days < 0:
		return count(n, "day") + " earlier"
	default:
		return count(n, "day") + " later"
	}
}

// count is a number with its noun.
func count(n int, noun string) string {
	if n == 1 {
		return "1 " + noun
	}
	return fmt.Sprintf("%d %ss", n, noun)
}
