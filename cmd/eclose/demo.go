package main

import (
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"path/filepath"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/ingest/schedule"
)

type demoCmd struct {
	Out  string `default:"demo-out" help:"Folder for what the demo writes." placeholder:"DIR"`
	Addr string `default:"off" help:"Show the page at this loopback address afterwards, or 'off'." placeholder:"ADDR"`
}

// Run does the whole main job on invented rivers, by the code that real rivers
// take: only the server that answers for the feeds is ours.
func (c demoCmd) Run(e *env) error {
	if err := os.MkdirAll(c.Out, 0o755); err != nil {
		return fmt.Errorf("making the folder of the demo: %w", err)
	}
	fmt.Fprintln(e.stdout, "The Tarn Fells: an invented river country. Every gauge, river, person and reading in it is made up.")
	ln, err := net.Listen("tcp", "127.0.0.1:0")
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
	fmt.Fprintf(e.stdout, "\nIngest: asking the feeds named in %s\n", path)
	now := func() time.Time { return demo.Issue }
	outcomes, err := intake(e, cfg, now, func(o schedule.Outcome) { printOutcome(e.stdout, o) })
	if err != nil {
		return err
	}
	for _, o := range outcomes {
		if o.Err != nil {
			return fmt.Errorf("ingesting the demo: %w", o.Err)
		}
	}
	return c.forecast(e, cfg)
}

// config writes the demo's config file, which a user can read and change, and
// loads it. The store is made anew so that two runs give the same.
func (c demoCmd) config(feeds string) (string, *config.Config, error) {
	path := filepath.Join(c.Out, "eclose.toml")
	for _, old := range []string{"series", "eclose.db"} {
		if err := os.RemoveAll(filepath.Join(c.Out, old)); err != nil {
			return "", nil, fmt.Errorf("clearing the last run of the demo: %w", err)
		}
	}
	if err := os.WriteFile(path, []byte(demo.Config(feeds)), 0o644); err != nil { //nolint:gosec // holds no secret
		return "", nil, fmt.Errorf("writing the demo's config: %w", err)
	}
	cfg, err := config.Load(path)
	if err != nil {
		return "", nil, fmt.Errorf("reading the demo's own config: %w", err)
	}
	return path, cfg, nil
}

func (c demoCmd) forecast(e *env, cfg *config.Config) error { return nil }
