package config

import (
	"net"
	"net/url"
	"slices"
	"strings"

	"example.org/eclose/notify/webhook"
)

func (c *Config) webhookFaults(add func(string, ...any)) {
	names := map[string]bool{}
	for i, w := range c.Webhooks {
		if w.Name == "" || names[w.Name] {
			add("webhook number %d: give each a name of its own", i+1)
		}
		names[w.Name] = true
		u, err := url.Parse(w.URL)
		if ip := net.ParseIP(u.Hostname()); err != nil || u.Host == "" || u.Scheme != "https" && (u.Scheme != "http" || u.Hostname() != "localhost" && (ip == nil || !ip.IsLoopback())) {
			add("webhook %q: url: use an https address; http only for this machine", w.Name)
		}
		if w.SecretFile == "" {
			add("webhook %q has no secret-file", w.Name)
		}
		for _, r := range w.Rivers {
			if !slices.ContainsFunc(c.Rivers, func(x River) bool { return x.Slug == r }) {
				add("webhook %q: rivers: no river has the slug %q", w.Name, r)
			}
		}
		for _, e := range w.Events {
			if !slices.Contains(webhook.Types, e) {
				add("webhook %q: events: %q is unknown; use %s", w.Name, e, strings.Join(webhook.Types, ", "))
			}
		}
	}
}
