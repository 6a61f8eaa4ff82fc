package db

import (
	"context"
	"embed"
	"fmt"
	"io/fs"

	"github.com/pressly/goose/v3"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/riverdriver/riverpgxv5"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/riverqueue/river/rivermigrate"
)

//go:embed migrations/sqlite/*.sql migrations/postgres/*.sql
var migrations embed.FS

// Migrate brings our own tables and River's up to this program's version, in
// that order. A database of a newer version is left alone: ErrNewer. On PostgreSQL a lock lets one of several starting workers do it.
func (d *DB) Migrate(ctx context.Context) error {
	if d.Dialect == Postgres {
		conn, err := d.SQL.Conn(ctx)
		if err != nil {
			return fmt.Errorf("migrating %s: %w", d.name, err)
		}
		defer func() { _ = conn.Close() }()
		if _, err := conn.ExecContext(ctx, "SELECT pg_advisory_lock($1)", migrationLock); err != nil {
			return fmt.Errorf("migrating %s: waiting for the lock: %w", d.name, err)
		}
		defer func() {
			_, _ = conn.ExecContext(context.WithoutCancel(ctx), "SELECT pg_advisory_unlock($1)", migrationLock)
		}()
	}
	has, knows, err := d.SchemaVersion(ctx)
	if err != nil {
		return err
	}
	if has > knows {
		return fmt.Errorf("%s has schema %d, this program knows %d: %w", d.name, has, knows, ErrNewer)
	}
	p, err := d.goose()
	if err != nil {
		return err
	}
	if _, err := p.Up(ctx); err != nil {
		return fmt.Errorf("migrating %s: %w", d.name, err)
	}
	if err := d.migrateRiver(ctx); err != nil {
		return fmt.Errorf("migrating the job tables of %s: %w", d.name, err)
	}
	if err := d.forgetTableKeys(ctx); err != nil {
		return fmt.Errorf("moving the key of the links out of %s: %w", d.name, err)
	}
	return nil
}

// migrationLock is an arbitrary number that nothing else here uses.
const migrationLock = 8437_2026

func (d *DB) goose() (*goose.Provider, error) {
	dialect := goose.DialectSQLite3
	if d.Dialect == Postgres {
		dialect = goose.DialectPostgres
	}
	sub, err := fs.Sub(migrations, "migrations/"+string(d.Dialect))
	if err != nil {
		return nil, fmt.Errorf("reading the embedded migrations: %w", err)
	}
	p, err := goose.NewProvider(dialect, d.SQL, sub)
	if err != nil {
		return nil, fmt.Errorf("reading the embedded migrations: %w", err)
	}
	return p, nil
}

func (d *DB) migrateRiver(ctx context.Context) error {
	if d.Dialect == Postgres {
		return riverUp(ctx, riverpgxv5.New(d.Pool))
	}
	return riverUp(ctx, riversqlite.New(d.SQL))
}

func riverUp[T any](ctx context.Context, driver riverdriver.Driver[T]) error {
	m, err := rivermigrate.New(driver, nil)
	if err != nil {
		return err
	}
	_, err = m.Migrate(ctx, rivermigrate.DirectionUp, nil)
	return err
}
