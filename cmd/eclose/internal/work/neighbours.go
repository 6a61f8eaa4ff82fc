package work

import (
	"context"
	"fmt"
	"slices"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/db"
)

// neighboursAsked is when neighbours are asked: twice a day, before the morning's
// forecast and after an evening on the water. Our own default.
const neighboursAsked = "20 4,20 * * *"

// FetchNeighbour takes in what a neighbouring installation shares. Dates that it
// moves are those of the next forecasts.
func (h *Service) FetchNeighbour(ctx context.Context, k jobs.Neighbour) error {
	if h.Web == nil || !slices.Contains(h.Neighbours, k.URL) {
		return jobs.Final{Err: fmt.Errorf("the neighbour at %s is no longer configured", k.URL)}
	}
	f, n, err := ReceiveURL(ctx, h.DB, h.Web, k.URL, h.Queue.Now)
	if err == nil {
		h.Log.Info().Str("neighbour", f.Installation).Int("new", n.Added).Int("revised", n.Revised).Msg("neighbour's sightings")
	}
	return err
}

// ReceiveURL fetches a neighbour's file and takes it in.
func ReceiveURL(ctx context.Context, d *db.DB, web *client.Client, url string, now func() time.Time) (f diary.Shared, n diary.Imported, err error) {
	resp, err := web.Get(ctx, client.Request{Feed: "neighbour", URL: url})
	if err != nil {
		return f, n, err
	}
	if f, err = diary.ReadShared(resp.Body, now()); err != nil {
		return f, n, err
	}
	n, err = Receive(ctx, d, f, now)
	return f, n, err
}

// Receive takes in a neighbour's file.
func Receive(ctx context.Context, d *db.DB, f diary.Shared, now func() time.Time) (n diary.Imported, err error) {
	key, err := d.Key(ctx, "neighbours", now())
	if err != nil {
		return n, err
	}
	return (&diary.Store{DB: d, Now: now}).Receive(ctx, f, diary.Pseudonym(key, ""))
}
