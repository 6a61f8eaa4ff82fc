package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/export"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

type tripCmd struct {
	configFlag
	From      string   `required:"" help:"Earliest day you could fish." placeholder:"YYYY-MM-DD"`
	To        string   `required:"" help:"Latest day you could fish." placeholder:"YYYY-MM-DD"`
	Days      int      `default:"3" help:"Length of the stay, days."`
	Rivers    []string `help:"Only these rivers." placeholder:"NAME"`
	Group     []string `help:"Only these insect groups, by any name." placeholder:"NAME"`
	IssueDate string   `help:"Plan from data known at noon on this date." placeholder:"YYYY-MM-DD"`
	Format    string   `default:"text" enum:"text,json,ics" help:"One of ${enum}."`
	Out       string   `help:"Write to this file instead of the terminal." placeholder:"FILE" type:"path"`
	Members   int      `default:"200" help:"How many possible futures are computed."`
}

func (c tripCmd) Run(e *env) error {
	cfg, catalogue, rivers, err := c.loadRivers(c.Rivers)
	if err != nil {
		return err
	}
	ask := trip.Ask{Days: c.Days, Units: app.Units(cfg)}
	if ask.From, err = dateOf(c.From); err != nil {
		return app.Usagef("--from: %w", err)
	}
	if ask.To, err = dateOf(c.To); err != nil {
		return app.Usagef("--to: %w", err)
	}
	if ask.Groups, err = groupsNamed(catalogue, rivers, c.Group); err != nil {
		return app.Usagef("--group: %w", err)
	}
	if err := ask.Check(); err != nil {
		return app.Usage(err)
	}
	outlooks, err := app.IssueAll(e.ctx, cfg, c.Rivers, c.IssueDate, e.now(), c.Members)
	if err != nil {
		return err
	}
	places, err := withFlows(e.ctx, cfg, rivers, outlooks)
	if err != nil {
		return err
	}
	t, err := trip.Plan(ask, places, catalogue.Group)
	if err != nil {
		return app.Usage(noTrip(e, err, c, cfg, ask, outlooks, rivers))
	}
	if err := staleHint(e, cfg, rivers, outlooks); err != nil {
		return err
	}
	box, err := readBox(cfg)
	if err != nil {
		return err
	}
	t.Pack(box)
	write := func(w io.Writer) error {
		switch c.Format {
		case "json":
			return writeJSON(w, t)
		case "ics":
			return t.WriteICS(w)
		}
		return t.WriteTable(w)
	}
	if c.Out == "" {
		return write(e.stdout)
	}
	return export.File(c.Out, write)
}

// noTrip says why no trip can be planned, and what cures it.
func noTrip(e *env, err error, c tripCmd, cfg *config.Config, ask trip.Ask, outlooks []*forecast.Outlook, rivers []forecast.River) error {
	if errors.Is(err, trip.ErrNotHere) {
		var where []string
		for _, o := range outlooks {
			where = append(where, o.RiverName)
		}
		return fmt.Errorf("--group %s: not forecast on %s; eclose forecast --all lists what is", strings.Join(c.Group, ", "), strings.Join(where, ", "))
	}
	if !errors.Is(err, trip.ErrNothing) {
		return err
	}
	issue := outlooks[0].IssueDate()
	for _, o := range outlooks {
		issue = max(issue, o.IssueDate())
	}
	newest, err := app.NewestReading(e.ctx, cfg, rivers)
	if err != nil {
		return err
	}
	reading := forecast.DateOf(newest)
	switch {
	case newest.IsZero():
		return errors.New("no readings are stored; run eclose ingest first")
	case ask.From < issue && ask.From >= reading:
		return fmt.Errorf("--from %s is before the newest forecast, of %s; the newest reading is of %s: add --issue-date %s, or run eclose ingest", ask.From, issue, reading, reading)
	case ask.From < issue:
		return fmt.Errorf("--from %s is before the newest forecast, of %s; plan from then with --issue-date %s", ask.From, issue, ask.From)
	}
	return fmt.Errorf("--from %s: the newest forecast, of %s, reaches to about %s; use earlier days", ask.From, issue, issue+360)
}

// staleHint says on how old readings a forecast rests, if none is recent, and the cure.
func staleHint(e *env, cfg *config.Config, rivers []forecast.River, outlooks []*forecast.Outlook) error {
	for i, o := range outlooks {
		if !o.DataCutoff.IsZero() || len(rivers[i].Gauges) == 0 {
			continue
		}
		newest, err := app.NewestReading(e.ctx, cfg, rivers[i:i+1])
		if err != nil {
			return err
		}
		if newest.IsZero() {
			fmt.Fprintf(e.stderr, "eclose: %s: no readings are stored; run eclose ingest\n", o.RiverName)
			continue
		}
		fmt.Fprintf(e.stderr, "eclose: %s: the newest reading is of %s; run eclose ingest, or add --issue-date %s\n", o.RiverName, forecast.DateOf(newest), forecast.DateOf(newest))
	}
	return nil
}

func dateOf(s string) (forecast.Date, error) {
	t, err := civilDate(s, time.Time{})
	if err != nil {
		return 0, err
	}
	return forecast.DateOf(t), nil
}

// groupsNamed turns names that people use into the keys that are forecast. A
// name that means several groups means all of them: who plans a trip wants to
// miss none.
func groupsNamed(c *insects.Catalogue, rivers []forecast.River, names []string) ([]string, error) {
	var out []string
	add := func(g *insects.Group) {
		list := c.Broods(g.Key)
		if g.Kind != insects.Parent || len(list) == 0 {
			list = []*insects.Group{g}
		}
		for _, b := range list {
			if !slices.Contains(out, b.Key) {
				out = append(out, b.Key)
			}
		}
	}
	for _, name := range names {
		if g, ok := c.Group(name); ok {
			add(g)
			continue
		}
		n := len(out)
		for _, r := range rivers {
			region := insects.Region(r.Region)
			if region == "" {
				region, _ = insects.RegionOf(r.Lat, r.Lon)
			}
			for _, found := range c.Find(name, region, 0) {
				add(found.Group)
			}
		}
		if len(out) == n {
			return nil, fmt.Errorf("the catalogue has no group %q; eclose group find lists them", name)
		}
	}
	return out, nil
}

// withFlows puts the past seasons of flow, and the caution at the moment of the issue,
// beside the outlooks of rivers.
func withFlows(ctx context.Context, cfg *config.Config, rivers []forecast.River, outlooks []*forecast.Outlook) ([]trip.River, error) {
	store, err := series.Open(ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return nil, err
	}
	defer store.Close() //nolint:errcheck // it was only read
	out := make([]trip.River, len(outlooks))
	for i, o := range outlooks {
		out[i].Outlook = o
		var caution wading.Caution
		if out[i].Flows, caution, err = app.PastFlows(ctx, store, rivers[i], o.IssuedAt); err != nil {
			return nil, err
		}
		out[i].Caution = &caution
	}
	return out, nil
}
