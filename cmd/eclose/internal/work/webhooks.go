package work

import (
	"context"
	"errors"
	"strings"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest/db"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/syndicate"
	"example.org/eclose/notify/webhook"
)

// webhookData is what a webhook says of a river, whatever the event.
type webhookData struct {
	River           string                  `json:"river"`
	RiverName       string                  `json:"river_name"`
	Page            string                  `json:"page,omitempty"`
	IssuedAt        string                  `json:"issued_at,omitempty"`
	Change          *syndicate.WindowChange `json:"window_change,omitempty"`
	Caution         wading.View             `json:"caution"` // as it stood when the message was made, with its end
	StandingCaution string                  `json:"standing_caution"`
	Notice          string                  `json:"notice,omitempty"`
}

func (h *Service) webhookDataOf(r forecast.River, c wading.Caution) webhookData {
	t := webhookData{River: r.Slug, RiverName: r.Name, Caution: c.View(h.Units), StandingCaution: forecast.StandingCaution, Notice: h.Notice}
	if h.PublicURL != "" {
		t.Page = strings.TrimSuffix(h.PublicURL, "/") + "/river/" + r.Slug
	}
	return t
}

func (h *Service) cautionOf(ctx context.Context, r forecast.River) (wading.Caution, error) {
	in, err := forecast.CautionInput(ctx, h.Read, r, h.Queue.Now())
	if err != nil {
		return wading.Caution{}, err
	}
	return wading.Assess(in), nil
}

// publishedOf names what is published of a river: two workers must not both compare with
// the last of it and then both send the change.
const publishedOf = "published of "

// sendWindowChanges publishes the windows of an issued outlook in calendars and feeds, and sends webhooks
// what became of its windows.
func (h *Service) sendWindowChanges(ctx context.Context, r forecast.River, f archive.File) error {
	o, err := h.Archive.Open(ctx, f)
	if err != nil {
		return err
	}
	var c wading.Caution
	if h.Hooks.Any() {
		if c, err = h.cautionOf(ctx, r); err != nil {
			return err
		}
	}
	return h.DB.Tx(ctx, func(tx *db.Tx) error {
		if err := tx.Alone(ctx, publishedOf+r.Slug); err != nil {
			return err
		}
		changes, fresh, err := syndicate.Publish(ctx, tx, o, syndicate.Matters(o, h.Catalogue.Group))
		if err != nil || !fresh || !h.Hooks.Any() {
			return err
		}
		t := h.webhookDataOf(r, c)
		t.IssuedAt = o.IssuedAt.UTC().Format("2006-01-02T15:04:05Z")
		events := []webhook.Event{{Type: webhook.ForecastIssued, River: r.Slug, At: o.IssuedAt, Data: t}}
		kinds := map[syndicate.ChangeKind]string{syndicate.Added: webhook.WindowAdded, syndicate.Moved: webhook.WindowMoved, syndicate.Cancelled: webhook.WindowCancelled}
		for _, x := range changes {
			one := t
			one.Change = &x
			events = append(events, webhook.Event{Type: kinds[x.Kind], River: r.Slug, At: o.IssuedAt, About: syndicate.UID(x.Window.River, x.Window.Group, x.Window.Stage, x.Window.Season), Data: one})
		}
		return h.addWebhooks(ctx, tx, events)
	})
}

// sendCautionChanges sends webhooks a message for each river whose caution has another level
// than the last message, or became known or unknown.
func (h *Service) sendCautionChanges(ctx context.Context, rivers ...forecast.River) error {
	if !h.Hooks.Wanted(webhook.CautionChanged) {
		return nil
	}
	for _, r := range rivers {
		c, err := h.cautionOf(ctx, r)
		if err != nil {
			return err
		}
		err = h.DB.Tx(ctx, func(tx *db.Tx) error {
			if err := tx.Alone(ctx, publishedOf+r.Slug); err != nil {
				return err
			}
			news, err := webhook.CautionNews(ctx, tx, r.Slug, int(c.Level), c.Known, c.At)
			if err != nil || !news {
				return err
			}
			return h.addWebhooks(ctx, tx, []webhook.Event{{Type: webhook.CautionChanged, River: r.Slug, At: c.At, Data: h.webhookDataOf(r, c)}})
		})
		if err != nil {
			return err
		}
	}
	return nil
}

func (h *Service) addWebhooks(ctx context.Context, tx *db.Tx, events []webhook.Event) error {
	pending, err := h.Hooks.Add(ctx, tx, events)
	if err != nil || len(pending) == 0 {
		return err
	}
	all := make([]jobs.Args, len(pending))
	for i, p := range pending {
		all[i] = jobs.Webhook{Hook: p.Hook, Event: p.Event, ID: p.ID}
	}
	_, err = h.Queue.AddTx(ctx, tx, all...)
	return err
}

// SendWebhook hands one message to its receiver. A failure is tried again after a pause
// that doubles up to half an hour; what failed for three days is a discarded job, and
// the list of those is the list of dead letters.
func (h *Service) SendWebhook(ctx context.Context, k jobs.Webhook) error {
	if h.Hooks == nil {
		return jobs.Final{Err: webhook.ErrGone}
	}
	err := h.Hooks.Send(ctx, k.ID)
	if errors.Is(err, webhook.ErrGone) {
		return jobs.Final{Err: err}
	}
	return err
}
