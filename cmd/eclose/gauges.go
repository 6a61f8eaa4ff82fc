package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/usgs"
)

type gaugesCmd struct {
	Find gaugesFindCmd `cmd:"" help:"Search an agency's gauges near a place or in a state."`
}

type gaugesFindCmd struct {
	Near    string  `xor:"where" required:"" help:"Latitude,longitude in degrees, such as 44.7,-121.2."`
	State   string  `xor:"where" required:"" help:"State of the USA, two letters."`
	Radius  float64 `default:"50" help:"Kilometres around --near."`
	With    string  `default:"water-temperature" help:"Variable the gauge must measure: water-temperature, discharge, gauge-height."`
	All     bool    `name:"all-types" help:"Also wells, lakes and outfalls."`
	Format  string  `enum:"table,json" default:"table" help:"How to print: table or json."`
	BaseURL string  `name:"base-url" help:"Another server with the same service; the live one if left out."`
	KeyFile string  `name:"key-file" type:"path" help:"File that holds the agency's key."`
	Contact string  `default:"no contact given" help:"Your address for the User-Agent, so that the agency can write before it blocks."`
}

func (c *gaugesFindCmd) Run(e *env) error {
	search := usgs.Search{State: c.State, RadiusKm: c.Radius, AllTypes: c.All, Variable: ingest.Variable(strings.ReplaceAll(c.With, "-", "_"))}
	if search.Variable.Unit() == "" {
		return usagef("--with %s: there is no such variable", c.With)
	}
	if c.Near != "" {
		var err error
		if search.Lat, search.Lon, err = parsePlace(c.Near); err != nil {
			return err
		}
	}
	key := ""
	if c.KeyFile != "" {
		b, err := os.ReadFile(c.KeyFile)
		if err != nil {
			return usagef("reading the key: %w", err)
		}
		key = strings.TrimSpace(string(b))
	}
	cl, err := client.New(client.Options{UserAgent: "eclose (" + c.Contact + ")"})
	if err != nil {
		return err
	}
	src, err := usgs.New(usgs.Config{Client: cl, BaseURL: c.BaseURL, Key: key, Now: e.now})
	if err != nil {
		return usagef("%w", err)
	}
	found, err := src.Find(e.ctx, search)
	if err != nil {
		return fmt.Errorf("searching gauges: %w", err)
	}
	if c.Format == "json" {
		return writeGaugesJSON(e, found)
	}
	return writeGaugesTable(e, found, search.Variable)
}

// alive is how recent the end of a series must be for the gauge to count as
// reporting. Our own default: daily values are a day or two late, and a sensor
// may be out for a fortnight's service.
const alive = 30 * 24 * time.Hour

func lastSaid(e *env, list []usgs.TimeSeries, v ingest.Variable) string {
	newest, first := usgs.TimeSeries{}, time.Time{}
	for _, t := range list {
		if t.Variable != v {
			continue
		}
		if newest.ID == "" || t.End.After(newest.End) {
			newest = t
		}
		if first.IsZero() || (!t.Begin.IsZero() && t.Begin.Before(first)) {
			first = t.Begin
		}
	}
	switch {
	case newest.ID == "":
		return "none"
	case e.now().Sub(newest.End) < alive:
		return fmt.Sprintf("since %d, reporting", first.Year())
	case newest.End.IsZero():
		return "no values"
	}
	return fmt.Sprintf("%d to %s, ended", first.Year(), newest.End.Format("2006-01"))
}

func writeGaugesTable(e *env, found []usgs.Found, v ingest.Variable) error {
	if len(found) == 0 {
		fmt.Fprintf(e.stdout, "No gauge with %s there. Try a larger --radius, or --all-types.\n", strings.ReplaceAll(string(v), "_", " "))
		return nil
	}
	for _, g := range found {
		where := fmt.Sprintf("%.4f,%.4f", g.Lat, g.Lon)
		if !math.IsNaN(g.DistanceKm) {
			where += fmt.Sprintf(", %.0f km away", g.DistanceKm)
		}
		fmt.Fprintf(e.stdout, "%s  %s\n  %s\n", g.ID, g.Name, where)
		fmt.Fprintf(e.stdout, "  %s: %s", strings.ReplaceAll(string(v), "_", " "), lastSaid(e, g.Series, v))
		if v != ingest.Discharge {
			fmt.Fprintf(e.stdout, "; flow: %s", lastSaid(e, g.Series, ingest.Discharge))
		}
		fmt.Fprintln(e.stdout)
	}
	fmt.Fprintf(e.stdout, "%d gauges. In the config: feed = %q and site = %q.\n", len(found), usgs.FeedName, found[0].ID)
	return nil
}

type gaugeJSON struct {
	Feed       string            `json:"feed"`
	Site       string            `json:"site"`
	Name       string            `json:"name"`
	State      string            `json:"state"`
	Lat        *float64          `json:"lat"`
	Lon        *float64          `json:"lon"`
	DistanceKm *float64          `json:"distance_km"`
	Zone       string            `json:"zone"`
	Series     []gaugeSeriesJSON `json:"series"`
}

type gaugeSeriesJSON struct {
	ID          string     `json:"id"`
	Variable    string     `json:"variable"`
	Computation string     `json:"computation"`
	Period      string     `json:"period"`
	Primary     bool       `json:"primary"`
	Begin       *time.Time `json:"begin"`
	End         *time.Time `json:"end"`
}

func writeGaugesJSON(e *env, found []usgs.Found) error {
	out := make([]gaugeJSON, 0, len(found))
	for _, g := range found {
		j := gaugeJSON{Feed: usgs.FeedName, Site: g.ID, Name: g.Name, State: g.State, Lat: known(g.Lat), Lon: known(g.Lon), DistanceKm: known(g.DistanceKm), Zone: g.Zone, Series: []gaugeSeriesJSON{}}
		for _, t := range g.Series {
			s := gaugeSeriesJSON{ID: t.ID, Variable: string(t.Variable), Computation: t.Computation, Period: t.Period, Primary: t.Primary}
			if !t.Begin.IsZero() {
				s.Begin = &t.Begin
			}
			if !t.End.IsZero() {
				s.End = &t.End
			}
			j.Series = append(j.Series, s)
		}
		out = append(out, j)
	}
	enc := json.NewEncoder(e.stdout)
	enc.SetIndent("", "  ")
	return enc.Encode(out)
}

// known is nil for a number that is not known: JSON has no NaN.
func known(f float64) *float64 {
	if math.IsNaN(f) {
		return nil
	}
	return &f
}
