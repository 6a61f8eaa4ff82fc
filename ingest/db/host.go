package db

import (
	"context"
	"database/sql"
	"encoding/json"
	"errors"
	"net"
	"sync"
	"time"
)

// How long a guest may keep a transaction open, between two statements and in
// all: everybody else's writes wait for it. Our own defaults.
const (
	guestIdle = 10 * time.Second
	guestMost = 2 * time.Minute
)

// host begins to run the statements of other processes that may read and write
// the file: those that may open the socket.
func (d *DB) host(ctx context.Context) error {
	ln, err := listen(ctx, d.name)
	if err != nil {
		return err
	}
	if a, ok := ln.(interface{ address() string }); ok {
		if err := d.lock.say(a.address()); err != nil {
			return errors.Join(err, ln.Close())
		}
	}
	always, stop := context.WithCancel(context.WithoutCancel(ctx))
	var guests sync.WaitGroup
	guests.Go(func() {
		for {
			c, err := ln.Accept()
			if err != nil {
				if always.Err() != nil || errors.Is(err, net.ErrClosed) {
					return
				}
				time.Sleep(lockEvery) // too many files are open: others will be closed
				continue
			}
			guests.Go(func() {
				end := context.AfterFunc(always, func() { _ = c.Close() })
				defer end()
				(&visitor{db: d.SQL, conn: c, out: json.NewEncoder(c)}).serve(always)
			})
		}
	})
	d.unhost = func() error {
		err := errors.Join(d.lock.say(""), ln.Close())
		stop()
		guests.Wait()
		return err
	}
	return nil
}

// visitor is a guest at its host: one connection.
type visitor struct {
	db   *sql.DB
	conn net.Conn
	out  *json.Encoder
	tx   *sql.Tx
	end  context.CancelFunc
}

func (v *visitor) serve(ctx context.Context) {
	defer func() {
		v.leave()
		_ = v.conn.Close() // which tells the guest
	}()
	in := json.NewDecoder(v.conn)
	for {
		var r request // what is not sent stays as it was
		until := time.Time{}
		if v.tx != nil {
			until = time.Now().Add(guestIdle)
		}
		if err := v.conn.SetReadDeadline(until); err != nil {
			return
		}
		if err := in.Decode(&r); err != nil {
			return
		}
		a, err := v.answer(ctx, r)
		if err != nil {
			a = answer{Error: err.Error()}
		}
		if err := v.out.Encode(a); err != nil {
			return
		}
	}
}

// leave undoes what was not committed.
func (v *visitor) leave() {
	if v.tx != nil {
		_ = v.tx.Rollback() // of one that has ended it does nothing
		v.end()
		v.tx = nil
	}
}

func (v *visitor) querier() Querier {
	if v.tx != nil {
		return v.tx
	}
	return v.db
}

func (v *visitor) answer(ctx context.Context, r request) (a answer, err error) {
	args := make([]any, len(r.Args))
	for i, x := range r.Args {
		args[i] = x.Value.value()
		if x.Name != "" {
			args[i] = sql.Named(x.Name, args[i])
		}
	}
	switch r.Do {
	case doPing:
		return a, v.db.PingContext(ctx)
	case doBegin:
		if v.tx != nil {
			return a, errors.New("a transaction is open already")
		}
		var most context.Context
		most, v.end = context.WithTimeout(ctx, guestMost)
		if v.tx, err = v.db.BeginTx(most, nil); err != nil {
			v.end()
			v.tx = nil
		}
		return a, err
	case doCommit, doRollback:
		if v.tx == nil {
			return a, sql.ErrTxDone
		}
		defer v.leave()
		if r.Do == doRollback {
			return a, v.tx.Rollback()
		}
		return a, v.tx.Commit()
	case doExec:
		res, err := v.querier().ExecContext(ctx, r.SQL, args...)
		if err != nil {
			return a, err
		}
		a.Affected, err = res.RowsAffected()
		if err != nil {
			return a, err
		}
		a.LastID, err = res.LastInsertId()
		return a, err
	case doQuery:
		return v.rows(ctx, r.SQL, args)
	}
	return a, errors.New("the running process is of another version: use the same")
}

// rows sends what a query gives and returns the last part of it.
func (v *visitor) rows(ctx context.Context, query string, args []any) (a answer, err error) {
	rows, err := v.querier().QueryContext(ctx, query, args...)
	if err != nil {
		return a, err
	}
	defer rows.Close() //nolint:errcheck // it was only read
	if a.Columns, err = rows.Columns(); err != nil {
		return a, err
	}
	cells := make([]any, len(a.Columns))
	into := make([]any, len(cells))
	for i := range cells {
		into[i] = &cells[i]
	}
	for rows.Next() {
		if err := rows.Scan(into...); err != nil {
			return answer{}, err
		}
		row := make([]wireValue, len(cells))
		for i, c := range cells {
			if row[i], err = toWire(c); err != nil {
				return answer{}, err
			}
		}
		if a.Rows = append(a.Rows, row); len(a.Rows) == rowsAtOnce {
			a.More = true
			if err := v.out.Encode(a); err != nil {
				return answer{}, err
			}
			a = answer{Columns: a.Columns}
		}
	}
	return a, rows.Err()
}
