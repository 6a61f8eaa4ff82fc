package work

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/forecast/export"
	"example.org/eclose/ingest/db"
)

// A slot counts as missed when it is this long past: nothing ran when it came.
// An outlook of then would know nothing of what the first fetches now bring, so
// it is issued a little later than now instead. Our own defaults.
const (
	missedAfter = 10 * time.Minute
	makeUpAfter = 3 * time.Minute
)

// outlooks are the jobs of a slot. A river whose feeds were never asked is left
// out: the fetch that completes its first data has its outlook issued.
func (h *Service) outlooks(ctx context.Context, slot time.Time) (all []jobs.Args, err error) {
	at := slot
	if now := h.Queue.Now(); now.Sub(slot) > missedAfter {
		at = jobs.Slot(now.Add(makeUpAfter))
	}
	for _, r := range h.Rivers {
		asked, err := h.asked(ctx, r.Slug)
		if err != nil {
			return nil, err
		}
		if asked {
			all = append(all, jobs.At{Args: jobs.Outlook{River: r.Slug, Issue: at}, At: at})
		}
	}
	return all, nil
}

// asked says whether each feed of a river was ever asked, with or without an
// answer. Where nothing is fetched at all there is nothing to wait for.
func (h *Service) asked(ctx context.Context, river string) (bool, error) {
	if h.Tasks == nil {
		return true, nil
	}
	p, err := h.tasksOf(river)
	if err != nil {
		return false, err
	}
	for _, t := range p.Tasks {
		if t.Optional {
			continue
		}
		_, err := db.GetFeedState(ctx, h.DB.SQL, t.Source.Name(), site(t))
		if errors.Is(err, db.ErrNotFound) {
			return false, nil
		}
		if err != nil {
			return false, err
		}
	}
	return true, nil
}

// Outlook issues the outlook of a river as of a moment: file first, then the row
// and the job that weighs it, together.
func (h *Service) Outlook(ctx context.Context, k jobs.Outlook) error {
	r, err := h.river(k.River)
	if err != nil {
		return err
	}
	done, err := h.Archive.Issued(ctx, k.River, k.Issue, forecast.ModelVersion)
	if err != nil || done {
		return err
	}
	o, err := h.issue(ctx, r, k.Issue)
	if err != nil {
		return err
	}
	stored, err := h.Archive.Put(ctx, o)
	if err != nil {
		return err
	}
	err = h.DB.Tx(ctx, func(tx *db.Tx) error {
		if err := h.Archive.Record(ctx, tx, stored, h.Queue.Now()); err != nil {
			return err
		}
		_, err := h.Queue.AddTx(ctx, tx, jobs.Alerts{River: k.River, Cause: k.Issue, Outlook: true})
		return err
	})
	if errors.Is(err, archive.ErrChanged) {
		// Another worker issued it from data that changed in between: theirs stands.
		h.Log.Warn().Str("river", k.River).Time("issue", k.Issue).Msg("another worker issued this forecast from different data; keeping theirs")
		return nil
	}
	return err
}

func (h *Service) issue(ctx context.Context, r forecast.River, at time.Time) (*forecast.Outlook, error) {
	if h.Issue != nil {
		return h.Issue(ctx, r, at)
	}
	o, err := h.gatherAndIssue(ctx, r, at)
	if known, ok := h.Read.(*Reader); ok && errors.Is(err, forecast.ErrNothingKnown) {
		known.Forget() // another process may have fetched it since
		o, err = h.gatherAndIssue(ctx, r, at)
	}
	return o, err
}

func (h *Service) gatherAndIssue(ctx context.Context, r forecast.River, at time.Time) (*forecast.Outlook, error) {
	rec, err := forecast.Gather(ctx, h.Read, r, at)
	if err != nil {
		return nil, err
	}
	sightings, err := h.sightings(ctx)
	if err != nil {
		return nil, err
	}
	sites, err := h.sites(ctx)
	if err != nil {
		return nil, err
	}
	open, err := h.open(ctx)
	if err != nil {
		return nil, err
	}
	// An issuer serves one goroutine at a time and keeps what outlooks share.
	is, ok := h.issuer.Get().(*forecast.Issuer)
	if !ok {
		is = new(forecast.Issuer)
	}
	defer h.issuer.Put(is)
	o, err := is.Outlook(rec, r, h.Catalogue, forecast.Options{Members: h.Members, Sightings: sightings, Sites: sites, Open: open, Fits: &h.fits})
	if err != nil {
		// The same readings would fail again. Where there were none yet, the first
		// whole answer of the feeds asks again: see Fetch.
		return nil, jobs.Final{Err: err}
	}
	return o, nil
}

// Export writes the outlooks of a river that were issued in a month, as one
// Parquet file named by both.
func (h *Service) Export(ctx context.Context, k jobs.Export) error {
	from := time.Date(k.Month.Year(), k.Month.Month(), 1, 0, 0, 0, 0, time.UTC)
	heads, err := h.Archive.List(ctx, k.River, from, from.AddDate(0, 1, 0))
	if err != nil {
		return err
	}
	if len(heads) == 0 {
		return jobs.Final{Err: fmt.Errorf("no forecast for %s was issued in %s", k.River, from.Format("January 2006"))}
	}
	rows := func(yield func(export.Row, error) bool) {
		for _, head := range heads {
			o, err := h.Archive.Load(ctx, head.River, head.Issued, head.ModelVersion)
			if err != nil {
				yield(export.Row{}, err)
				return
			}
			for r := range export.Flatten(o, 0, 0) {
				if !yield(r, nil) {
					return
				}
			}
		}
	}
	// Dated by its content, so that the same outlooks give the same bytes.
	meta := export.Meta{
		Title: "Emergence and egg-laying forecasts, " + k.River + ", " + from.Format("January 2006"), Source: "eclose, model version " + forecast.ModelVersion,
		History: "eclose jobs add export", Created: heads[len(heads)-1].Issued, Notice: h.Notice,
	}
	var b bytes.Buffer
	if _, err := export.Write(&b, export.Parquet, meta, rows); err != nil {
		return err
	}
	sum := sha256.Sum256(b.Bytes())
	name := fmt.Sprintf("exports/outlooks/%s/%s.parquet", k.River, from.Format("2006-01"))
	if err := h.Files.Write(ctx, name, b.Bytes()); err != nil {
		return err
	}
	return h.DB.Tx(ctx, func(tx *db.Tx) error {
		return db.PutArtefact(ctx, tx, db.Artefact{Name: name, SHA256: hex.EncodeToString(sum[:]), Bytes: int64(b.Len()), Made: h.Queue.Now()})
	})
}
