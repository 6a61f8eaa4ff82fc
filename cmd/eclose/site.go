package main

import (
	"fmt"
	"path/filepath"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast"
)

// siteCmd writes the pages as files. Cron may call it again and again on one folder.
type siteCmd struct {
	configFlag
	Out     string `required:"" help:"Folder to write to; pages of an earlier copy are renewed." placeholder:"DIR" type:"path"`
	URL     string `help:"Address at which the copy will be read, for its calendars and feeds; serve.site-url if not given." placeholder:"URL"`
	Issue   string `name:"issue-date" help:"Show the rivers as of noon local time on this date, with forecasts issued for it." placeholder:"DATE"`
	Members int    `default:"200" help:"Ensemble size of newly issued forecasts."`
}

func (c siteCmd) Run(e *env) error {
	cfg, catalogue, rivers, err := c.loadRivers(nil)
	if err != nil {
		return err
	}
	s := outlookSource{cfg: cfg, catalogue: catalogue, now: e.now(), date: c.Issue, opt: forecast.Options{Members: c.Members}}
	if err := s.open(e.ctx, c.Issue == ""); err != nil {
		return err
	}
	defer s.close()
	now := s.now
	if c.Issue != "" && len(rivers) > 0 {
		if now, err = app.IssueTime(rivers[0], c.Issue, s.now); err != nil {
			return app.Usage(err)
		}
	}
	var outlooks []*forecast.Outlook
	for x, err := range s.all(e.ctx, rivers) {
		if err != nil {
			return err
		}
		outlooks = append(outlooks, x.o)
		if x.o.IssuedAt.After(now) {
			now = x.o.IssuedAt
		}
	}
	data, err := app.LoadPageData(e.ctx, cfg, outlooks, now)
	if err != nil {
		return err
	}
	published := s.db
	if c.Issue != "" { // what was published since does not belong to that day
		published = nil
	}
	url := c.URL
	if url == "" {
		url = cfg.Serve.SiteURL
	}
	r, err := app.WriteSite(e.ctx, cfg, data, published, now, app.SiteCopy{Dir: c.Out, URL: url})
	if err != nil {
		return err
	}
	fmt.Fprintf(e.stderr, "eclose: wrote %d files for %d rivers; open %s\n", r.Files, len(rivers), filepath.Join(c.Out, "index.html"))
	return nil
}
