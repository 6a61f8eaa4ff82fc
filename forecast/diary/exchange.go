package diary

import (
	"context"
	"crypto/hmac"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"time"

	"example.org/eclose/forecast/diary/internal/sqlc"
	"example.org/eclose/ingest/db"
)

// Shared is what one installation gives to its neighbours: its rivers and what
// was seen on them. It names nobody: who wrote a sighting is a pseudonym that
// means nothing elsewhere, and notes stay at home.
type Shared struct {
	Format       int              `json:"eclose_sightings"` // SharedFormat
	Installation string           `json:"installation"`     // pseudonym
	Made         time.Time        `json:"made"`
	Left         bool             `json:"left,omitempty"` // it has left: what it gave is to be forgotten
	Rivers       []SharedRiver    `json:"rivers"`
	Sightings    []SharedSighting `json:"sightings"`
}

// sharedFormat is the version of the file.
const sharedFormat = 1

// SharedRiver is a river of a neighbour.
type SharedRiver struct {
	Slug       string   `json:"slug"`
	Name       string   `json:"name"`
	Lat        float64  `json:"lat"`
	Lon        float64  `json:"lon"`
	ElevationM *float64 `json:"elevation_m,omitempty"`
}

// SharedSighting is one sighting of a neighbour.
type SharedSighting struct {
	ID       string    `json:"id"`
	By       string    `json:"by"` // pseudonym
	Date     string    `json:"date"`
	River    string    `json:"river"`
	Group    string    `json:"group"`
	Stage    string    `json:"stage"`
	Amount   Amount    `json:"amount"`
	Hours    float64   `json:"hours"`
	Recorded time.Time `json:"recorded"`
}

// Pseudonym returns the name of an installation, or of one of its authors, under
// its key.
func Pseudonym(key []byte, of string) string {
	m := hmac.New(sha256.New, key)
	m.Write([]byte("eclose neighbour\x00" + of)) // a hash never fails to be written to
	return hex.EncodeToString(m.Sum(nil)[:8])
}

// Share makes the file of an installation: the owner's sightings and the readers'
// that are not held back. A neighbour's are not passed on. leave says that the
// installation leaves; the file is then empty.
func (s *Store) Share(ctx context.Context, key []byte, rivers []SharedRiver, leave bool) (Shared, error) {
	out := Shared{Format: sharedFormat, Installation: Pseudonym(key, ""), Made: s.stamp(), Left: leave, Rivers: []SharedRiver{}, Sightings: []SharedSighting{}}
	if leave {
		return out, nil
	}
	out.Rivers = rivers
	all, err := s.List(ctx, Filter{})
	if err != nil {
		return out, err
	}
	mine := map[string]bool{}
	for _, r := range rivers {
		mine[r.Slug] = true
	}
	for _, x := range all {
		if x.Origin == Neighbour || x.Held || !mine[x.River] {
			continue
		}
		out.Sightings = append(out.Sightings, SharedSighting{ID: Pseudonym(key, "sighting "+x.ID), By: Pseudonym(key, "author "+x.Author+" "+x.Observer), Date: x.Date(),
			River: x.River, Group: x.Group, Stage: x.Stage, Amount: x.Amount, Hours: x.Hours, Recorded: x.Recorded})
	}
	return out, nil
}

var (
	pseudonym = regexp.MustCompile(`^[0-9a-f]{16}$`)
	slug      = regexp.MustCompile(`^[a-z0-9][a-z0-9-]{0,62}$`)
)

// Bounds of a neighbour's file; our own defaults.
const (
	mostShared = 50_000
	mostBytes  = 32 << 20
)

// ReadShared reads a neighbour's file and checks all of it: one fault refuses it.
func ReadShared(r io.Reader, now time.Time) (Shared, error) {
	var f Shared
	b, err := io.ReadAll(io.LimitReader(r, mostBytes+1))
	if err != nil {
		return f, fmt.Errorf("reading a neighbour's sightings: %w", err)
	}
	if len(b) > mostBytes {
		return f, errors.New("a neighbour's file: larger than 32 MiB")
	}
	if err := json.Unmarshal(b, &f); err != nil {
		return f, fmt.Errorf("a neighbour's file: not the expected JSON: %w", err)
	}
	switch {
	case f.Format != sharedFormat:
		return f, fmt.Errorf("a neighbour's file: format %d; this version reads %d", f.Format, sharedFormat)
	case !pseudonym.MatchString(f.Installation):
		return f, errors.New("a neighbour's file: installation is not a pseudonym of 16 hexadecimal digits")
	case len(f.Sightings) > mostShared || len(f.Rivers) > 1000:
		return f, fmt.Errorf("a neighbour's file: more than %d sightings or 1000 rivers", mostShared)
	}
	known := map[string]bool{}
	for _, r := range f.Rivers {
		if !slug.MatchString(r.Slug) || !(r.Lat >= -90 && r.Lat <= 90) || !(r.Lon >= -180 && r.Lon <= 180) || checkName(r.Name) != nil {
			return f, fmt.Errorf("a neighbour's file: river %.60q has no slug, name or place", r.Slug)
		}
		known[r.Slug] = true
	}
	for i, x := range f.Sightings {
		if !known[x.River] || !slug.MatchString(x.Group) || !pseudonym.MatchString(x.ID) || !pseudonym.MatchString(x.By) {
			return f, fmt.Errorf("a neighbour's file: sighting %d has an unknown river, or no group, id or pseudonym", i+1)
		}
		if err := f.sighting(x).Check(now); err != nil {
			return f, fmt.Errorf("a neighbour's file: sighting %d: %w", i+1, err)
		}
	}
	return f, nil
}

// neighbourRiver is the name under which a neighbour's river stands in the diary.
func neighbourRiver(installation, slug string) string {
	return "neighbour-" + installation[:6] + "-" + slug
}

func (f Shared) sighting(x SharedSighting) Sighting {
	day, _ := time.Parse(time.DateOnly, x.Date) // Check refuses the zero day
	return Sighting{ID: idOf("neighbour", f.Installation, x.ID), Day: day, River: neighbourRiver(f.Installation, x.River), Group: x.Group, Stage: x.Stage,
		Amount: x.Amount, Hours: x.Hours, Origin: Neighbour, Author: f.Installation}
}

// Receive takes in a neighbour's file: what is new is added, what is gone from it
// is withdrawn. A neighbour that left is forgotten. The installation's own file is
// refused.
func (s *Store) Receive(ctx context.Context, f Shared, own string) (Imported, error) {
	var n Imported
	if f.Installation == own {
		return n, errors.New("receiving sightings: this file is from this installation")
	}
	err := s.DB.Tx(ctx, func(tx *db.Tx) error {
		q := sqlc.New(tx)
		old, err := q.ByAuthor(ctx, f.Installation)
		if err != nil {
			return err
		}
		there := map[string]bool{}
		for _, x := range f.Sightings {
			y := f.sighting(x)
			there[y.ID] = true
			if was, err := q.Current(ctx, y.ID); err == nil {
				y.Held = was.Held != 0
			}
			done, err := s.put(ctx, tx, &y, true)
			if err != nil {
				return err
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
		for _, x := range fromRows(old) {
			if there[x.ID] {
				continue
			}
			x.Withdrawn = true
			if _, err := s.put(ctx, tx, &x, false); err != nil {
				return err
			}
			n.Revised++
		}
		if f.Left {
			_, err := q.DropNeighbour(ctx, f.Installation)
			return err
		}
		body, err := json.Marshal(f.Rivers)
		if err != nil {
			return err
		}
		return q.PutNeighbour(ctx, sqlc.PutNeighbourParams{ID: f.Installation, Rivers: string(body), MadeAt: db.Micros(f.Made), ReadAt: db.Micros(s.Now())})
	})
	if err != nil {
		return Imported{}, fmt.Errorf("receiving sightings: %w", err)
	}
	return n, nil
}

// A NeighbourInfo is an installation whose sightings were received.
type NeighbourInfo struct {
	ID     string
	Rivers []SharedRiver // under their names in the diary
	Made   time.Time
}

// Neighbours lists the installations whose sightings are kept.
func (s *Store) Neighbours(ctx context.Context) ([]NeighbourInfo, error) {
	rows, err := sqlc.New(s.DB.SQL).Neighbours(ctx)
	if err != nil {
		return nil, fmt.Errorf("listing neighbours: %w", err)
	}
	var out []NeighbourInfo
	for _, r := range rows {
		n := NeighbourInfo{ID: r.ID, Made: db.Time(r.MadeAt)}
		if err := json.Unmarshal([]byte(r.Rivers), &n.Rivers); err != nil {
			return nil, fmt.Errorf("listing neighbours: %s: %w", r.ID, err)
		}
		for i := range n.Rivers {
			n.Rivers[i].Slug = neighbourRiver(r.ID, n.Rivers[i].Slug)
		}
		out = append(out, n)
	}
	return out, nil
}

// Forget drops a neighbour and withdraws what it gave. id may be the beginning of
// its pseudonym.
func (s *Store) Forget(ctx context.Context, id string) error {
	all, err := s.Neighbours(ctx)
	if err != nil {
		return err
	}
	for _, n := range all {
		if len(id) >= 6 && strings.HasPrefix(n.ID, id) {
			_, err := s.Receive(ctx, Shared{Format: sharedFormat, Installation: n.ID, Left: true}, "")
			return err
		}
	}
	return fmt.Errorf("forgetting neighbour %.20q: %w", id, db.ErrNotFound)
}
