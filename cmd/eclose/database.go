package main

import (
	"errors"
	"fmt"
	"strings"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db"
)

type databaseCmd struct {
	Move databaseMoveCmd `cmd:"" help:"Copy an SQLite database to PostgreSQL and verify every row."`
}

type databaseMoveCmd struct {
	configFlag
	To string `required:"" help:"URL of an empty PostgreSQL database." placeholder:"postgres://…"`
}

// Run copies all rows in one transaction, reads both and compares them, and adds
// the jobs that are not finished. The SQLite file stays as it is.
func (c databaseMoveCmd) Run(e *env) (err error) {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	if !strings.HasPrefix(c.To, "postgres://") && !strings.HasPrefix(c.To, "postgresql://") {
		return app.Usagef("--to: write as postgres://user@host/name")
	}
	if !strings.HasPrefix(cfg.DatabaseURL(), "sqlite://") {
		return app.Usagef("%s already uses PostgreSQL", c.Config)
	}
	from, err := db.OpenMigrated(e.ctx, cfg.DatabaseURL())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, from.Close()) }()
	to, err := db.OpenMigrated(e.ctx, c.To)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, to.Close()) }()
	rows := 0
	err = db.Move(e.ctx, from, to, e.now(), func(m db.Moved) {
		rows += m.Rows
		fmt.Fprintf(e.stdout, "%-14s %8d rows copied and verified\n", m.Table, m.Rows)
	})
	if err != nil {
		return err
	}
	var queues [2]*jobs.Queue
	for i, d := range []*db.DB{from, to} {
		if queues[i], err = jobs.Open(e.ctx, d, jobs.Options{Log: zerolog.Nop(), Now: e.now}); err != nil {
			return err
		}
	}
	n, err := queues[1].Take(e.ctx, queues[0])
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stdout, "Copied %d rows and %d unfinished jobs to %s.\nNow set 'database' in %s to the new URL. The old file %s is unchanged; keep it until you are satisfied.\n",
		rows, n, to.Name(), c.Config, from.Name())
	return nil
}
