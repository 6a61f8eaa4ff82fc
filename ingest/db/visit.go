package db

import (
	"context"
	"database/sql"
	"database/sql/driver"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net"
	"time"
)

// visit opens a database through the server that has its file.
func visit(ctx context.Context, name, socket string) (*DB, error) {
	s := sql.OpenDB(guest{socket})
	s.SetMaxOpenConns(1) // as where the file is our own
	if err := s.PingContext(ctx); err != nil {
		return nil, fmt.Errorf("asking the process that has %s: %w", name, errors.Join(err, s.Close()))
	}
	return &DB{Dialect: SQLite, SQL: s, name: name}, nil
}

// guest is a driver.Connector whose statements another process runs.
type guest struct{ socket string }

func (g guest) Driver() driver.Driver { return guestDriver{} }

func (g guest) Connect(ctx context.Context) (driver.Conn, error) {
	c, err := dial(ctx, g.socket)
	if err != nil {
		return nil, err
	}
	return &guestConn{conn: c, in: json.NewDecoder(c), out: json.NewEncoder(c)}, nil
}

type guestDriver struct{}

func (guestDriver) Open(string) (driver.Conn, error) {
	return nil, errors.New("a guest connects by its socket")
}

type guestConn struct {
	conn net.Conn
	in   *json.Decoder
	out  *json.Encoder
	bad  bool // an answer is missing: nothing can be asked any more
}

// Every kind of use that database/sql looks for.
var (
	_ driver.ConnBeginTx    = (*guestConn)(nil)
	_ driver.ExecerContext  = (*guestConn)(nil)
	_ driver.QueryerContext = (*guestConn)(nil)
	_ driver.Pinger         = (*guestConn)(nil)
	_ driver.Validator      = (*guestConn)(nil)
)

func (c *guestConn) IsValid() bool { return !c.bad }
func (c *guestConn) Close() error  { return c.conn.Close() }

// ask sends a request and reads the first answer. When ctx ends, so does the
// connection, and with it what was not committed.
func (c *guestConn) ask(ctx context.Context, r request) (a answer, err error) {
	if c.bad {
		return a, driver.ErrBadConn
	}
	stop := context.AfterFunc(ctx, func() { _ = c.conn.SetDeadline(time.Unix(1, 0)) })
	err = c.out.Encode(r)
	if err == nil {
		a, err = c.next()
	}
	if !stop() && err == nil {
		c.bad = true // the deadline may come at any time
	}
	if err != nil {
		c.bad = true
		if ctx.Err() != nil {
			err = ctx.Err()
		}
		return a, fmt.Errorf("asking the process that has the database: %w", err)
	}
	if a.Error != "" {
		return a, errors.New(a.Error)
	}
	return a, nil
}

func (c *guestConn) next() (a answer, err error) {
	if err = c.in.Decode(&a); err != nil {
		c.bad = true
	}
	return a, err
}

func (c *guestConn) Ping(ctx context.Context) error {
	_, err := c.ask(ctx, request{Do: doPing})
	return err
}

func (c *guestConn) BeginTx(ctx context.Context, _ driver.TxOptions) (driver.Tx, error) {
	_, err := c.ask(ctx, request{Do: doBegin})
	return guestTx{c}, err
}

func (c *guestConn) Begin() (driver.Tx, error) {
	return c.BeginTx(context.Background(), driver.TxOptions{})
}

type guestTx struct{ c *guestConn }

func (t guestTx) end(v verb) error {
	_, err := t.c.ask(context.Background(), request{Do: v})
	return err
}

func (t guestTx) Commit() error   { return t.end(doCommit) }
func (t guestTx) Rollback() error { return t.end(doRollback) }

func wireArgs(args []driver.NamedValue) ([]wireArg, error) {
	out := make([]wireArg, len(args))
	for i, a := range args {
		v, err := toWire(a.Value)
		if err != nil {
			return nil, err
		}
		out[i] = wireArg{Name: a.Name, Value: v}
	}
	return out, nil
}

func (c *guestConn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	w, err := wireArgs(args)
	if err != nil {
		return nil, err
	}
	a, err := c.ask(ctx, request{Do: doExec, SQL: query, Args: w})
	return guestResult{a}, err
}

type guestResult struct{ a answer }

func (r guestResult) LastInsertId() (int64, error) { return r.a.LastID, nil }
func (r guestResult) RowsAffected() (int64, error) { return r.a.Affected, nil }

func (c *guestConn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	w, err := wireArgs(args)
	if err != nil {
		return nil, err
	}
	a, err := c.ask(ctx, request{Do: doQuery, SQL: query, Args: w})
	if err != nil {
		return nil, err
	}
	return &guestRows{c: c, a: a}, nil
}

type guestRows struct {
	c *guestConn
	a answer
	n int
}

func (r *guestRows) Columns() []string { return r.a.Columns }

func (r *guestRows) Next(into []driver.Value) error {
	for r.n >= len(r.a.Rows) {
		if !r.a.More {
			return io.EOF
		}
		a, err := r.c.next()
		if err == nil && a.Error != "" {
			err = errors.New(a.Error)
		}
		if err != nil {
			r.a = answer{}
			return err
		}
		r.a, r.n = a, 0
	}
	for i, v := range r.a.Rows[r.n] {
		into[i] = v.value()
	}
	r.n++
	return nil
}

// Close reads what is still to come: the next answer must be the next one's.
func (r *guestRows) Close() error {
	for r.a.More {
		a, err := r.c.next()
		if err != nil {
			return err
		}
		r.a = a
	}
	r.a = answer{}
	return nil
}

// Prepare keeps a statement for later; it is prepared where it is run.
func (c *guestConn) Prepare(query string) (driver.Stmt, error) { return guestStmt{c, query}, nil }

type guestStmt struct {
	c     *guestConn
	query string
}

func (s guestStmt) Close() error  { return nil }
func (s guestStmt) NumInput() int { return -1 }

func (s guestStmt) Exec([]driver.Value) (driver.Result, error) { return nil, driver.ErrSkip }
func (s guestStmt) Query([]driver.Value) (driver.Rows, error)  { return nil, driver.ErrSkip }

func (s guestStmt) ExecContext(ctx context.Context, args []driver.NamedValue) (driver.Result, error) {
	return s.c.ExecContext(ctx, s.query, args)
}

func (s guestStmt) QueryContext(ctx context.Context, args []driver.NamedValue) (driver.Rows, error) {
	return s.c.QueryContext(ctx, s.query, args)
}
