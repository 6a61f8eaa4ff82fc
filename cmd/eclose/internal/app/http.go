package app

import (
	"net/http"
	"net/netip"
	"slices"
	"strings"
	"time"
)

// NewHTTPServer bounds how long a slow reader may hold a connection.
func NewHTTPServer(h http.Handler) *http.Server {
	return &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 15 * time.Second, WriteTimeout: 30 * time.Second, IdleTimeout: 60 * time.Second, MaxHeaderBytes: 16 << 10}
}

// clientOf tells whose request it is. A proxy on this machine, or in one of the
// networks that the config trusts, adds its client at the end of
// X-Forwarded-For: the last address that is not itself a trusted proxy's is the
// client. No other address is trusted.
func clientOf(trusted []netip.Prefix) func(*http.Request) netip.Addr {
	isTrusted := func(a netip.Addr) bool {
		return a.IsLoopback() || slices.ContainsFunc(trusted, func(p netip.Prefix) bool { return p.Contains(a) })
	}
	return func(r *http.Request) netip.Addr {
		at, err := netip.ParseAddrPort(r.RemoteAddr)
		if err != nil {
			return netip.Addr{}
		}
		client := at.Addr().Unmap()
		hops := strings.Split(strings.Join(r.Header.Values("X-Forwarded-For"), ","), ",")
		for i := len(hops) - 1; i >= 0 && isTrusted(client); i-- {
			a, err := netip.ParseAddr(strings.TrimSpace(hops[i]))
			if err != nil {
				break
			}
			client = a.Unmap()
		}
		return client
	}
}

// trustedProxies are the networks of serve.trusted-proxies, which the config has
// checked.
func trustedProxies(list []string) (out []netip.Prefix) {
	for _, s := range list {
		p, err := netip.ParsePrefix(s)
		if a, aerr := netip.ParseAddr(s); err != nil && aerr == nil {
			p, err = a.Prefix(a.BitLen())
		}
		if err == nil {
			out = append(out, p)
		}
	}
	return out
}
