package app

import (
	"context"
	"os"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/cmd/eclose/internal/site"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/syndicate"
)

// publishedBy reads the published windows of a river from a database; nil where there is none.
func publishedBy(d *db.DB) func(context.Context, string) ([]syndicate.PublishedWindow, error) {
	if d == nil {
		return nil
	}
	return func(ctx context.Context, river string) ([]syndicate.PublishedWindow, error) {
		return syndicate.Published(ctx, d.SQL, river)
	}
}

// A SiteCopy is a copy of the pages for a web space that runs no program.
type SiteCopy struct {
	Dir string
	URL string // where it will be read; empty: addresses in its feeds are those of the server
}

// WriteSite writes a copy of the pages. d may be nil.
func WriteSite(ctx context.Context, cfg *config.Config, data *pages.Memory, d *db.DB, now time.Time, c SiteCopy) (site.Result, error) {
	catalogue, err := LoadCatalogue(cfg)
	if err != nil {
		return site.Result{}, Usage(err)
	}
	live := cfg.Serve.PublicURL
	if Loopback(live) != "" { // nobody else can reach it
		live = ""
	}
	address := c.URL
	if address == "" {
		address = cfg.Serve.PublicURL
	}
	handler, err := pages.New(pages.Options{Data: data, Catalogue: catalogue, Now: func() time.Time { return now }, Notice: cfg.Notice, Owners: Owners(cfg), Windows: publishedBy(d),
		BacktestFiles: os.DirFS(cfg.Path(cfg.Serve.Report)), PublicURL: address, US: cfg.Units == "us", PerSecond: 1e6})
	if err != nil {
		return site.Result{}, err
	}
	return site.Write(ctx, c.Dir, site.Options{Pages: handler, Live: live, Now: now})
}

// siteEvery is how often the server renews its copy of the pages: a caution counts for
// minutes, not hours. Our own default, the time for which one counts on the page.
const siteEvery = 15 * time.Minute

// keepSite renews the copy that the config asks for until ctx ends.
func (s *Server) keepSite(ctx context.Context) {
	if s.cfg.Serve.Site == "" {
		return
	}
	select {
	case <-s.data.looked:
	case <-ctx.Done():
		return
	}
	every := time.NewTicker(siteEvery)
	defer every.Stop()
	for {
		_, err := WriteSite(ctx, s.cfg, s.data.Memory, s.db, s.queue.Now(), SiteCopy{Dir: s.cfg.Path(s.cfg.Serve.Site), URL: s.cfg.Serve.SiteURL})
		if err != nil && ctx.Err() == nil {
			s.log.Error().Err(err).Msg("writing the copy of the pages; it is tried again in a quarter of an hour")
		}
		select {
		case <-every.C:
		case <-ctx.Done():
			return
		}
	}
}
