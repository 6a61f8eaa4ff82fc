package main

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/qc"
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
	"example.org/eclose/ingest/warning"
)

type ingestCmd struct {
	configFlag
	Refetch bool `aliases:"again" help:"Download all of backfill-years again. If interrupted, it resumes at the same year."`
}

func (c ingestCmd) Run(e *env) error {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	var bar *progress
	began := e.now()
	endBar := func() {
		if bar != nil {
			bar.end()
			bar = nil
		}
		began = e.now()
	}
	defer endBar()
	var leftOut schedule.LeftOut
	outcomes, err := app.Ingest(e.ctx, cfg, app.Options{Now: e.now, Sleep: e.sleep, Skipped: leftOut.Add}, func(in *schedule.Intake) {
		in.Refetch = c.Refetch
		in.OnOutcome = func(o schedule.Outcome) {
			endBar()
			printOutcome(e.stdout, o)
			for _, s := range append(leftOut.Take(o.Site), leftOut.Take("")...) {
				s.Site = "" // it stands at the head
				fmt.Fprintf(e.stdout, "%s %s\n", head(o.River, o.Feed, o.Site), s)
			}
		}
		in.OnChecked = func(river string, s qc.Summary) {
			fmt.Fprintf(e.stdout, "%s %s\n", head(river, s.Key.Feed, s.Key.Site), s)
		}
		in.OnProgress = func(p schedule.Progress) {
			if bar == nil {
				bar = newProgress(e, fmt.Sprintf("%s, %s %s: years", p.River, p.Feed, p.Site))
				bar.began = began // a bar is drawn when the first year has come
			}
			bar.done(p.Done, p.Pieces)
		}
	})
	if errors.Is(err, series.ErrInUse) && !c.Refetch {
		if asked, err := app.FetchByServer(e.ctx, cfg, e.now, e.stdout); asked {
			return err
		}
	}
	if err != nil {
		return err
	}
	unheard, err := renewWarnings(e, cfg, e.stdout)
	if err != nil {
		return err
	}
	if err := renewFloodStages(e, cfg, e.stdout); err != nil {
		return err
	}
	failed := 0
	for _, o := range outcomes {
		if o.Err != nil {
			failed++
		}
	}
	// A warning service that is down is reported but is no failure of the readings: the
	// caution takes its warnings as unknown.
	if len(unheard) > 0 {
		fmt.Fprintf(e.stderr, "official warnings unknown for %s: the caution level stays unknown there until the service answers\n", strings.Join(unheard, ", "))
	}
	if failed > 0 {
		return fmt.Errorf("%d of %d requests failed; stored data unchanged", failed, len(outcomes))
	}
	return nil
}

// head begins a line about a site.
func head(river, feed, site string) string {
	return fmt.Sprintf("%-14s %-11s %-22s", river, feed, site)
}

func printOutcome(w io.Writer, o schedule.Outcome) {
	head := head(o.River, o.Feed, o.Site)
	if o.Err != nil {
		fmt.Fprintf(w, "%s failed: %v\n", head, o.Err)
		if o.Change.Added+o.Change.Revised > 0 {
			fmt.Fprintf(w, "%s stored before the failure: %d new, %d revised\n", head, o.Change.Added, o.Change.Revised)
		}
		return
	}
	fmt.Fprintf(w, "%s %s: %d new, %d revised, %d unchanged; newest %s\n", head, named(o.Keys),
		o.Change.Added, o.Change.Revised, o.Change.Unchanged, o.Newest.Format("2006-01-02 15:04 UTC"))
}

func named(keys []ingest.Key) string {
	seen := map[string]bool{}
	var names []string
	for _, k := range keys {
		if n := string(k.Variable); !seen[n] {
			seen[n] = true
			names = append(names, n)
		}
	}
	slices.Sort(names)
	out := strings.Join(names, ", ")
	if len(keys) > len(names) {
		out += fmt.Sprintf(" (%d series)", len(keys))
	}
	return out
}

// renewWarnings asks for the official warnings of each river and prints how
// that went. It returns the rivers whose service did not answer.
func renewWarnings(e *env, cfg *config.Config, w io.Writer) (unheard []string, err error) {
	c, err := app.FeedClient(cfg, app.Options{Now: e.now, Sleep: e.sleep})
	if err != nil {
		return nil, err
	}
	all, err := sources.Builder{Config: cfg, Client: c, Now: e.now}.Warnings()
	if err != nil {
		return nil, app.Usage(err)
	}
	if len(all) == 0 {
		return nil, nil
	}
	files, err := series.OpenFiles(e.ctx, cfg.StoreURL())
	if err != nil {
		return nil, err
	}
	defer files.Close() //nolint:errcheck // every write is already on the disk
	for _, x := range all {
		got, err := warning.Renew(e.ctx, files, x.River, x.Source, x.Place, e.now)
		if err != nil {
			return unheard, err
		}
		head := head(x.River, x.Source.Name(), "official warnings")
		if got.Failed != nil {
			unheard = append(unheard, x.River)
			fmt.Fprintf(w, "%s failed: %v\n", head, got.Failed)
			continue
		}
		var events []string
		for _, x := range got.Now.InForce(e.now()) {
			events = append(events, x.Event)
		}
		if events == nil {
			events = []string{"none in force"}
		}
		fmt.Fprintf(w, "%s %s\n", head, strings.Join(events, ", "))
	}
	return unheard, nil
}
