package sources

import (
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/forecast/records"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/feed/gbif"
	"example.org/eclose/ingest/feed/inaturalist"
	"example.org/eclose/model/insects"
)

// Records makes what fetches the open records of a config.
func Records(cfg *config.Config, c *client.Client, d *db.DB, catalogue *insects.Catalogue, now func() time.Time) *records.Fetcher {
	at := now()
	return &records.Fetcher{
		Store: &records.Store{DB: d, Now: now},
		Judge: &records.Judge{Catalogue: catalogue, NonCommercial: cfg.Sightings.NonCommercial, Now: at},
		INat:  &inaturalist.Source{Client: c, BaseURL: cfg.Feeds[inaturalist.FeedName].BaseURL},
		GBIF:  &gbif.Source{Client: c, BaseURL: cfg.Feeds[gbif.FeedName].BaseURL},
		Since: time.Date(at.Year()-cfg.Backfill, 1, 1, 0, 0, 0, 0, time.UTC),
	}
}

// RecordPlace is the circle around a river whose records are fetched.
func RecordPlace(cfg *config.Config, r config.River) records.Place {
	return records.Place{Name: r.Slug, Near: records.Near{LatDeg: r.Lat, LonDeg: r.Lon, Km: cfg.Sightings.RadiusKm}}
}
