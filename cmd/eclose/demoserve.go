package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"net/http"
	"os"
	"slices"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
	"example.org/eclose/notify/subscribe"
)

// stateOf gathers what the pages show of a river beside its outlook, as it was
// known at the time of the issue.
func stateOf(ctx context.Context, store forecast.Reader, r forecast.River, o *forecast.Outlook) (*pages.State, error) {
	flows, caution, err := pastFlows(ctx, store, r, o.IssuedAt)
	if err != nil {
		return nil, fmt.Errorf("flow of %s: %w", r.Slug, err)
	}
	return &pages.State{Outlook: o, Caution: caution, CautionAt: o.IssuedAt, Flows: flows}, nil
}

// feedsOf says how fresh each source of the rivers is, by what is stored.
func feedsOf(ctx context.Context, store *series.Store, rivers []forecast.River) ([]pages.Feed, error) {
	keys, err := store.Keys(ctx)
	if err != nil {
		return nil, fmt.Errorf("listing what the store holds: %w", err)
	}
	var out []pages.Feed
	for _, r := range rivers {
		stations := slices.Clone(r.Gauges)
		if r.Weather != nil {
			stations = append(stations, *r.Weather)
		}
		for _, st := range stations {
			f := pages.Feed{River: r.Slug, Feed: st.Feed, Site: st.Site}
			var what []string
			for _, k := range keys {
				if k.Feed != st.Feed || k.Site != st.Site {
					continue
				}
				i, err := store.Info(ctx, k)
				if err != nil {
					return nil, fmt.Errorf("reading %s: %w", k, err)
				}
				if i.Last.After(f.Newest) && k.Member == 0 {
					f.Newest = i.Last
				}
				if i.Retrieved.After(f.Retrieved) {
					f.Retrieved = i.Retrieved
				}
				if w := variableWords(k.Variable); !slices.Contains(what, w) {
					what = append(what, w)
				}
			}
			slices.Sort(what)
			f.What = strings.Join(what, ", ")
			out = append(out, f)
		}
	}
	return out, nil
}

func variableWords(v ingest.Variable) string { return strings.ReplaceAll(string(v), "_", " ") }

// loadPageData puts all that the pages show of some rivers on a shelf.
func loadPageData(ctx context.Context, cfg *config.Config, outlooks []*forecast.Outlook) (*pages.Memory, error) {
	rivers, err := riversOf(cfg, nil)
	if err != nil {
		return nil, err
	}
	store, err := series.Open(ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return nil, err
	}
	defer store.Close() //nolint:errcheck // it was only read
	data := pages.NewMemory(rivers)
	for _, r := range rivers {
		for _, o := range outlooks {
			if o.River != r.Slug {
				continue
			}
			st, err := stateOf(ctx, store, r, o)
			if err != nil {
				return nil, err
			}
			data.Put(r.Slug, st)
		}
	}
	feeds, err := feedsOf(ctx, store, rivers)
	if err != nil {
		return nil, err
	}
	data.PutFeeds(feeds)
	return data, nil
}

// show serves the pages of finished outlooks until the program is told to stop.
// It sends no mail: the link of an invitation is printed.
func show(e *env, cfg *config.Config, outlooks []*forecast.Outlook, addr string, now func() time.Time) (err error) {
	ln, err := new(net.ListenConfig).Listen(e.ctx, "tcp", addr)
	if err != nil {
		return fmt.Errorf("serving the page: %w", err)
	}
	if loopback("http://"+ln.Addr().String()) == "" {
		return usagef("--addr %s is not a loopback address; use 127.0.0.1:8437", addr)
	}
	root := "http://" + ln.Addr().String()
	catalogue, err := loadCatalogue(cfg)
	if err != nil {
		return err
	}
	data, err := loadPageData(e.ctx, cfg, outlooks)
	if err != nil {
		return err
	}
	d, err := db.OpenMigrated(e.ctx, cfg.DatabaseURL())
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, d.Close()) }()
	subs, err := subscribe.New(e.ctx, d, namesOf(data.Rivers(), catalogue), now)
	if err != nil {
		return err
	}
	handler, err := pages.New(pages.Options{
		Notice: cfg.Notice, Owners: ownersOf(cfg),
		Data: data, Catalogue: catalogue, Now: now, PublicURL: root, US: cfg.Units == "us",
		Diary: &diary.Store{DB: d, Now: now}, Subscribe: subs, Reports: os.DirFS(cfg.Path(cfg.Serve.Report)),
		Invite: func(_ context.Context, inv *subscribe.Invitation) error {
			fmt.Fprintf(e.stdout, "The demo sends no email. Confirmation link for %s: %s/confirm/%s\n", inv.Address, root, inv.Token)
			return nil
		},
	})
	if err != nil {
		return err
	}
	server := pageServer(handler)
	fmt.Fprintf(e.stdout, "\nServing %s (Ctrl-C to stop)\n", root)
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

// pageServer bounds how long a slow reader may hold a connection.
func pageServer(h http.Handler) *http.Server {
	return &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 15 * time.Second, WriteTimeout: 30 * time.Second, IdleTimeout: 60 * time.Second, MaxHeaderBytes: 16 << 10}
}

func namesOf(rivers []forecast.River, c *insects.Catalogue) subscribe.Names {
	return subscribe.Names{
		River: func(slug string) bool {
			return slices.ContainsFunc(rivers, func(r forecast.River) bool { return r.Slug == slug })
		},
		Group: func(key string) bool { _, ok := c.Group(key); return ok },
	}
}
