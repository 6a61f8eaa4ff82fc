package main

import (
	"errors"
	"fmt"
	"io"
	"iter"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"time"

	"golang.org/x/term"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/export"
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
)

type demoCmd struct {
	Out  string `default:"demo-out" help:"Output folder." placeholder:"DIR"`
	Addr string `default:"auto" help:"Then serve the web pages at this loopback address; 'off' ends instead, 'auto' serves on a terminal only." placeholder:"ADDR"`
}

// Run does the whole main job on invented rivers, by the code that real rivers
// take: only the server that answers for the feeds is ours.
func (c demoCmd) Run(e *env) error {
	if err := os.MkdirAll(c.Out, 0o755); err != nil {
		return fmt.Errorf("making the folder of the demo: %w", err)
	}
	fmt.Fprintln(e.stdout, demo.Notice)
	ln, err := new(net.ListenConfig).Listen(e.ctx, "tcp", "127.0.0.1:0")
	if err != nil {
		return fmt.Errorf("starting the invented feeds: %w", err)
	}
	feeds := &http.Server{Handler: demo.NewWorld().Handler(), ReadHeaderTimeout: 5 * time.Second}
	go func() {
		if err := feeds.Serve(ln); !errors.Is(err, http.ErrServerClosed) {
			fmt.Fprintf(e.stderr, "eclose: the invented feeds stopped: %v\n", err)
		}
	}()
	defer feeds.Close() //nolint:errcheck // the demo is over

	path, cfg, err := c.config("http://" + ln.Addr().String())
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "\nIngest: fetching from the feeds in %s\n", path)
	now := func() time.Time { return demo.Issue }
	outcomes, err := app.Ingest(e.ctx, cfg, app.Options{Now: now, Sleep: e.sleep}, func(in *schedule.Intake) { in.OnOutcome = func(o schedule.Outcome) { printOutcome(e.stdout, o) } })
	if err != nil {
		return err
	}
	for _, o := range outcomes {
		if o.Err != nil {
			return fmt.Errorf("ingesting the demo: %w", o.Err)
		}
	}
	then := *e
	then.now = now
	if unheard, err := renewWarnings(&then, cfg, e.stdout); err != nil {
		return err
	} else if len(unheard) > 0 {
		return fmt.Errorf("the invented warnings failed for %d rivers", len(unheard))
	}
	return c.forecast(e, cfg)
}

// config writes the demo's config file, which a user can read and change, and
// loads it. The store is made anew so that two runs give the same.
func (c demoCmd) config(feeds string) (string, *config.Config, error) {
	path := filepath.Join(c.Out, "eclose.toml")
	for _, old := range []string{"series", "eclose.db"} {
		if err := os.RemoveAll(filepath.Join(c.Out, old)); err != nil {
			return "", nil, fmt.Errorf("removing the previous demo: %w", err)
		}
	}
	// The server lives only while the demo runs, so its address stands in no
	// file: two runs write the same.
	if err := os.WriteFile(path, []byte(demo.Config(demo.Address)), 0o644); err != nil { //nolint:gosec // holds no secret
		return "", nil, fmt.Errorf("writing the demo's config: %w", err)
	}
	cfg, err := config.Load(path)
	if err != nil {
		return "", nil, fmt.Errorf("reading the demo's own config: %w", err)
	}
	for name, f := range cfg.Feeds {
		f.BaseURL = strings.Replace(f.BaseURL, demo.Address, feeds, 1)
		cfg.Feeds[name] = f
	}
	return path, cfg, nil
}

// forecast issues the outlooks, writes what a user would look at, and says so.
func (c demoCmd) forecast(e *env, cfg *config.Config) error {
	fmt.Fprintf(e.stdout, "\nForecast as of %s\n", demo.Issue.Format("2 January 2006 15:04 UTC"))
	outlooks, err := app.IssueAll(e.ctx, cfg, nil, "", demo.Issue, 200)
	if err != nil {
		return err
	}
	out := &folder{dir: c.Out}
	out.write("outlook.txt", "each river's forecast as a table, with reasons and the caution", func(w io.Writer) error {
		fmt.Fprintf(w, "%s\n\n", demo.Notice)
		for _, o := range outlooks {
			if err := o.WriteTable(w, tableOptions(cfg, false)); err != nil {
				return err
			}
			fmt.Fprintln(w)
		}
		return nil
	})
	for _, f := range []export.Format{export.CSV, export.Parquet, export.ICS} {
		out.note("outlook."+string(f), map[export.Format]string{
			export.CSV: "60 days for every river, group and stage (columns described in outlook.csv-metadata.json)", export.Parquet: "the same as Parquet",
			export.ICS: "the windows for a calendar"}[f])
		if out.err == nil {
			out.err = writeDemoRows(e, cfg, filepath.Join(c.Out, "outlook."+string(f)), f, outlooks)
		}
	}
	for _, o := range outlooks {
		from := o.IssueDate() - 30
		season, water := o.SeasonPicture(from, 150, true), o.WaterPicture(o.Water[0].Date, 365, cfg.Units == "us")
		season.Note, water.Note = demo.Notice, demo.Notice
		out.text(o.River+"-season.svg", "season chart: emergence above each line, egg-laying below", season.SVG())
		out.text(o.River+"-water.svg", "a year of water temperature with its 80% range", water.SVG())
	}
	if err := c.notify(e, cfg, out, outlooks); err != nil {
		return err
	}
	if out.err != nil {
		return fmt.Errorf("writing the demo's files: %w", out.err)
	}
	v, err := verdictOf(e, cfg, nil, nil, outlooks)
	if err != nil {
		return err
	}
	out.write("forecast.txt", "the forecast as eclose forecast prints it: the answer first", func(w io.Writer) error {
		fmt.Fprintf(w, "%s\n\n", demo.Notice)
		return v.WriteText(w)
	})
	if out.err != nil {
		return fmt.Errorf("writing the demo's files: %w", out.err)
	}
	fmt.Fprintf(e.stdout, "\n%s\n", strings.Join(v.Lines(), "\n"))
	for _, r := range v.Rivers {
		fmt.Fprintf(e.stdout, "%s today: %s.\n", r.Name, r.Level())
	}
	fmt.Fprintf(e.stdout, "\nFiles in %s:\n", c.Out)
	for _, f := range out.files {
		fmt.Fprintf(e.stdout, "  %-22s %s\n", f[0], f[1])
	}
	fmt.Fprintf(e.stdout, "\nFor a real river: eclose init asks for a place and does the rest.\n%s\n", forecast.StandingCaution)
	return c.serve(e, cfg, outlooks)
}

// writeDemoRows writes the first days of all outlooks, with the caution of the day.
func writeDemoRows(e *env, cfg *config.Config, path string, f export.Format, outlooks []*forecast.Outlook) error {
	rivers, err := app.Rivers(cfg, nil)
	if err != nil {
		return err
	}
	store, err := series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return err
	}
	defer store.Close() //nolint:errcheck // it was only read
	each := withCautions(e.ctx, store, rivers, export.Rows(outlooks))
	catalogue, err := app.LoadCatalogue(cfg)
	if err != nil {
		return err
	}
	_, err = export.WriteFile(path, f, metaOf(outlooks, cfg.Notice), flattened(each, func(x issuedOutlook) iter.Seq[export.Row] {
		rows := x.beside.Flatten(x.o, x.o.IssueDate(), x.o.IssueDate()+tableDays)
		if f == export.ICS {
			return mattering(rows, x.o, catalogue)
		}
		return rows
	}))
	return err
}

// demoAddr is where the demo's pages are served where none is named: where eclose serve
// would serve them, or on any free port if something is there already.
var demoAddr = []string{"127.0.0.1:8437", "127.0.0.1:0"}

// serve shows the pages until Ctrl-C. The demo's time stands still at its issue, so
// that nothing on them ever looks stale. Without a terminal nobody can look or stop it,
// so the demo ends.
func (c demoCmd) serve(e *env, cfg *config.Config, outlooks []*forecast.Outlook) error {
	now := func() time.Time { return demo.Issue }
	switch {
	case c.Addr == "off" || c.Addr == "auto" && (!onTerminal(e.stdout) || os.Getenv("CI") != ""):
		fmt.Fprintln(e.stdout, "To see the web pages: eclose demo --addr 127.0.0.1:8437")
		return nil
	case c.Addr != "auto":
		return show(e, cfg, outlooks, c.Addr, now)
	}
	addr := demoAddr[0]
	if ln, err := new(net.ListenConfig).Listen(e.ctx, "tcp", addr); err != nil {
		addr = demoAddr[1]
	} else if err := ln.Close(); err != nil {
		return fmt.Errorf("looking for a port: %w", err)
	}
	return show(e, cfg, outlooks, addr, now)
}

// onTerminal reports whether somebody sees what is written to w.
func onTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd())) //nolint:gosec // a file's number is small
}

// folder writes the demo's files and remembers what each is for.
type folder struct {
	dir   string
	files [][2]string
	err   error
}

func (f *folder) note(name, what string) { f.files = append(f.files, [2]string{name, what}) }

func (f *folder) write(name, what string, write func(io.Writer) error) {
	f.note(name, what)
	if f.err == nil {
		f.err = export.File(filepath.Join(f.dir, name), write)
	}
}

func (f *folder) text(name, what, text string) {
	f.write(name, what, func(w io.Writer) error { _, err := io.WriteString(w, text); return err })
}
