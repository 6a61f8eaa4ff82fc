package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"text/tabwriter"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db"
)

type jobsCmd struct {
	List  jobsListCmd  `cmd:"" help:"List jobs, newest first."`
	Show  jobsShowCmd  `cmd:"" help:"Show one job and all its failures."`
	Retry jobsRetryCmd `cmd:"" help:"Retry failed or discarded jobs now."`
	Add   jobsAddCmd   `cmd:"" help:"Queue jobs for the workers: forecasts for all rivers, a month's exports, or a backtest."`
}

// jobsFlags name the config whose database holds the jobs.
type jobsFlags struct {
	configFlag
}

// change opens the queue to write and runs do.
func (f jobsFlags) change(e *env, do func(*config.Config, *jobs.Queue) error) error {
	return f.use(e, db.OpenWriter, do)
}

// look is change for a command that changes nothing.
func (f jobsFlags) look(e *env, do func(*config.Config, *jobs.Queue) error) error {
	return f.use(e, db.OpenReader, do)
}

func (f jobsFlags) use(e *env, open func(context.Context, string) (*db.DB, error), do func(*config.Config, *jobs.Queue) error) (err error) {
	cfg, err := f.load()
	if err != nil {
		return err
	}
	d, err := open(e.ctx, cfg.DatabaseURL())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	q, err := jobs.Open(e.ctx, d, jobs.Options{Log: zerolog.Nop(), Now: e.now})
	if err != nil {
		return err
	}
	return do(cfg, q)
}

type jobsListCmd struct {
	jobsFlags
	State []string `help:"Only jobs in these states." placeholder:"STATE"`
	Kind  []string `help:"Only jobs of these kinds." placeholder:"KIND"`
	Most  int      `default:"50" help:"Maximum number of jobs."`

	Format string `enum:"text,json" default:"text" help:"Output: text or json."`
}

// jobJSON is a job for programs.
type jobJSON struct {
	ID       int64           `json:"id"`
	Kind     string          `json:"kind"`
	Queue    string          `json:"queue"`
	State    string          `json:"state"`
	Tried    int             `json:"tried"`
	Most     int             `json:"tries_at_most"`
	Due      time.Time       `json:"due,omitzero"`
	Began    time.Time       `json:"began,omitzero"`
	Ended    time.Time       `json:"ended,omitzero"`
	Keys     json.RawMessage `json:"keys"`
	Failures []string        `json:"failures"`
}

func newJobsJSON(list []jobs.Job) []jobJSON {
	out := []jobJSON{}
	for _, j := range list {
		x := jobJSON{ID: j.ID, Kind: j.Kind, Queue: j.Queue, State: j.State, Tried: j.Attempt, Most: j.Attempts, Due: j.Due, Began: j.Began, Ended: j.Ended, Keys: json.RawMessage("null"), Failures: []string{}}
		if json.Valid([]byte(j.Keys)) {
			x.Keys = json.RawMessage(j.Keys)
		}
		for _, f := range j.Errors {
			x.Failures = append(x.Failures, f.Error)
		}
		out = append(out, x)
	}
	return out
}

func (c jobsListCmd) Run(e *env) error {
	return c.look(e, func(_ *config.Config, q *jobs.Queue) error {
		list, err := q.List(e.ctx, jobs.Filter{States: c.State, Kinds: c.Kind, Most: c.Most})
		if err != nil {
			return app.Usage(err)
		}
		if c.Format == "json" {
			return writeJSON(e.stdout, newJobsJSON(list))
		}
		w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "ID\tKIND\tSTATE\tTRIED\tDUE\tKEYS\tLAST FAILURE")
		for _, j := range list {
			last := ""
			if n := len(j.Errors); n > 0 {
				last = app.OneLine(j.Errors[n-1].Error, 80)
			}
			fmt.Fprintf(w, "%d\t%s\t%s\t%d/%d\t%s\t%s\t%s\n", j.ID, j.Kind, j.State, j.Attempt, j.Attempts, j.Due.Format(time.DateTime), j.Keys, last)
		}
		return w.Flush()
	})
}

type jobsShowCmd struct {
	jobsFlags
	ID int64 `arg:"" help:"Job number."`
}

func (c jobsShowCmd) Run(e *env) error {
	return c.look(e, func(_ *config.Config, q *jobs.Queue) error {
		j, err := q.Get(e.ctx, c.ID)
		if err != nil {
			return err
		}
		w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
		stamp := func(t time.Time) string {
			if t.IsZero() {
				return "-"
			}
			return t.Format("2006-01-02 15:04:05 UTC")
		}
		fmt.Fprintf(w, "job\t%d\nkind\t%s\nqueue\t%s\nstate\t%s\nkeys\t%s\ntried\t%d of at most %d times\ndue\t%s\nlast begun\t%s\nended\t%s\nby\t%s\n",
			j.ID, j.Kind, j.Queue, j.State, j.Keys, j.Attempt, j.Attempts, stamp(j.Due), stamp(j.Began), stamp(j.Ended), orDash(j.By))
		if err := w.Flush(); err != nil {
			return err
		}
		for _, f := range j.Errors {
			fmt.Fprintf(e.stdout, "attempt %d, %s: %s\n", f.Attempt, stamp(f.At), f.Error)
		}
		for _, line := range j.Report {
			fmt.Fprintln(e.stdout, line)
		}
		return nil
	})
}

func orDash(s string) string {
	if s == "" {
		return "-"
	}
	return s
}

type jobsRetryCmd struct {
	jobsFlags
	ID   []int64 `arg:"" optional:"" help:"Numbers of jobs."`
	All  bool    `help:"All discarded or cancelled jobs."`
	Kind string  `help:"With --all, only of this kind." placeholder:"KIND"`
}

func (c jobsRetryCmd) Run(e *env) error {
	if c.All == (len(c.ID) > 0) {
		return app.Usagef("give job numbers, or --all")
	}
	return c.change(e, func(_ *config.Config, q *jobs.Queue) error {
		ids := c.ID
		if c.All {
			f := jobs.Filter{States: []string{"discarded", "cancelled"}, Most: 10_000}
			if c.Kind != "" {
				f.Kinds = []string{c.Kind}
			}
			list, err := q.List(e.ctx, f)
			if err != nil {
				return err
			}
			for _, j := range list {
				ids = append(ids, j.ID)
			}
		}
		for _, id := range ids {
			j, err := q.Retry(e.ctx, id)
			if err != nil {
				return err
			}
			fmt.Fprintf(e.stdout, "%d %s %s: %s\n", j.ID, j.Kind, j.Keys, j.State)
		}
		fmt.Fprintf(e.stdout, "%d jobs\n", len(ids))
		return nil
	})
}

type jobsAddCmd struct {
	jobsFlags
	sharedBacktest `embed:""`

	What  string   `arg:"" enum:"forecasts,outlooks,exports,backtest" help:"forecasts, exports or backtest."`
	Issue string   `help:"Forecasts: issue time, RFC 3339 (default: now)." placeholder:"TIME"`
	Month string   `help:"Exports: month of issue, e.g. 2026-05." placeholder:"MONTH"`
	River []string `help:"Only these rivers." placeholder:"NAME"`
}

func (c jobsAddCmd) Run(e *env) error {
	if c.What == "backtest" {
		return c.backtest(e)
	}
	return c.change(e, func(cfg *config.Config, q *jobs.Queue) error {
		rivers, err := app.Rivers(cfg, c.River)
		if err != nil {
			return app.Usage(err)
		}
		at := q.Now()
		layout, text := time.RFC3339, c.Issue
		if c.What == "exports" {
			layout, text = "2006-01", c.Month
		}
		if text != "" {
			if at, err = time.Parse(layout, text); err != nil {
				return app.Usagef("%q: write it as %s", text, layout)
			}
		}
		if at.After(q.Now()) {
			return app.Usagef("%s is in the future", text)
		}
		var all []jobs.Args
		for _, r := range rivers {
			if c.What == "exports" {
				month := time.Date(at.Year(), at.Month(), 1, 0, 0, 0, 0, time.UTC)
				all = append(all, jobs.Export{River: r.Slug, Month: month})
				continue
			}
			all = append(all, jobs.Outlook{River: r.Slug, Issue: jobs.Slot(at)})
		}
		n, err := q.Add(e.ctx, all...)
		if err != nil {
			return err
		}
		fmt.Fprintf(e.stdout, "%d jobs added, %d already queued\n", n, len(all)-n)
		return nil
	})
}
