package records

import (
	"context"
	"math"
	"time"

	"example.org/eclose/ingest/feed/gbif"
	"example.org/eclose/ingest/feed/inaturalist"
	"example.org/eclose/ingest/occurrence"
)

// A Place is a circle whose records are fetched, under the name of its river.
type Place struct {
	Name string
	Near
}

// Orders of insects that are fetched: mayflies, stoneflies, caddisflies. The
// numbers are iNaturalist's; that of all insects measures how much people look.
var (
	Orders        = []string{"Ephemeroptera", "Plecoptera", "Trichoptera"}
	inatOrders    = []int{48011, 47198, 62164} // from memory; they stand in recorded lists of the service
	inatAllInsect = []int{47158}               // in a recorded observation
)

// Fetcher asks the services for the records around places.
type Fetcher struct {
	Store *Store
	Judge *Judge
	INat  *inaturalist.Source // nil: not asked
	GBIF  *gbif.Source        // nil: not asked
	Since time.Time           // the first day of interest
	Each  func(Judged)        // called with every record; may be nil
}

// refetchOverlap is how far before the last fetch the next one begins: clocks differ and
// an index lags. Our own default.
const refetchOverlap = 48 * time.Hour

// INaturalist fetches what is new or changed around a place, then how much
// people looked. A fetch that fails goes on where it stopped: every page is kept
// before the next is asked for.
func (f *Fetcher) INaturalist(ctx context.Context, p Place) (Taken, error) {
	t := Taker{Judge: f.Judge, Store: f.Store, Each: f.Each}
	began := f.Store.Now()
	cursor, err := f.Store.Cursor(ctx, inaturalist.FeedName, p.Name)
	if err != nil {
		return Taken{}, err
	}
	q := inaturalist.Query{LatDeg: p.LatDeg, LonDeg: p.LonDeg, RadiusKm: p.Km, Taxa: inatOrders, From: f.Since, IDAbove: cursor.LastID}
	if !cursor.Fetched.IsZero() {
		q.UpdatedSince = cursor.Fetched.Add(-refetchOverlap)
	}
	err = f.INat.Fetch(ctx, q, func(page []occurrence.Record, last int64) error {
		for _, r := range page {
			if err := t.Take(ctx, r); err != nil {
				return err
			}
		}
		if err := t.Flush(ctx); err != nil {
			return err
		}
		cursor.LastID = last
		return f.Store.SetCursor(ctx, inaturalist.FeedName, p.Name, cursor)
	})
	if err != nil {
		return t.Result(), err
	}
	from := f.Since
	if !cursor.Fetched.IsZero() {
		from = time.Date(cursor.Fetched.Year(), 1, 1, 0, 0, 0, 0, time.UTC)
	}
	for year := from.Year(); year <= began.Year(); year++ {
		q := inaturalist.Query{LatDeg: p.LatDeg, LonDeg: p.LonDeg, RadiusKm: p.Km, Taxa: inatAllInsect,
			From: time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC), To: time.Date(year, 12, 31, 0, 0, 0, 0, time.UTC)}
		days, err := f.INat.Effort(ctx, q)
		if err != nil {
			return t.Result(), err
		}
		if err := f.Store.PutEffort(ctx, inaturalist.FeedName, p.Name, days); err != nil {
			return t.Result(), err
		}
	}
	return t.Result(), f.Store.SetCursor(ctx, inaturalist.FeedName, p.Name, Cursor{Fetched: began})
}

// Occurrences fetches from GBIF: all years at first, later the last and the
// current one.
func (f *Fetcher) Occurrences(ctx context.Context, p Place) (Taken, error) {
	t := Taker{Judge: f.Judge, Store: f.Store, Each: f.Each}
	began := f.Store.Now()
	cursor, err := f.Store.Cursor(ctx, gbif.FeedName, p.Name)
	if err != nil {
		return Taken{}, err
	}
	from := f.Since
	if !cursor.Fetched.IsZero() {
		from = time.Date(cursor.Fetched.Year()-1, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	q := gbif.Query{From: from, To: began.UTC().Truncate(24 * time.Hour)}
	dLat := p.Km / kmPerDegree
	dLon := dLat / math.Max(0.1, math.Cos(p.LatDeg*math.Pi/180))
	q.South, q.North = math.Max(-90, p.LatDeg-dLat), math.Min(90, p.LatDeg+dLat)
	q.West, q.East = math.Max(-180, p.LonDeg-dLon), math.Min(180, p.LonDeg+dLon)
	for _, order := range Orders {
		key, err := f.GBIF.Match(ctx, order)
		if err != nil {
			return t.Result(), err
		}
		q.Taxa = append(q.Taxa, key)
	}
	err = f.GBIF.Fetch(ctx, q, func(page []occurrence.Record) error {
		for _, r := range page {
			if !p.Has(r.LatDeg, r.LonDeg) {
				continue // in a corner of the box
			}
			if err := t.Take(ctx, r); err != nil {
				return err
			}
		}
		return t.Flush(ctx)
	})
	if err != nil {
		return t.Result(), err
	}
	return t.Result(), f.Store.SetCursor(ctx, gbif.FeedName, p.Name, Cursor{Fetched: began})
}
