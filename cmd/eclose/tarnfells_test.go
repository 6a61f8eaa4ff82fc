package main

import (
	"bytes"
	"context"
	"fmt"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/demo"
)

// tarnFells serves the feeds of the invented country to all tests.
var tarnFells = sync.OnceValue(func() string {
	return httptest.NewServer(demo.NewWorld().Handler()).URL
})

// tarnFellsConfig is the demo's config with fewer years of readings.
func tarnFellsConfig(years int) string {
	return strings.Replace(demo.Config(tarnFells()), "backfill-years = 9", fmt.Sprintf("backfill-years = %d", years), 1)
}

// ingestedOnce returns a folder with three years of the invented country,
// ingested at the demo's moment. Tests work on copies of it.
var ingestedOnce = sync.OnceValues(func() (string, error) {
	dir, err := os.MkdirTemp(madeOnce, "tarn-fells-")
	if err != nil {
		return "", err
	}
	config := filepath.Join(dir, "eclose.toml")
	if err := os.WriteFile(config, []byte(tarnFellsConfig(3)), 0o600); err != nil {
		return "", err
	}
	var said bytes.Buffer
	e := &env{ctx: context.Background(), stdin: strings.NewReader(""), stdout: &said, stderr: &said, now: func() time.Time { return demo.Issue }, sleep: noPause}
	if code := runEnv(e, []string{"ingest", "--config", config}); code != 0 {
		return "", fmt.Errorf("ingesting the invented country: %s", &said)
	}
	return dir, os.Remove(config)
})

// copyIngested copies that folder, without a config, into another.
func copyIngested(to string) error {
	from, err := ingestedOnce()
	if err != nil {
		return err
	}
	return os.CopyFS(to, os.DirFS(from))
}

// ingested returns a copy of that folder, and the path of its config.
func ingested(t *testing.T) (dir, path string) {
	t.Helper()
	return ingestedFor(t, tarnFellsConfig(3))
}

func ingestedFor(t *testing.T, config string) (dir, path string) {
	t.Helper()
	dir, path = write(t, config)
	if err := copyIngested(dir); err != nil {
		t.Fatal(err)
	}
	return dir, path
}

// demoMade is a folder in which eclose demo ran, and what it printed.
type demoMade struct{ dir, printed string }

// demoOnce runs eclose demo once for all tests. Tests that change its files work on copies.
var demoOnce = sync.OnceValues(func() (d demoMade, err error) {
	if d.dir, err = os.MkdirTemp(madeOnce, "demo-"); err != nil {
		return d, err
	}
	var out, errs bytes.Buffer
	e := &env{ctx: context.Background(), stdin: strings.NewReader(""), stdout: &out, stderr: &errs, now: time.Now, sleep: noPause}
	if code := runEnv(e, []string{"demo", "--out", d.dir}); code != 0 {
		return d, fmt.Errorf("eclose demo: %s", &errs)
	}
	d.printed = out.String()
	return d, nil
})

// madeOnce is the folder of what is made once for all tests.
var madeOnce string
