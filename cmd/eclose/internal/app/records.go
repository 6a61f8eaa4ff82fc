package app

import (
	"time"

	"github.com/robfig/cron/v3"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/cmd/eclose/internal/work"
	"example.org/eclose/forecast/records"
	"example.org/eclose/ingest/client"
	"example.org/eclose/model/insects"
)

// recordFeeds sets up the fetching of open records that the config asks for.
func (s *Server) recordFeeds(h *work.Service, c *client.Client, catalogue *insects.Catalogue, now func() time.Time) (err error) {
	h.Neighbours, h.Web = s.cfg.Sightings.Neighbours, c
	feeds := s.cfg.RecordFeeds()
	if len(feeds) == 0 {
		return nil
	}
	h.Records = sources.Records(s.cfg, c, s.db, catalogue, now)
	h.RecordPlace, h.RecordFeeds = map[string]records.Place{}, map[string]cron.Schedule{}
	for _, r := range s.cfg.Rivers {
		h.RecordPlace[r.Slug] = sources.RecordPlace(s.cfg, r)
	}
	for _, name := range feeds {
		if h.RecordFeeds[name], err = jobs.ParseSchedule(s.cfg.ScheduleOf(name)); err != nil {
			return Usagef("feeds.%s: %w", name, err)
		}
	}
	return nil
}
