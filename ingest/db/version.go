package db

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strconv"
	"strings"
)

// ErrNewer is wrapped where a newer version of this program changed the schema.
var ErrNewer = errors.New("a newer version of Eclose changed this database; upgrade this one")

// errOlder is wrapped where a database that is only read has an older schema.
var errOlder = errors.New("the database has an older schema; run eclose migrate, or restart eclose serve with this version")

// SchemaVersion is the version that the database has, and the one that this
// program knows.
func (d *DB) SchemaVersion(ctx context.Context) (has, knows int64, err error) {
	doing := func(err error) (int64, int64, error) {
		return 0, 0, fmt.Errorf("reading the schema version of %s: %w", d.name, err)
	}
	files, err := fs.ReadDir(migrations, "migrations/"+string(d.Dialect))
	if err != nil {
		return doing(err)
	}
	for _, f := range files {
		number, _, _ := strings.Cut(f.Name(), "_")
		n, err := strconv.ParseInt(number, 10, 64)
		if err != nil {
			return doing(err)
		}
		knows = max(knows, n)
	}
	made, err := d.hasTable(ctx, "goose_db_version")
	if err != nil {
		return doing(err)
	}
	if made {
		err = d.SQL.QueryRowContext(ctx, "SELECT COALESCE(MAX(version_id), 0) FROM goose_db_version").Scan(&has)
	}
	if err != nil {
		return doing(err)
	}
	return has, knows, nil
}

func (d *DB) hasTable(ctx context.Context, name string) (bool, error) {
	query := "SELECT COUNT(*) FROM sqlite_master WHERE type = 'table' AND name = $1"
	if d.Dialect == Postgres {
		query = "SELECT COUNT(*) FROM pg_tables WHERE schemaname = current_schema() AND tablename = $1"
	}
	var n int
	err := d.SQL.QueryRowContext(ctx, query, name).Scan(&n)
	return n > 0, err
}

// fits says whether the schema is this program's own.
func (d *DB) fits(ctx context.Context) error {
	has, knows, err := d.SchemaVersion(ctx)
	switch {
	case err != nil:
		return err
	case has > knows:
		return fmt.Errorf("%s has schema %d, this program knows %d: %w", d.name, has, knows, ErrNewer)
	case has < knows:
		return fmt.Errorf("%s has schema %d, this program needs %d: %w", d.name, has, knows, errOlder)
	}
	return nil
}

// Schema is SchemaVersion of the database that url names, whichever version it
// has and whoever writes to it.
func Schema(ctx context.Context, url string) (name string, has, knows int64, err error) {
	path, remote, err := placeOf(url)
	var d *DB
	if err != nil || remote {
		d, err = openPostgresOr(ctx, url, err)
	} else {
		d, err = openSQLiteReader(ctx, path)
	}
	if err != nil {
		return "", 0, 0, err
	}
	has, knows, err = d.SchemaVersion(ctx)
	return d.name, has, knows, errors.Join(err, d.Close())
}
