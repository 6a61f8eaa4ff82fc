package main

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db"
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
		return usagef("eclose worker needs PostgreSQL; %s is an SQLite file for a single process. Run eclose serve, or move it with eclose database move", cfg.Database)
	}
	workers := workersOf()
	for name, n := range c.Jobs {
		if _, ok := workers[name]; !ok || n < 1 || n > 1000 {
			return usagef("--jobs %s=%d: use one of %s and 1 to 1000", name, n, strings.Join(jobs.Queues, ", "))
		}
		workers[name] = n
	}
	for _, name := range c.Queue {
		if _, ok := workers[name]; !ok {
			return usagef("--queue %s: unknown; use %s", name, strings.Join(jobs.Queues, ", "))
		}
	}
	if len(c.Queue) > 0 {
		maps.DeleteFunc(workers, func(name string, _ int) bool { return !slices.Contains(c.Queue, name) })
	}
	s, err := newServer(e, cfg, workers, logger(e.stderr, c.Log))
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.close()) }()
	if err := s.start(e.ctx, workers[jobs.Feeds]); err != nil {
		return err
	}
	s.log.Info().Str("database", s.db.Name()).Str("queues", strings.Join(slices.Sorted(maps.Keys(workers)), ", ")).Str("id", s.queue.ID()).Msg("working")
	<-e.ctx.Done()
	s.log.Info().Msg("stopping: finishing what is under way")
	return s.halt()
}

type migrateCmd struct {
	databaseFlag
	Check bool `help:"Only print the schema version."`
}

// Run brings the schema up to this program's version. The other commands do so
// by themselves; this one is for those who want to do it first.
func (c migrateCmd) Run(e *env) (err error) {
	url, err := c.url()
	if err != nil {
		return err
	}
	d, err := db.Open(e.ctx, url)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	if !c.Check {
		if err := d.Migrate(e.ctx); err != nil {
			return err
		}
	}
	has, knows, err := d.SchemaVersion(e.ctx)
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "%s has schema version %d; this program knows %d\n", d.Name(), has, knows)
	if has > knows {
		return fmt.Errorf("the database belongs to a newer version; upgrade eclose")
	}
	return nil
}
