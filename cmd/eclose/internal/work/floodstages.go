package work

import (
	"context"

	"example.org/eclose/ingest/feed/nwps"
	"example.org/eclose/ingest/feed/usgs"
	"example.org/eclose/ingest/schedule"
)

// floodStages asks for the flood stages of a river's USGS gauges where they are
// old. That the service fails costs nothing but their age.
func (h *Service) floodStages(ctx context.Context, p schedule.RiverTasks) error {
	seen := map[string]bool{}
	for _, t := range p.Tasks {
		site := t.Request.Site
		if h.Stages == nil || t.Source.Name() != usgs.FeedName || seen[site] {
			continue
		}
		seen[site] = true
		now := h.Queue.Now()
		r, err := nwps.Load(ctx, h.Files, site)
		if err != nil {
			return err
		}
		if !r.Due(now) {
			continue
		}
		if r, err = h.Stages.Renew(ctx, h.Files, site, now); err != nil {
			return err
		}
		if r.Problem != "" {
			h.Log.Warn().Str("river", p.Name).Msg(r.Problem)
		}
	}
	return nil
}
