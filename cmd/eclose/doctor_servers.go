package main

import (
	"context"
	"net"
	"net/http"
	"strconv"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/sources"
)

// clockOff is by how much this machine may differ from the agencies' clocks;
// our own default. The header they tell it by is in whole seconds.
const clockOff = 2 * time.Minute

// servers asks the front door of each feed's server, once, and compares clocks.
func (x *exam) servers() {
	c := &http.Client{Timeout: 15 * time.Second, CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }}
	compared := false
	for _, p := range sources.Endpoints(x.cfg) {
		what := "feed " + p.Feed
		req, err := http.NewRequestWithContext(x.e.ctx, http.MethodGet, p.URL, nil)
		if err != nil {
			x.add(bad, what, "Correct base-url in the config.", "%v", err)
			continue
		}
		req.Header.Set("User-Agent", app.UserAgent(x.cfg))
		began := time.Now()
		resp, err := c.Do(req)
		if err != nil {
			x.add(bad, what, "Stored readings are kept; forecasts get older from now on.", "%s does not answer: %v", p.URL, err)
			continue
		}
		_ = resp.Body.Close()
		if resp.StatusCode >= 500 || resp.StatusCode == http.StatusTooManyRequests {
			x.add(bad, what, "Stored readings are kept; forecasts get older until the next scheduled fetch succeeds.", "%s answers %s", p.URL, resp.Status)
		} else {
			x.add(good, what, "", "%s answers after %s", p.URL, time.Since(began).Round(time.Millisecond))
		}
		if at, err := http.ParseTime(resp.Header.Get("Date")); err == nil && !compared {
			compared = true
			x.clock(req.URL.Hostname(), x.e.now().Sub(at))
		}
	}
	if !compared {
		x.add(noted, "clock", "A fast clock treats forecasts as readings and misdates email.", "not checked: no server sent a time; this machine says %s", x.e.now().UTC().Format("2006-01-02 15:04:05 UTC"))
	}
}

func (x *exam) clock(host string, off time.Duration) {
	if off.Abs() <= clockOff {
		x.add(good, "clock", "", "within %s of %s", clockOff, host)
		return
	}
	x.add(bad, "clock", "Set the clock: otherwise the newest readings are dropped or appear to be in the future, and email is misdated.",
		"off by %s against %s", off.Round(time.Second), host)
}

func (x *exam) relay() {
	m := x.cfg.Mail
	if m.Host == "" {
		x.add(noted, "mail", "No email is sent; pages and commands still work.", "no mail relay configured")
		return
	}
	const costs = "Email is queued and sent later; alerts that have expired are dropped."
	relay, err := app.NewSender(x.cfg)
	if err != nil {
		x.add(bad, "mail", costs, "%v", err)
		return
	}
	defer relay.Close()
	ctx, cancel := context.WithTimeout(x.e.ctx, 20*time.Second)
	defer cancel()
	ends, err := relay.Probe(ctx)
	if err != nil {
		x.add(bad, "mail", costs, "%v", err)
		return
	}
	left := ends.Sub(x.e.now())
	state, warn := good, ""
	if days := time.Duration(x.cfg.Health.CertificateDays) * 24 * time.Hour; left < days {
		state, warn = noted, "Have the certificate renewed: email stops when it ends."
	}
	x.add(state, "mail", warn, "%s takes us: encrypted and logged in; certificate until %s", net.JoinHostPort(m.Host, strconv.Itoa(m.Port)), ends.UTC().Format("2 Jan 2006"))
}
