package app

import (
	"context"
	"fmt"
	"os"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/subscribe"
)

// Pages is what the browser sees. Until the context ends, the data behind it is
// kept as new as what the jobs bring.
func (s *Server) Pages(ctx context.Context) (*pages.Pages, error) {
	now := s.queue.Now
	key, err := s.db.Key(ctx, "forms", now())
	if err != nil {
		return nil, fmt.Errorf("form-protection key: %w", err)
	}
	o := pages.Options{
		Notice: s.cfg.Notice, Owners: Owners(s.cfg),
		Data: s.data.Memory, Catalogue: s.work.Catalogue, Now: now, Diary: &diary.Store{DB: s.db, Now: now}, Reports: &diary.Store{DB: s.db, Now: now}, Links: s.people.Links, Changed: s.learn,
		Windows:       publishedBy(s.db),
		BacktestFiles: os.DirFS(s.cfg.Path(s.cfg.Serve.Report)), PublicURL: s.cfg.Serve.PublicURL, Key: key, US: s.cfg.Units == "us", ClientOf: clientOf(trustedProxies(s.cfg.Serve.Proxies)), Checks: s.checks, SignInFailed: s.metrics.SignInFailed, Log: &s.log,
	}
	if f := s.cfg.Serve.Secret; f != "" {
		b, err := os.ReadFile(s.cfg.Path(f))
		if err != nil {
			return nil, fmt.Errorf("reading the diary secret: %w", err)
		}
		if o.Secret = strings.TrimSpace(string(b)); len(o.Secret) < secretLeast {
			return nil, Usagef("serve.admin-secret-file: the secret in %s is shorter than %d characters and could be guessed", f, secretLeast)
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

// secretLeast is how long the owner's secret must be; our own.
const secretLeast = 12

// Sightings that are written one after the other are learnt of together.
const learnEvery = 10 * time.Second

// learn has a river calibrated again from its diary, and its
// outlook issued anew.
func (s *Server) learn(ctx context.Context, river string) {
	slot := jobs.Slot(s.queue.Now().Truncate(learnEvery).Add(learnEvery))
	if _, err := s.queue.Add(context.WithoutCancel(ctx), jobs.At{Args: jobs.Calibrate{River: river, Slot: slot}, At: slot}); err != nil {
		s.log.Error().Err(err).Str("river", river).Msg("the diary changed but recalibration could not be queued; the next change will retry")
	}
}
