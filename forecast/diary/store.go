package diary

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"example.org/eclose/forecast/diary/internal/sqlc"
	"example.org/eclose/ingest/db"
)

// Store is the diary in its database. Now is the clock.
type Store struct {
	DB  *db.DB
	Now func() time.Time
}

// Filter chooses sightings; a zero field does not filter.
type Filter struct {
	River, Group, Stage string
	From, To            time.Time // civil dates, half-open
	AsOf                time.Time // what the diary said then; zero: what it says now
}

// Add checks and keeps a new sighting and returns it with its id.
func (s *Store) Add(ctx context.Context, x Sighting) (Sighting, error) {
	x.Notes = tidy(x.Notes)
	if err := x.Check(s.Now()); err != nil {
		return x, fmt.Errorf("adding a sighting: %w", err)
	}
	var b [8]byte
	_, _ = rand.Read(b[:]) // never fails: see crypto/rand
	x.ID, x.Revision, x.Withdrawn = hex.EncodeToString(b[:]), 1, false
	x.Recorded = s.stamp()
	if err := add(ctx, s.DB.SQL, x); err != nil {
		return x, fmt.Errorf("adding a sighting: %w", err)
	}
	return x, nil
}

// Revise puts x in the place of the sighting with its id; the old text stays
// readable through History and as of its time.
func (s *Store) Revise(ctx context.Context, x Sighting) (Sighting, error) {
	if err := x.Check(s.Now()); err != nil {
		return x, fmt.Errorf("revising sighting %s: %w", x.ID, err)
	}
	err := s.DB.Tx(ctx, func(tx *db.Tx) error {
		_, err := s.put(ctx, tx, &x, false)
		return err
	})
	if err != nil {
		return x, fmt.Errorf("revising sighting %s: %w", x.ID, err)
	}
	return x, nil
}

// Withdraw takes a sighting out of the diary; its history stays.
func (s *Store) Withdraw(ctx context.Context, id string) error {
	if err := s.change(ctx, id, func(x *Sighting) { x.Withdrawn = true }); err != nil {
		return fmt.Errorf("withdrawing sighting %s: %w", id, err)
	}
	return nil
}

// change makes a revision of a sighting.
func (s *Store) change(ctx context.Context, id string, f func(*Sighting)) error {
	return s.DB.Tx(ctx, func(tx *db.Tx) error {
		old, err := sqlc.New(tx).Current(ctx, id)
		if err != nil {
			return notFound(err)
		}
		x := fromRow(old)
		f(&x)
		_, err = s.put(ctx, tx, &x, false)
		return err
	})
}

// Imported counts what an import did.
type Imported struct{ Added, Revised, Unchanged int }

// Import keeps all of xs or none. Sightings without an id get one made of
// their date, river, group, stage and observer, so that importing a file again
// changes only what changed in it.
func (s *Store) Import(ctx context.Context, xs []Sighting) (Imported, error) {
	var n Imported
	seen := map[string]int{}
	err := s.DB.Tx(ctx, func(tx *db.Tx) error {
		for _, x := range xs {
			if err := x.Check(s.Now()); err != nil {
				return fmt.Errorf("sighting of %s on %s: %w", x.Group, x.Date(), err)
			}
			if x.ID == "" {
				// A second hour by the same observer is a second sighting.
				key := strings.Join([]string{x.Date(), x.River, x.Group, x.Stage, x.Observer}, "\x00")
				seen[key]++
				sum := sha256.Sum256(fmt.Appendf(nil, "%s\x00%d", key, seen[key]))
				x.ID = hex.EncodeToString(sum[:8])
			}
			done, err := s.put(ctx, tx, &x, true)
			if err != nil {
				return fmt.Errorf("sighting of %s on %s: %w", x.Group, x.Date(), err)
			}
			switch done {
			case 0:
				n.Unchanged++
			case 1:
				n.Added++
			default:
				n.Revised++
			}
		}
		return nil
	})
	if err != nil {
		return Imported{}, fmt.Errorf("importing sightings: %w", err)
	}
	return n, nil
}

// put writes the next revision of x unless nothing changed. It returns the
// revision written, 0 for none.
func (s *Store) put(ctx context.Context, q db.Querier, x *Sighting, mayBeNew bool) (int, error) {
	x.Notes = tidy(x.Notes)
	row, err := sqlc.New(q).Current(ctx, x.ID)
	switch {
	case errors.Is(err, sql.ErrNoRows) && mayBeNew:
		x.Revision = 1
	case err != nil:
		return 0, notFound(err)
	default:
		old := fromRow(row)
		if old.same(*x) {
			*x = old
			return 0, nil
		}
		x.Revision = old.Revision + 1
	}
	x.Recorded = s.stamp()
	return x.Revision, add(ctx, q, *x)
}

// stamp is the clock at the database's grain.
func (s *Store) stamp() time.Time { return s.Now().UTC().Truncate(time.Microsecond) }

// List returns the sightings that f chooses, by date.
func (s *Store) List(ctx context.Context, f Filter) ([]Sighting, error) {
	p := sqlc.ListParams{River: f.River, Grp: f.Group, Stage: f.Stage, FromDay: "0000", ToDay: "9999", AsOf: math.MaxInt64}
	if !f.From.IsZero() {
		p.FromDay = f.From.Format(time.DateOnly)
	}
	if !f.To.IsZero() {
		p.ToDay = f.To.Format(time.DateOnly)
	}
	if !f.AsOf.IsZero() {
		p.AsOf = db.Micros(f.AsOf)
	}
	got, err := sqlc.New(s.DB.SQL).List(ctx, p)
	if err != nil {
		return nil, fmt.Errorf("listing sightings: %w", err)
	}
	return fromRows(got), nil
}

// History returns every revision of one sighting, oldest first.
func (s *Store) History(ctx context.Context, id string) ([]Sighting, error) {
	got, err := sqlc.New(s.DB.SQL).History(ctx, id)
	if err == nil && len(got) == 0 {
		err = db.ErrNotFound
	}
	if err != nil {
		return nil, fmt.Errorf("reading the history of sighting %s: %w", id, err)
	}
	return fromRows(got), nil
}

// tidy makes notes what a CSV file can carry there and back.
func tidy(notes string) string {
	return strings.TrimSpace(strings.NewReplacer("\r\n", "\n", "\r", "\n").Replace(notes))
}

func notFound(err error) error {
	if errors.Is(err, sql.ErrNoRows) {
		return db.ErrNotFound
	}
	return err
}

func add(ctx context.Context, q db.Querier, x Sighting) error {
	p := sqlc.AddRevisionParams{
		ID: x.ID, Revision: int64(x.Revision), Day: x.Date(), River: x.River, Grp: x.Group, Stage: x.Stage,
		Amount: string(x.Amount), Hours: x.Hours, Notes: x.Notes, Observer: x.Observer,
		Withdrawn: db.YesNo(x.Withdrawn), RecordedAt: db.Micros(x.Recorded), Origin: string(x.Origin), Author: x.Author, Held: db.YesNo(x.Held),
	}
	if x.WaterC != nil {
		p.WaterC = sql.NullFloat64{Float64: *x.WaterC, Valid: true}
	}
	return sqlc.New(q).AddRevision(ctx, p)
}

func fromRows(rs []sqlc.Sighting) []Sighting {
	out := make([]Sighting, len(rs))
	for i, r := range rs {
		out[i] = fromRow(r)
	}
	return out
}

func fromRow(r sqlc.Sighting) Sighting {
	x := Sighting{
		ID: r.ID, Revision: int(r.Revision), River: r.River, Group: r.Grp, Stage: r.Stage, Amount: Amount(r.Amount),
		Hours: r.Hours, Notes: r.Notes, Observer: r.Observer, Withdrawn: r.Withdrawn != 0, Recorded: db.Time(r.RecordedAt),
		Origin: Origin(r.Origin), Author: r.Author, Held: r.Held != 0,
	}
	x.Day, _ = time.Parse(time.DateOnly, r.Day) // we wrote it
	if r.WaterC.Valid {
		x.WaterC = &r.WaterC.Float64
	}
	return x
}
