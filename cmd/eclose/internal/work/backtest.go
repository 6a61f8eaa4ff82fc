package work

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/backtest/rivers"
	"example.org/eclose/forecast/records"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
)

// Backtest is a backtest that workers share: all that its slices depend on beside
// the stored series. It lies with the files, so that a job carries keys only.
type Backtest struct {
	Rivers    []string            `json:"rivers"` // short names
	First     int                 `json:"first"`
	Last      int                 `json:"last"`
	Leads     []int               `json:"leads"`
	Every     int                 `json:"every"`
	Members   int                 `json:"members"`
	Now       time.Time           `json:"now"`
	Sightings []forecast.Sighting `json:"sightings"`

	Sites   []forecast.River        `json:"sites,omitempty"`   // of neighbours
	Open    *records.Open           `json:"open,omitempty"`    // nil: none
	Without []forecast.SightingKind `json:"without,omitempty"` // kinds that no forecast may know
}

// BacktestFolder is where the files of a run lie.
func BacktestFolder(run string) string { return "backtests/" + run }

const maxPlan = 256 << 20

// ErrNoRun is wrapped where no run of that name was ever begun.
var ErrNoRun = errors.New("no such run of a backtest")

// WriteBacktest begins a run.
func WriteBacktest(ctx context.Context, f *series.Files, run string, b Backtest) error {
	text, err := json.Marshal(b)
	if err != nil {
		return fmt.Errorf("beginning the backtest %s: %w", run, err)
	}
	return f.Write(ctx, BacktestFolder(run)+"/plan.json", text)
}

// ReadBacktest returns the plan of a run.
func ReadBacktest(ctx context.Context, f *series.Files, run string) (b Backtest, err error) {
	text, err := f.Read(ctx, BacktestFolder(run)+"/plan.json", maxPlan)
	if errors.Is(err, series.ErrNoFile) {
		return b, fmt.Errorf("backtest %s: %w", run, ErrNoRun)
	}
	if err != nil {
		return b, err
	}
	if err := json.Unmarshal(text, &b); err != nil {
		return b, fmt.Errorf("reading the plan of the backtest %s: %w", run, err)
	}
	return b, nil
}

// Plan is the run as the backtest wants it; the rivers and the catalogue are for
// the caller to name.
func (b Backtest) Plan() rivers.Plan {
	return rivers.Plan{First: b.First, Last: b.Last, Leads: b.Leads, Every: b.Every, Members: b.Members, Now: b.Now, Sightings: b.Sightings,
		Sites: b.Sites, Open: b.Open, Without: b.Without, Workers: 1}
}

// asking remembers whether the store failed: what fails otherwise fails again.
type asking struct {
	rivers.Source
	failed atomic.Bool
}

func (a *asking) note(err error) {
	if err != nil && !errors.Is(err, forecast.ErrNothingKnown) {
		a.failed.Store(true)
	}
}

func (a *asking) Whole(ctx context.Context, r forecast.River) (forecast.Record, error) {
	rec, err := a.Source.Whole(ctx, r)
	a.note(err)
	return rec, err
}

func (a *asking) AsOf(ctx context.Context, r forecast.River, at time.Time) (forecast.Record, bool, error) {
	rec, known, err := a.Source.AsOf(ctx, r, at)
	a.note(err)
	return rec, known, err
}

// BacktestSeason computes one season of one river and keeps it where whoever judges the
// run finds it: the same file, to the byte, that a run in one process leaves.
func (h *Service) BacktestSeason(ctx context.Context, k jobs.BacktestSeason) (err error) {
	r, err := h.river(k.River)
	if err != nil {
		return err
	}
	b, err := ReadBacktest(ctx, h.Files, k.Run)
	if errors.Is(err, ErrNoRun) {
		return jobs.Final{Err: err}
	}
	if err != nil {
		return err
	}
	dir, err := os.MkdirTemp("", "eclose-slice-*")
	if err != nil {
		return fmt.Errorf("making a folder for a slice: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	p := b.Plan()
	p.Rivers, p.Catalogue, p.First, p.Last, p.Dir = append(p.Rivers, r), h.Catalogue, k.Season, k.Season, dir
	asked := &asking{Source: rivers.Stored{Store: h.Read, Now: b.Now}}
	if _, err := rivers.Run(ctx, p, asked); err != nil {
		if ctx.Err() == nil && !asked.failed.Load() && !errors.As(err, new(*fs.PathError)) {
			return jobs.Final{Err: err} // the same readings would fail again
		}
		return err
	}
	made, err := os.ReadDir(dir)
	if err != nil || len(made) != 1 {
		return fmt.Errorf("the backtest left %d files for a slice, not one: %w", len(made), err)
	}
	text, err := os.ReadFile(filepath.Join(dir, made[0].Name()))
	if err != nil {
		return err
	}
	name := BacktestFolder(k.Run) + "/slices/" + made[0].Name()
	if err := h.Files.Write(ctx, name, text); err != nil {
		return err
	}
	sum := sha256.Sum256(text)
	return h.DB.Tx(ctx, func(tx *db.Tx) error {
		return db.PutArtefact(ctx, tx, db.Artefact{Name: name, SHA256: hex.EncodeToString(sum[:]), Bytes: int64(len(text)), Made: h.Queue.Now()})
	})
}
