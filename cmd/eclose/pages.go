package main

import (
	"context"
	"fmt"
	"net/http"
	"net/netip"
	"os"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/jobs"
	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/subscribe"
)

// pages is what the browser sees. Until the context ends, the shelf behind it is
// kept as new as what the jobs bring.
func (s *server) pages(ctx context.Context) (*pages.Pages, error) {
	now := s.queue.Now
	key, err := db.Secret(ctx, s.db.SQL, "forms", now())
	if err != nil {
		return nil, fmt.Errorf("form-protection key: %w", err)
	}
	o := pages.Options{
		Notice: s.cfg.Notice, Owners: ownersOf(s.cfg),
		Data: s.refresher.Memory, Catalogue: s.service.Catalogue, Now: now, Diary: &diary.Store{DB: s.db, Now: now}, Changed: s.calibrate,
		Reports: os.DirFS(s.cfg.Path(s.cfg.Serve.Report)), PublicURL: s.cfg.Serve.PublicURL, Key: key, US: s.cfg.Units == "us", ClientOf: clientOf, Log: &s.log,
	}
	if f := s.cfg.Serve.Secret; f != "" {
		b, err := os.ReadFile(s.cfg.Path(f))
		if err != nil {
			return nil, fmt.Errorf("reading the diary secret: %w", err)
		}
		if o.Secret = strings.TrimSpace(string(b)); len(o.Secret) < secretLeast {
			return nil, usagef("serve.admin-secret-file: the secret in %s is shorter than %d characters and could be guessed", f, secretLeast)
		}
	}
	if s.relay != nil {
		s.people.Asked = func(ctx context.Context, tx *db.Tx, id string) error {
			_, err := s.queue.AddTx(ctx, tx, jobs.Invite{ID: id})
			return err
		}
		o.Subscribe, o.Invite = s.people, func(context.Context, *subscribe.Invitation) error { return nil } // a job of it was made
	}
	return pages.New(o)
}

// ownersOf is whose data the feeds have, where the config says so.
func ownersOf(cfg *config.Config) map[string]string {
	out := map[string]string{}
	for name, f := range cfg.Feeds {
		out[name] = f.Owner
	}
	return out
}

// secretLeast is how long the owner's secret must be; our own.
const secretLeast = 12

// Sightings that are written one after the other are learnt of together.
const calibrateEvery = 10 * time.Second

// calibrate has the figures of a river worked out again from its diary, and its
// outlook issued anew.
func (s *server) calibrate(ctx context.Context, river string) {
	slot := jobs.Slot(s.queue.Now().Truncate(calibrateEvery).Add(calibrateEvery))
	if _, err := s.queue.Add(context.WithoutCancel(ctx), jobs.At{Args: jobs.Calibrate{River: river, Slot: slot}, At: slot}); err != nil {
		s.log.Error().Err(err).Str("river", river).Msg("the diary changed but recalibration could not be queued; the next change will retry")
	}
}

// clientOf is whose request it is. A proxy on this machine adds its client as
// the last address of X-Forwarded-For; nobody else is believed.
func clientOf(r *http.Request) netip.Addr {
	at, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return netip.Addr{}
	}
	client := at.Addr().Unmap()
	if list := r.Header.Values("X-Forwarded-For"); client.IsLoopback() && len(list) > 0 {
		last := list[len(list)-1]
		last = strings.TrimSpace(last[strings.LastIndex(last, ",")+1:])
		if a, err := netip.ParseAddr(last); err == nil {
			client = a.Unmap()
		}
	}
	return client
}
