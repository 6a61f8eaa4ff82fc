package app

import (
	"fmt"
	"os"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/notify/webhook"
)

// webhooks are the receivers of a config with their secrets.
func webhooks(cfg *config.Config) (out []webhook.Hook, err error) {
	for _, w := range cfg.Webhooks {
		b, err := os.ReadFile(cfg.Path(w.SecretFile))
		if err != nil {
			return nil, fmt.Errorf("reading the secret of webhook %q: %w", w.Name, err)
		}
		h := webhook.Hook{Name: w.Name, URL: w.URL, Rivers: w.Rivers, Events: w.Events}
		if h.Secret, err = webhook.ParseSecret(string(b)); err != nil {
			return nil, fmt.Errorf("webhook %q, secret-file %s: %w", w.Name, w.SecretFile, err)
		}
		out = append(out, h)
	}
	return out, nil
}
