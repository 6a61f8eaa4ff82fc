package app

import (
	"fmt"
	"os"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/webhook"
)

// webhooks keeps the messages to the receivers of a config.
func webhooks(cfg *config.Config, d *db.DB, now func() time.Time) (*webhook.Store, error) {
	s := &webhook.Store{DB: d, Now: now}
	for _, w := range cfg.Webhooks {
		b, err := os.ReadFile(cfg.Path(w.SecretFile))
		if err != nil {
			return nil, fmt.Errorf("reading the secret of webhook %q: %w", w.Name, err)
		}
		h := webhook.Receiver{Name: w.Name, URL: w.URL, Rivers: w.Rivers, Events: w.Events}
		if h.Secret, err = webhook.ParseSecret(string(b)); err != nil {
			return nil, fmt.Errorf("webhook %q, secret-file %s: %w", w.Name, w.SecretFile, err)
		}
		s.To = append(s.To, h)
	}
	return s, nil
}
