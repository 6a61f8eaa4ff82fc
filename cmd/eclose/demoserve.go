package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"time"

	"example.org/eclose/cmd/eclose/internal/api"
	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/subscribe"
)

// show serves the pages of finished outlooks until the program is told to stop.
// It sends no mail: the link of an invitation is printed.
func show(e *env, cfg *config.Config, outlooks []*forecast.Outlook, addr string, now func() time.Time) (err error) {
	ln, err := new(net.ListenConfig).Listen(e.ctx, "tcp", addr)
	if err != nil {
		return fmt.Errorf("serving the page: %w", err)
	}
	if app.Loopback("http://"+ln.Addr().String()) == "" {
		return app.Usagef("--addr %s is not a loopback address; use 127.0.0.1:8437", addr)
	}
	root := "http://" + ln.Addr().String()
	catalogue, err := app.LoadCatalogue(cfg)
	if err != nil {
		return err
	}
	data, err := app.LoadPageData(e.ctx, cfg, outlooks, now())
	if err != nil {
		return err
	}
	d, err := db.OpenMigrated(e.ctx, cfg.DatabaseURL())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	subs, err := subscribe.New(e.ctx, d, app.Names(data.Rivers(), catalogue), now)
	if err != nil {
		return err
	}
	handler, err := pages.New(pages.Options{
		Notice: cfg.Notice, Owners: app.Owners(cfg), OwnClock: true,
		Data: data, Catalogue: catalogue, Now: now, PublicURL: root, US: cfg.Units == "us",
		Diary: &diary.Store{DB: d, Now: now}, Subscribe: subs, BacktestFiles: os.DirFS(cfg.Path(cfg.Serve.Report)),
		Invite: func(_ context.Context, inv *subscribe.Invitation) error {
			fmt.Fprintf(e.stdout, "The demo sends no email. Confirmation link for %s: %s/confirm/%s\n", inv.Address, root, inv.Token)
			return nil
		},
	})
	if err != nil {
		return err
	}
	programs, err := api.New(api.Options{Data: data, Catalogue: catalogue, Now: now, PublicURL: root, Notice: cfg.Notice,
		Credits: pages.Credits(data.Rivers(), app.Owners(cfg)), Reports: os.DirFS(cfg.Path(cfg.Serve.Report))})
	if err != nil {
		return err
	}
	mux := http.NewServeMux()
	mux.Handle("/api/", programs)
	mux.Handle("/", handler)
	server := app.NewHTTPServer(mux)
	fmt.Fprintf(e.stdout, "\nPages at %s (Ctrl-C to stop)\n", root)
	stop := context.AfterFunc(e.ctx, func() {
		ctx, cancel := context.WithTimeout(context.WithoutCancel(e.ctx), 5*time.Second)
		defer cancel()
		_ = server.Shutdown(ctx) // what is not done by then is cut off
	})
	defer stop()
	if err := server.Serve(ln); !errors.Is(err, http.ErrServerClosed) {
		return fmt.Errorf("serving the page: %w", err)
	}
	return nil
}
