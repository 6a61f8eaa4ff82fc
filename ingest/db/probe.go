package db

import (
	"context"
	"errors"
	"fmt"
	"time"
)

// Probe writes one row, to see whether the database takes writes.
func (d *DB) Probe(ctx context.Context, now time.Time) error {
	_, err := d.SQL.ExecContext(ctx, "INSERT INTO probe (id, at) VALUES (1, $1) ON CONFLICT (id) DO UPDATE SET at = excluded.at", Micros(now))
	return doing(err, "writing to the database")
}

// CheckPages reads a whole SQLite file through a connection of its own and
// returns what is damaged in it.
func CheckPages(ctx context.Context, path string) (err error) {
	if path == memory {
		return nil
	}
	d, err := openSQLiteReader(ctx, path)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	var first string
	if err := d.SQL.QueryRowContext(ctx, "PRAGMA quick_check(1)").Scan(&first); err != nil {
		return fmt.Errorf("checking the pages of %s: %w", path, err)
	}
	if first != "ok" {
		return fmt.Errorf("%s is damaged (%s); stop eclose, keep the file, and restore the last backup", path, first)
	}
	return nil
}
