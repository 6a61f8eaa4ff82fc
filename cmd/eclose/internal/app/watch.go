package app

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"time"

	"example.org/eclose/cmd/eclose/internal/health"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/mail"
)

// watchOver tells the health where to look.
func (s *Server) watchOver() {
	c, w := s.cfg.Health, s.watch
	w.Limits = health.Limits{
		FreeBytes: float64(c.FreeMB) * 1e6, CautionAge: time.Duration(c.CautionAge), ReadingAge: time.Duration(c.ReadingAge),
		FeedFailures: c.FeedFailures, MailWait: time.Duration(c.MailWait), SuppressedShare: c.SuppressedShare,
		CertificateLeft: time.Duration(c.CertificateDays) * 24 * time.Hour, ClockOffset: time.Duration(c.ClockOffset),
	}
	w.Interval = time.Duration(c.Interval)
	w.Log, w.PingURL, w.Free = s.log, c.PingURL, FreeBytes
	if f, ok := strings.CutPrefix(s.cfg.StoreURL(), "file://"); ok {
		w.Folders = append(w.Folders, filepath.FromSlash(f))
	}
	if f, ok := strings.CutPrefix(s.cfg.DatabaseURL(), "sqlite://"); ok {
		w.Folders = append(w.Folders, filepath.Dir(filepath.FromSlash(f)))
	}
	w.Store = func(ctx context.Context) error { return s.files.Write(ctx, probeName, []byte(s.queue.ID())) }
	w.Index = func(ctx context.Context) error {
		_, err := s.read.Keys(ctx)
		return err
	}
	if s.relay == nil {
		return
	}
	w.Mail = s.mailState
	if to := s.cfg.Mail.Operator; to != "" {
		w.NotifyOperator = func(ctx context.Context, subject string, lines []string) error {
			m, err := s.compose.Operator(to, subject, lines, s.queue.Now())
			if err != nil {
				return err
			}
			if o := s.relay.Send(ctx, m, func() error { return nil }); o.Result != alert.Sent {
				return fmt.Errorf("the relay did not take it: %d %s", o.Code, o.Reply)
			}
			return nil
		}
	}
}

// probeName is the file that is written to see whether the store takes writes.
const probeName = "health/probe"

func (s *Server) mailState(ctx context.Context) (m health.MailState, err error) {
	if m.OldestDue, m.LastSent, err = s.work.Alerts.OutboxState(ctx); err != nil {
		return m, err
	}
	if m.SuppressedShare, err = s.people.SuppressedShare(ctx); err != nil {
		return m, err
	}
	m.CertificateEnds, m.Relay = s.probe.state()
	m.Paused, err = s.work.MailPaused(ctx)
	return m, err
}

// signUpRefused counts and logs what a limit refused: the operator must be able
// to see that people are turned away.
func (s *Server) signUpRefused(limit string) {
	s.metrics.SignUpRefused(limit)
	s.log.Warn().Str("limit", limit).Msg("a request for email alerts was refused by a limit")
}

// relayProbe speaks to the relay now and then, so that a dead one is noticed
// before a mail is due.
type relayProbe struct {
	mu   sync.Mutex
	ends time.Time
	err  error
}

// After how many looks the relay is asked, and how long it may take; our own
// defaults. Both and half a look together stay under two minutes.
const (
	probeEvery = 2.5
	probeFor   = 20 * time.Second
)

func (p *relayProbe) state() (certificateEnds time.Time, err error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.ends, p.err
}

func (p *relayProbe) run(ctx context.Context, relay *mail.Sender, every time.Duration) {
	if relay == nil {
		return
	}
	for {
		ask, cancel := context.WithTimeout(ctx, probeFor)
		ends, err := relay.Probe(ask)
		cancel()
		if ctx.Err() != nil {
			return
		}
		p.mu.Lock()
		p.ends, p.err = ends, err
		p.mu.Unlock()
		select {
		case <-ctx.Done():
			return
		case <-time.After(every):
		}
	}
}

// checks are what the operator's page shows.
func (s *Server) checks(ctx context.Context) []health.Check {
	return s.watch.Look(ctx).Checks
}
