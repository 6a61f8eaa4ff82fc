package db

import (
	"context"
	"errors"
	"fmt"
	"net/url"
	"strings"

	"github.com/jackc/pgx/v5"
	"github.com/jackc/pgx/v5/pgxpool"
	"github.com/jackc/pgx/v5/stdlib"
)

// poolSize is enough for a process that works all queues: River listens on one
// connection, a lock is held on another, each job under way may need one. pgx's
// own default is 4 on a small machine, which is none left.
const poolSize = 16

func openPostgres(ctx context.Context, dsn string) (*DB, error) {
	name := "postgres"
	if u, err := url.Parse(dsn); err == nil {
		name = "postgres://" + u.Host + u.Path
	}
	cfg, err := pgxpool.ParseConfig(dsn)
	if err != nil {
		// pgx hides the password in this message.
		return nil, fmt.Errorf("opening the database %s: %w", name, err)
	}
	if !strings.Contains(dsn, "pool_max_conns") {
		cfg.MaxConns = max(cfg.MaxConns, poolSize)
	}
	pool, err := pgxpool.NewWithConfig(ctx, cfg)
	if err != nil {
		return nil, fmt.Errorf("opening the database %s: %w", name, err)
	}
	if err := pool.Ping(ctx); err != nil {
		pool.Close()
		return nil, fmt.Errorf("opening the database %s: %w; is the server running and the URL right?", name, err)
	}
	return &DB{Dialect: Postgres, SQL: stdlib.OpenDBFromPool(pool), Pool: pool, name: name}, nil
}

// txPostgres begins the transaction with pgx on the connection that
// database/sql then uses, so that our queries and River's InsertTx share it.
func (d *DB) txPostgres(ctx context.Context, do func(*Tx) error) error {
	conn, err := d.SQL.Conn(ctx)
	if err != nil {
		return fmt.Errorf("beginning a transaction: %w", err)
	}
	defer func() { _ = conn.Close() }()
	var tx pgx.Tx
	err = conn.Raw(func(dc any) error {
		c, ok := dc.(*stdlib.Conn)
		if !ok {
			return errors.New("the connection is not pgx's")
		}
		tx, err = c.Conn().Begin(ctx)
		return err
	})
	if err != nil {
		return fmt.Errorf("beginning a transaction: %w", err)
	}
	// A connection that broke under a query has been given up by database/sql by
	// now, and is being closed by the pool while we look: only Raw may touch it,
	// which knows.
	end := func(ctx context.Context, how func(context.Context) error) error {
		return conn.Raw(func(any) error { return how(ctx) })
	}
	// The rollback must reach the server even when ctx is what ended us: the
	// connection goes back to the pool. After a commit it does nothing.
	defer func() { _ = end(context.WithoutCancel(ctx), tx.Rollback) }()
	if err := do(&Tx{Querier: conn, Dialect: d.Dialect, Pgx: tx}); err != nil {
		return err
	}
	if err := end(ctx, tx.Commit); err != nil {
		return fmt.Errorf("committing a transaction: %w", err)
	}
	return nil
}
