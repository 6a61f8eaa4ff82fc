package app

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"iter"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/forecast/records"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
)

// IssueAll makes the outlook of each river that is asked for.
func IssueAll(ctx context.Context, cfg *config.Config, only []string, date string, now time.Time, members int) (out []*forecast.Outlook, err error) {
	for o, err := range IssueEach(ctx, cfg, only, date, now, members) {
		if err != nil {
			return nil, err
		}
		out = append(out, o)
	}
	return out, nil
}

// IssueEach makes the outlook of one river after another and holds none of them. It
// ends with the first error.
func IssueEach(ctx context.Context, cfg *config.Config, only []string, date string, now time.Time, members int) iter.Seq2[*forecast.Outlook, error] {
	return func(yield func(*forecast.Outlook, error) bool) {
		err := issueEach(ctx, cfg, only, date, now, members, func(o *forecast.Outlook) bool { return yield(o, nil) })
		if err != nil {
			yield(nil, err)
		}
	}
}

func issueEach(ctx context.Context, cfg *config.Config, only []string, date string, now time.Time, members int, use func(*forecast.Outlook) bool) error {
	catalogue, err := LoadCatalogue(cfg)
	if err != nil {
		return Usage(err)
	}
	rivers, err := Rivers(cfg, only)
	if err != nil {
		return Usage(err)
	}
	at := make([]time.Time, len(rivers))
	for i, r := range rivers {
		if at[i], err = IssueTime(r, date, now); err != nil {
			return Usage(err)
		}
	}
	opt, err := Seen(ctx, cfg, now)
	if err != nil {
		return err
	}
	opt.Members = members
	store, err := series.Open(ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return fmt.Errorf("%w; run eclose ingest first", err)
	}
	defer store.Close() //nolint:errcheck // it was only read
	for i, r := range rivers {
		o, err := forecast.Issue(ctx, store, r, catalogue, at[i], opt)
		if err != nil {
			return err
		}
		if !use(o) {
			return nil
		}
	}
	return nil
}

// Sightings reads the diary of a config; a database that was never made holds
// none.
func Sightings(ctx context.Context, cfg *config.Config, now time.Time) (out []forecast.Sighting, err error) {
	err = Read(ctx, cfg, func(d *db.DB) error {
		out, err = DiarySightings(ctx, d, cfg, now)
		return err
	})
	return out, err
}

// DiarySightings are the sightings of rivers that the config watches, under their
// slugs. A nil database has none.
func DiarySightings(ctx context.Context, d *db.DB, cfg *config.Config, now time.Time) ([]forecast.Sighting, error) {
	if d == nil {
		return nil, nil
	}
	entries, err := (&diary.Store{DB: d, Now: func() time.Time { return now }}).List(ctx, diary.Filter{})
	if err != nil {
		return nil, err
	}
	var out []forecast.Sighting
	for _, x := range forecast.SightingsOf(entries) {
		r, err := cfg.River(x.River)
		switch {
		case err == nil:
			x.River = r.Slug
		case x.Kind != forecast.Neighbours:
			continue // of a river that this config does not watch
		}
		out = append(out, x)
	}
	return out, nil
}

// Sites are the rivers of neighbouring installations whose sightings are in the
// diary.
func Sites(ctx context.Context, d *db.DB, now time.Time) ([]forecast.River, error) {
	all, err := (&diary.Store{DB: d, Now: func() time.Time { return now }}).Neighbours(ctx)
	if err != nil {
		return nil, err
	}
	return forecast.SitesOf(all), nil
}

// OpenRecords reads what open sources hold around all rivers of a config; nil if
// that is nothing. A nil database has none.
func OpenRecords(ctx context.Context, d *db.DB, cfg *config.Config, now time.Time) (*records.Open, error) {
	if d == nil {
		return nil, nil
	}
	rivers, err := Rivers(cfg, nil)
	if err != nil {
		return nil, Usage(err)
	}
	return forecast.OpenRecords(ctx, &records.Store{DB: d, Now: func() time.Time { return now }}, rivers)
}

// Seen is what people saw and recorded, as forecasts take it: the diary, the rivers
// of neighbours, and open records.
func Seen(ctx context.Context, cfg *config.Config, now time.Time) (opt forecast.Options, err error) {
	err = Read(ctx, cfg, func(d *db.DB) error {
		if d == nil {
			return nil
		}
		if opt.Sightings, err = DiarySightings(ctx, d, cfg, now); err != nil {
			return err
		}
		if opt.Sites, err = Sites(ctx, d, now); err != nil {
			return err
		}
		opt.Open, err = OpenRecords(ctx, d, cfg, now)
		return err
	})
	return opt, err
}

// Read runs do on the database of a config, opened to read: it works while a
// server writes. Where no database was ever made do gets nil, and none is made.
func Read(ctx context.Context, cfg *config.Config, do func(*db.DB) error) (err error) {
	d, err := OpenReader(ctx, cfg)
	if err != nil {
		return err
	}
	if d != nil {
		defer func() { err = errors.Join(err, d.Close()) }()
	}
	return do(d)
}

// OpenReader is Read for a command that closes the database itself.
func OpenReader(ctx context.Context, cfg *config.Config) (*db.DB, error) {
	d, err := db.OpenReader(ctx, cfg.DatabaseURL())
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	return d, err
}

// PastFlows reads the daily flows of a river up to a moment, and from which
// flows on it asks for caution; nil where no flow is stored.
func PastFlows(ctx context.Context, store forecast.Reader, r forecast.River, at time.Time) (*trip.Flows, wading.Caution, error) {
	day0, m3s, err := forecast.PastFlow(ctx, store, r, at)
	if err != nil {
		return nil, wading.Caution{}, err
	}
	in, err := forecast.CautionInput(ctx, store, r, at)
	if err != nil {
		return nil, wading.Caution{}, err
	}
	caution := wading.Assess(in)
	for _, v := range m3s {
		if v == v { // not NaN
			return &trip.Flows{Day0: day0, M3s: m3s, Limits: caution.Limits}, caution, nil
		}
	}
	return nil, caution, nil
}

// NewestReading is the time of the newest reading stored of the gauges of some rivers,
// however old; zero if there is none.
func NewestReading(ctx context.Context, cfg *config.Config, rivers []forecast.River) (newest time.Time, err error) {
	store, err := series.Open(ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return newest, err
	}
	defer store.Close() //nolint:errcheck // it was only read
	for _, r := range rivers {
		for _, g := range r.Gauges {
			keys, err := store.KeysAt(ctx, g.Feed, g.Site)
			if err != nil {
				return newest, err
			}
			for _, k := range keys {
				info, err := store.Info(ctx, k)
				if err != nil {
					return newest, err
				}
				if info.Last.After(newest) && (k.Variable == ingest.WaterTemperature || k.Variable == ingest.Discharge) {
					newest = info.Last
				}
			}
		}
	}
	return newest, nil
}
