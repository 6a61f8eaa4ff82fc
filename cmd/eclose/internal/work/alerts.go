package work

import (
	"context"
	"errors"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/alert"
)

// HandleAlerts takes in what a fetch or an outlook brought, decides who is notified, and
// has the mail looked at.
func (h *Service) HandleAlerts(ctx context.Context, k jobs.Alerts) error {
	r, err := h.river(k.River)
	if err != nil {
		return err
	}
	reading, err := h.assess(ctx, r, h.Queue.Now())
	if err != nil {
		return err
	}
	// Where nothing was read there is no reading to take in: that nothing is
	// heard of a river is noticed by the tick.
	if reading.FlowM3S != nil || reading.StageM != nil || len(reading.Warnings) > 0 {
		if err := h.Alerts.AddReading(ctx, reading); err != nil {
			return err
		}
	}
	if k.Outlook {
		f, err := h.Archive.Find(ctx, k.River, k.Cause, forecast.ModelVersion)
		if errors.Is(err, archive.ErrNotFound) {
			return jobs.Final{Err: err} // of another version of the model, which weighs it itself
		}
		if err != nil {
			return err
		}
		issued := alert.Issued{River: r.Slug, At: k.Cause, File: f.Name, SHA256: f.SHA256, WaterC: reading.WaterC, FlowM3S: reading.FlowM3S, Notices: r.Notices}
		if h.PublicURL != "" {
			issued.URL = strings.TrimSuffix(h.PublicURL, "/") + "/river/" + r.Slug
		}
		if err := h.Alerts.AddOutlook(ctx, issued); err != nil {
			return err
		}
		if err := h.sendWindowChanges(ctx, r, f); err != nil {
			return err
		}
	}
	if err := h.sendCautionChanges(ctx, r); err != nil {
		return err
	}
	return h.notify(ctx)
}

// MailFacts reads what mails need of an issued outlook from the archive. tie
// gives the imitations of a stage, one line each.
func MailFacts(a *archive.Archive, tie func(group string, stage forecast.Stage) []string) alert.Finder {
	return func(ctx context.Context, i alert.Issued) (*alert.Outlook, error) {
		o, err := a.Open(ctx, archive.File{Name: i.File, SHA256: i.SHA256})
		if err != nil {
			return nil, err
		}
		facts := alert.FromOutlook(*o, tie, i.WaterC, i.FlowM3S)
		facts.Notices, facts.URL = i.Notices, i.URL
		return &facts, nil
	}
}

func (h *Service) assess(ctx context.Context, r forecast.River, now time.Time) (alert.Reading, error) {
	if h.Assess != nil {
		return h.Assess(ctx, r, now)
	}
	in, err := forecast.CautionInput(ctx, h.Read, r, now)
	if err != nil {
		return alert.Reading{}, err
	}
	return alert.FromCaution(alert.RiverInfo{River: r.Slug, RiverName: r.Name, Zone: r.Zone, Gauge: gauge(r), Notices: r.Notices}, in, now, h.Units), nil
}

func gauge(r forecast.River) string {
	var names []string
	for _, g := range r.Gauges {
		names = append(names, g.Feed+" "+g.Site)
	}
	return strings.Join(names, ", ")
}

func (h *Service) notify(ctx context.Context) error {
	stats, err := h.Alerts.Reconcile(ctx)
	if err != nil || stats.Mails == 0 {
		return err
	}
	return h.DB.Tx(ctx, func(tx *db.Tx) error {
		_, err := h.Queue.AddTx(ctx, tx, jobs.Deliver{Slot: h.Queue.Now().UTC().Truncate(time.Second)})
		return err
	})
}

// Tick takes in that time has passed.
func (h *Service) Tick(ctx context.Context, _ jobs.Tick) error {
	if err := h.Alerts.Tick(ctx); err != nil {
		return err
	}
	if err := h.sendCautionChanges(ctx, h.Rivers...); err != nil { // a reading may have grown too old meanwhile
		return err
	}
	return h.notify(ctx)
}

// atOnce is how many letters are under way at a time in one process.
const atOnce = 4

// Deliver hands the mails that are due to the relay. Where it refuses too many
// readers sending rests for a while and nobody stays suppressed for it.
func (h *Service) Deliver(ctx context.Context, _ jobs.Deliver) error {
	if h.Transport == nil {
		return nil
	}
	if paused, err := h.MailPaused(ctx); err != nil || paused != "" {
		return err
	}
	_, err := h.Alerts.Deliver(ctx, h.Transport, atOnce)
	broken, berr := h.Alerts.Break(ctx)
	if broken {
		paused, err := h.MailPaused(ctx)
		h.Log.Error().Msg(paused)
		return err // the check of the health tells the operator
	}
	return errors.Join(err, berr)
}

// MailPaused says until when nothing is sent, and why; empty where mail is sent.
func (h *Service) MailPaused(ctx context.Context) (string, error) {
	until, err := h.Alerts.PausedUntil(ctx)
	if err != nil || until.IsZero() {
		return "", err
	}
	return "the relay refused too many readers: no email is sent until " + until.UTC().Format("15:04 UTC") + ", and nobody is suppressed for it; look at the relay's log", nil
}

// Forget deletes what is kept no longer: addresses that were never confirmed,
// old mails and their log.
func (h *Service) Forget(ctx context.Context, _ jobs.Forget) error {
	cleaners := []func(context.Context) (map[string]int64, error){h.People.Clean, h.Alerts.Clean}
	if h.Hooks != nil {
		cleaners = append(cleaners, h.Hooks.Clean)
	}
	for _, clean := range cleaners {
		gone, err := clean(ctx)
		if err != nil {
			return err
		}
		for what, n := range gone {
			if h.Forgot != nil {
				h.Forgot(what, int(n))
			}
		}
	}
	return nil
}

// Invite hands over the mail that asks somebody to confirm an address. It is no
// part of the outbox, which is of people who did. A worker that dies after the
// relay took the mail leaves the next one to send it again, under the same
// Message-ID.
func (h *Service) Invite(ctx context.Context, k jobs.Invite) error {
	if h.Ask == nil {
		return jobs.RetryLater{After: 10 * time.Minute, Why: "the config names no relay"}
	}
	return h.Ask(ctx, k.ID)
}
