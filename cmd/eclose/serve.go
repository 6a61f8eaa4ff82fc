package main

import (
	"errors"

	"example.org/eclose/cmd/eclose/internal/app"
)

type serveCmd struct {
	configFlag
	Addr string `help:"Listen address; overrides serve.addr." placeholder:"ADDR"`
	Log  string `default:"info" enum:"debug,info,warn,error" help:"Log level: ${enum}."`
}

// Run does everything in one process: it asks the feeds, issues outlooks, sends
// alerts and shows the pages, until it is told to stop.
func (c serveCmd) Run(e *env) (err error) {
	cfg, err := c.load()
	if err != nil {
		return err
	}
	if c.Addr != "" {
		if cfg.Serve.PublicURL == "http://"+cfg.Serve.Addr { // nobody said otherwise
			cfg.Serve.PublicURL = "http://" + c.Addr
		}
		cfg.Serve.Addr = c.Addr
	}
	s, err := app.NewServer(e.ctx, cfg, app.Options{Workers: app.Workers(), Log: app.NewLogger(e.stderr, e.logLevel(c.Log)), Now: e.now, Sleep: e.sleep})
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	return s.Serve(e.ctx, cfg.Serve.Addr)
}
