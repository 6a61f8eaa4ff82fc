package db

import (
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/jackc/pgx/v5"

	"example.org/eclose/ingest/db/internal/sqlc"
)

// Moved is what became of one table.
type Moved struct {
	Table string
	Rows  int
}

// Move copies every row of our own tables from an SQLite database into an empty
// PostgreSQL one, in one transaction, and then reads both and compares them row
// by row: a difference undoes it all. River's tables stay behind; their jobs are
// for whoever knows their keys to add again.
func Move(ctx context.Context, from, to *DB, now time.Time, done func(Moved)) error {
	if from.Dialect != SQLite || to.Dialect != Postgres {
		return errors.New("can only move SQLite to PostgreSQL")
	}
	tables, err := ownTables(ctx, from.SQL)
	if err != nil {
		return fmt.Errorf("moving %s: %w", from.name, err)
	}
	// Nothing may change under our hands. The file has one connection, which this
	// transaction holds.
	src, err := from.SQL.BeginTx(ctx, nil)
	if err != nil {
		return fmt.Errorf("moving %s: %w", from.name, err)
	}
	defer func() { _ = src.Rollback() }()
	// Here the key of the links has a file of its own, there it is a row.
	key, err := readKey(KeyFile(from.name))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return fmt.Errorf("moving %s: %w", from.name, err)
	}
	err = to.Tx(ctx, func(tx *Tx) error {
		for _, t := range tables {
			if err := t.empty(ctx, tx); err != nil {
				return err
			}
		}
		for _, t := range tables {
			n, err := t.copy(ctx, src, tx.Pgx)
			if err != nil {
				return fmt.Errorf("copying the table %s: %w", t.name, err)
			}
			same, err := t.compare(ctx, src, tx)
			if err != nil {
				return fmt.Errorf("comparing the table %s: %w", t.name, err)
			}
			if same != n {
				return fmt.Errorf("comparing the table %s: %d rows copied, %d found", t.name, n, same)
			}
			if done != nil {
				done(Moved{t.name, n})
			}
		}
		if key == nil {
			return nil
		}
		return sqlc.New(tx).AddSecret(ctx, sqlc.AddSecretParams{Name: linksKey, Value: hex.EncodeToString(key), MadeAt: Micros(now)})
	})
	if err != nil {
		return fmt.Errorf("moving %s to %s: %w; nothing was changed", from.name, to.name, err)
	}
	return nil
}

// table is one table with its columns, the key's in order.
type table struct {
	name    string
	columns []string
	key     []string
	text    map[string]bool
	after   []string // tables it refers to
}

var tableName = regexp.MustCompile(`(?m)^(?:CREATE TABLE|ALTER TABLE \w+ RENAME TO) (\w+)`)

// created lists the tables that our migrations ever made: the others are those of
// goose and River.
func created() (map[string]bool, error) {
	out := map[string]bool{}
	err := fs.WalkDir(migrations, "migrations/sqlite", func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() {
			return err
		}
		text, err := migrations.ReadFile(path)
		for _, m := range tableName.FindAllSubmatch(text, -1) {
			out[string(m[1])] = true
		}
		return err
	})
	return out, err
}

// ownTables lists our tables, each after those it refers to.
func ownTables(ctx context.Context, s *sql.DB) ([]table, error) {
	names, err := strs(ctx, s, "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name")
	if err != nil {
		return nil, err
	}
	ours, err := created()
	if err != nil {
		return nil, err
	}
	names = slices.DeleteFunc(names, func(name string) bool { return !ours[name] })
	all := map[string]table{}
	for _, name := range names {
		t := table{name: name, text: map[string]bool{}}
		if t.columns, err = strs(ctx, s, "SELECT name FROM pragma_table_info($1) ORDER BY cid", name); err != nil {
			return nil, err
		}
		if t.key, err = strs(ctx, s, "SELECT name FROM pragma_table_info($1) WHERE pk > 0 ORDER BY pk", name); err != nil {
			return nil, err
		}
		text, err := strs(ctx, s, "SELECT name FROM pragma_table_info($1) WHERE type = 'TEXT'", name)
		if err != nil {
			return nil, err
		}
		for _, c := range text {
			t.text[c] = true
		}
		if t.after, err = strs(ctx, s, `SELECT "table" FROM pragma_foreign_key_list($1)`, name); err != nil {
			return nil, err
		}
		if len(t.key) == 0 {
			return nil, fmt.Errorf("the table %s has no key", name)
		}
		all[name] = t
	}
	var out []table
	done := map[string]bool{}
	var visit func(name string)
	visit = func(name string) {
		if done[name] {
			return
		}
		done[name] = true
		for _, a := range all[name].after {
			visit(a)
		}
		out = append(out, all[name])
	}
	for _, name := range names {
		visit(name)
	}
	return out, nil
}

func strs(ctx context.Context, q Querier, query string, args ...any) (out []string, err error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close() //nolint:errcheck // it was only read
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			return nil, err
		}
		out = append(out, s)
	}
	return out, rows.Err()
}

func (t table) empty(ctx context.Context, q Querier) error {
	var n int
	if err := q.QueryRowContext(ctx, "SELECT COUNT(*) FROM "+t.name).Scan(&n); err != nil {
		return fmt.Errorf("looking at the table %s: %w; is it migrated?", t.name, err)
	}
	// A key that a process makes on its first start is not yet anybody's.
	if n > 0 && t.name == "secret" {
		_, err := q.ExecContext(ctx, "DELETE FROM secret")
		return err
	}
	if n > 0 {
		return fmt.Errorf("the target table %s already has %d rows; use an empty database", t.name, n)
	}
	return nil
}

// query lists all rows in the order of the key, text by its bytes on both.
func (t table) query(collate string) string {
	key := make([]string, len(t.key))
	for i, k := range t.key {
		key[i] = k
		if t.text[k] {
			key[i] += collate
		}
	}
	return "SELECT " + strings.Join(t.columns, ", ") + " FROM " + t.name + " ORDER BY " + strings.Join(key, ", ")
}

func (t table) copy(ctx context.Context, from *sql.Tx, to pgx.Tx) (int, error) {
	rows, err := from.QueryContext(ctx, t.query(""))
	if err != nil {
		return 0, err
	}
	defer rows.Close() //nolint:errcheck // it was only read
	n, err := to.CopyFrom(ctx, pgx.Identifier{t.name}, t.columns, &copying{t: t, rows: rows})
	return int(n), errors.Join(err, rows.Err())
}

// copying feeds rows of database/sql to pgx.
type copying struct {
	t    table
	rows *sql.Rows
}

func (c *copying) Next() bool             { return c.rows.Next() }
func (c *copying) Values() ([]any, error) { return c.t.scan(c.rows) }
func (c *copying) Err() error             { return c.rows.Err() }

func (t table) scan(rows *sql.Rows) ([]any, error) {
	v := make([]any, len(t.columns))
	p := make([]any, len(v))
	for i := range v {
		p[i] = &v[i]
	}
	if err := rows.Scan(p...); err != nil {
		return nil, err
	}
	for i, x := range v {
		if b, ok := x.([]byte); ok {
			v[i] = string(b)
		}
	}
	return v, nil
}

func (t table) compare(ctx context.Context, from *sql.Tx, to Querier) (n int, err error) {
	a, err := from.QueryContext(ctx, t.query(""))
	if err != nil {
		return 0, err
	}
	defer a.Close() //nolint:errcheck // it was only read
	b, err := to.QueryContext(ctx, t.query(` COLLATE "C"`))
	if err != nil {
		return 0, err
	}
	defer b.Close() //nolint:errcheck // it was only read
	for a.Next() {
		if !b.Next() {
			return n, errors.Join(b.Err(), fmt.Errorf("row %d is missing", n+1))
		}
		x, err := t.scan(a)
		if err != nil {
			return n, err
		}
		y, err := t.scan(b)
		if err != nil {
			return n, err
		}
		if !slices.Equal(x, y) {
			return n, fmt.Errorf("row %d differs: %v there, %v here", n+1, y, x)
		}
		n++
	}
	if b.Next() {
		return n, fmt.Errorf("there are more than %d rows", n)
	}
	return n, errors.Join(a.Err(), b.Err())
}
