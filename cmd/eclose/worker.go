package main

import (
	"errors"
	"maps"
	"slices"
	"strings"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/jobs"
)

type workerCmd struct {
	configFlag
	Queue []string       `help:"Only these queues: ${queues}." placeholder:"NAME"`
	Jobs  map[string]int `help:"Concurrent jobs per queue, e.g. model=4." placeholder:"QUEUE=N"`
	Log   string         `default:"info" enum:"debug,info,warn,error" help:"How much to log: ${enum}."`
}

// Run works the jobs of a shared database beside other workers, without a page.
func (c workerCmd) Run(e *env) (err error) {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	if !strings.HasPrefix(cfg.DatabaseURL(), "postgres") {
		return app.Usagef("eclose worker needs PostgreSQL; %s is an SQLite file for a single process. Run eclose serve, or move it with eclose database move", cfg.Database)
	}
	workers := app.Workers()
	for name, n := range c.Jobs {
		if _, ok := workers[name]; !ok || n < 1 || n > 1000 {
			return app.Usagef("--jobs %s=%d: use one of %s and 1 to 1000", name, n, strings.Join(jobs.Queues, ", "))
		}
		workers[name] = n
	}
	for _, name := range c.Queue {
		if _, ok := workers[name]; !ok {
			return app.Usagef("--queue %s: unknown; use %s", name, strings.Join(jobs.Queues, ", "))
		}
	}
	if len(c.Queue) > 0 {
		maps.DeleteFunc(workers, func(name string, _ int) bool { return !slices.Contains(c.Queue, name) })
	}
	s, err := app.NewServer(e.ctx, cfg, app.Options{Workers: workers, Log: app.NewLogger(e.stderr, e.logLevel(c.Log)), Now: e.now, Sleep: e.sleep})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	return s.Work(e.ctx)
}
