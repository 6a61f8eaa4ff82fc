package records

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"math"
	"slices"
	"time"

	"example.org/eclose/forecast/records/internal/sqlc"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/model/civil"
	"example.org/eclose/model/insects"
)

// Store keeps records in the database. Now is the clock.
type Store struct {
	DB  *db.DB
	Now func() time.Time
}

// A Record is a judged record as it is kept.
type Record struct {
	ID, Source, Name string
	Group            string // key; empty: it measures effort only
	Stage            Stage
	Why              LeftOut
	Region           insects.Region
	First, Last      time.Time // days, midnight UTC
	LatDeg, LonDeg   float64
	UncertaintyM     float64 // NaN: unknown
	ElevationM       float64 // NaN: unknown
	Obscured, Absent bool
	Individuals      float64 // NaN: unknown
	EffortHours      float64 // NaN: unknown
	Event, Observer  string
	Licence, Credit  string
	Published        time.Time // zero: unknown
	Stored           time.Time
	Withheld         bool // by the owner
}

// Fate says what became of one record.
type Fate int

// What may become of a record.
const (
	Added Fate = iota
	Changed
	Same
	Elsewhere // it is there already from another source
)

// Put keeps a batch of judged records, all or none, and returns what became of
// each. Refused records must not be in it.
func (s *Store) Put(ctx context.Context, batch []Judged) ([]Fate, error) {
	var out []Fate
	err := s.DB.Tx(ctx, func(tx *db.Tx) error {
		out = make([]Fate, 0, len(batch))
		for i := range batch {
			k, err := s.put(ctx, sqlc.New(tx), &batch[i])
			if err != nil {
				return fmt.Errorf("record %s: %w", batch[i].Key, err)
			}
			out = append(out, k)
		}
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("keeping open records: %w", err)
	}
	return out, nil
}

func (s *Store) put(ctx context.Context, q *sqlc.Queries, j *Judged) (Fate, error) {
	p := sqlc.PutRecordParams{
		ID: j.Key, Source: j.Source, Name: j.Name, Grp: j.Group, Stage: string(j.Stage), Why: string(j.Why), Region: string(j.Region),
		Day: j.Start.Format(time.DateOnly), LastDay: j.End.Format(time.DateOnly), Lat: j.LatDeg, Lon: j.LonDeg,
		UncertaintyM: null(j.UncertaintyM), ElevationM: null(j.ElevationM), Obscured: db.YesNo(j.Obscured), Absent: db.YesNo(j.Absent),
		Individuals: null(j.Count), EffortHours: null(j.EffortHours), Event: j.Event, Observer: j.Observer,
		Licence: string(j.Licence), Credit: j.Credit(), StoredAt: db.Micros(s.Now()),
	}
	if !j.Added.IsZero() {
		p.PublishedAt = db.Micros(j.Added)
	}
	old, err := q.Record(ctx, j.Key)
	kept := Changed
	switch {
	case errors.Is(err, sql.ErrNoRows):
		kept = Added
	case err != nil:
		return 0, err
	case old.Source != p.Source && (old.Why == "" || p.Why != ""):
		return Elsewhere, nil // the first copy stands unless this one tells more
	default:
		p.StoredAt = old.StoredAt
		if same(old, p) {
			return Same, nil
		}
	}
	return kept, q.PutRecord(ctx, p)
}

func same(o sqlc.OpenRecord, p sqlc.PutRecordParams) bool {
	return o == sqlc.OpenRecord{ID: p.ID, Source: p.Source, Name: p.Name, Grp: p.Grp, Stage: p.Stage, Why: p.Why, Region: p.Region,
		Day: p.Day, LastDay: p.LastDay, Lat: p.Lat, Lon: p.Lon, UncertaintyM: p.UncertaintyM, ElevationM: p.ElevationM,
		Obscured: p.Obscured, Absent: p.Absent, Individuals: p.Individuals, EffortHours: p.EffortHours, Event: p.Event, Observer: p.Observer,
		Licence: p.Licence, Credit: p.Credit, PublishedAt: p.PublishedAt, StoredAt: p.StoredAt, Withheld: o.Withheld}
}

func null(v float64) sql.NullFloat64 {
	if math.IsNaN(v) {
		return sql.NullFloat64{} // NaN would not equal itself
	}
	return sql.NullFloat64{Float64: v, Valid: true}
}

func orNaN(v sql.NullFloat64) float64 {
	if !v.Valid {
		return math.NaN()
	}
	return v.Float64
}

// Filter chooses records; a zero field does not filter.
type Filter struct {
	Group    string
	Region   insects.Region
	From, To time.Time // days, half-open
	Near     *Near
	Only     bool // those that stand for a group and are not withheld
}

// Near is a circle on the Earth.
type Near struct{ LatDeg, LonDeg, Km float64 }

// kmPerDegree of latitude.
const kmPerDegree = 111.2

// Has reports whether a place lies within.
func (n Near) Has(lat, lon float64) bool { return n.Distance(lat, lon) <= n.Km }

// Distance returns the distance of a place from the middle, km.
func (n Near) Distance(lat, lon float64) float64 {
	return ingest.DistanceKm(n.LatDeg, n.LonDeg, lat, lon)
}

// List returns the records that f chooses, by date.
func (s *Store) List(ctx context.Context, f Filter) ([]Record, error) {
	p := sqlc.RecordsParams{South: -90, North: 90, FromDay: "0000", ToDay: "9999", Grp: f.Group, Region: string(f.Region)}
	if f.Near != nil {
		p.South, p.North = f.Near.LatDeg-f.Near.Km/kmPerDegree, f.Near.LatDeg+f.Near.Km/kmPerDegree
	}
	if !f.From.IsZero() {
		p.FromDay = f.From.Format(time.DateOnly)
	}
	if !f.To.IsZero() {
		p.ToDay = f.To.Format(time.DateOnly)
	}
	rows, err := sqlc.New(s.DB.SQL).Records(ctx, p)
	if err != nil {
		return nil, fmt.Errorf("listing open records: %w", err)
	}
	var out []Record
	for _, r := range rows {
		if f.Near != nil && !f.Near.Has(r.Lat, r.Lon) || f.Only && (r.Grp == "" || r.Withheld != 0) {
			continue
		}
		out = append(out, fromRow(r))
	}
	return out, nil
}

func fromRow(r sqlc.OpenRecord) Record {
	x := Record{
		ID: r.ID, Source: r.Source, Name: r.Name, Group: r.Grp, Stage: Stage(r.Stage), Why: LeftOut(r.Why), Region: insects.Region(r.Region),
		LatDeg: r.Lat, LonDeg: r.Lon, UncertaintyM: orNaN(r.UncertaintyM), ElevationM: orNaN(r.ElevationM),
		Obscured: r.Obscured != 0, Absent: r.Absent != 0, Individuals: orNaN(r.Individuals), EffortHours: orNaN(r.EffortHours),
		Event: r.Event, Observer: r.Observer, Licence: r.Licence, Credit: r.Credit, Stored: db.Time(r.StoredAt), Withheld: r.Withheld != 0,
	}
	x.First, _ = time.Parse(time.DateOnly, r.Day) // we wrote them
	x.Last, _ = time.Parse(time.DateOnly, r.LastDay)
	if r.PublishedAt != 0 {
		x.Published = db.Time(r.PublishedAt)
	}
	return x
}

// Withhold keeps a record out of every forecast, or lets it in again.
func (s *Store) Withhold(ctx context.Context, id string, yes bool) error {
	n, err := sqlc.New(s.DB.SQL).Withhold(ctx, sqlc.WithholdParams{ID: id, Withheld: db.YesNo(yes)})
	if err == nil && n == 0 {
		err = db.ErrNotFound
	}
	if err != nil {
		return fmt.Errorf("withholding record %s: %w", id, err)
	}
	return nil
}

// Cursor is how far the records of a place were fetched.
type Cursor struct {
	LastID  int64
	Fetched time.Time
}

// Cursor returns how far a source was fetched for a place; zero: never.
func (s *Store) Cursor(ctx context.Context, source, place string) (Cursor, error) {
	c, err := sqlc.New(s.DB.SQL).Cursor(ctx, sqlc.CursorParams{Source: source, Place: place})
	if errors.Is(err, sql.ErrNoRows) {
		return Cursor{}, nil
	}
	if err != nil {
		return Cursor{}, fmt.Errorf("reading how far %s was fetched: %w", source, err)
	}
	out := Cursor{LastID: c.LastID}
	if c.FetchedAt != 0 {
		out.Fetched = db.Time(c.FetchedAt)
	}
	return out, nil
}

// SetCursor notes how far a source was fetched for a place.
func (s *Store) SetCursor(ctx context.Context, source, place string, c Cursor) error {
	p := sqlc.PutCursorParams{Source: source, Place: place, LastID: c.LastID}
	if !c.Fetched.IsZero() {
		p.FetchedAt = db.Micros(c.Fetched)
	}
	if err := sqlc.New(s.DB.SQL).PutCursor(ctx, p); err != nil {
		return fmt.Errorf("noting how far %s was fetched: %w", source, err)
	}
	return nil
}

// PutEffort keeps how many insects of any kind were recorded by day around a
// place.
func (s *Store) PutEffort(ctx context.Context, source, place string, days map[time.Time]int) error {
	err := s.DB.Tx(ctx, func(tx *db.Tx) error {
		for d, n := range days {
			if err := sqlc.New(tx).PutEffort(ctx, sqlc.PutEffortParams{Source: source, Place: place, Day: d.Format(time.DateOnly), N: int64(n)}); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return fmt.Errorf("keeping the effort around %s: %w", place, err)
	}
	return nil
}

// Home is a river for which records are read, with its region and how far around it
// records count for that, whatever box of the world they lie in.
type Home struct {
	Name   string
	Region insects.Region
	Near
}

// Open returns all that is kept of the regions of rivers, as a forecast takes it.
func (s *Store) Open(ctx context.Context, homes []Home) (*Open, error) {
	all, err := s.List(ctx, Filter{})
	if err != nil {
		return nil, err
	}
	out := &Open{}
	for _, r := range all {
		d := r.Dated()
		var of []insects.Region
		for _, h := range homes {
			if !slices.Contains(of, h.Region) && (h.Region == r.Region || h.Has(r.LatDeg, r.LonDeg)) {
				d.Region = h.Region
				of = append(of, h.Region)
				out.Records = append(out.Records, d)
			}
		}
	}
	for _, h := range homes {
		place, of := h.Name, h.Region
		rows, err := sqlc.New(s.DB.SQL).Efforts(ctx, place)
		if err != nil {
			return nil, fmt.Errorf("reading the effort around %s: %w", place, err)
		}
		for _, r := range rows {
			d, err := civil.Parse(r.Day)
			if err != nil {
				return nil, fmt.Errorf("reading the effort around %s: %w", place, err)
			}
			out.Effort = append(out.Effort, Looked{of, d, int(r.N)})
		}
	}
	return out, nil
}
