package app

import (
	"net/http"
	"net/netip"
	"strings"
	"time"
)

// NewHTTPServer bounds how long a slow reader may hold a connection.
func NewHTTPServer(h http.Handler) *http.Server {
	return &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second, ReadTimeout: 15 * time.Second, WriteTimeout: 30 * time.Second, IdleTimeout: 60 * time.Second, MaxHeaderBytes: 16 << 10}
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
