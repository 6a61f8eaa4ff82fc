package health

import (
	"net"
	"net/http"
	"net/netip"
	"strings"
)

// fromHere tells whether a program on this machine asks for it by its own name: no proxy
// stands between, and no page of another site whose name was made to lead here.
func fromHere(r *http.Request) bool {
	for _, h := range []string{"Forwarded", "X-Forwarded-For", "X-Real-Ip", "Via"} {
		if r.Header.Get(h) != "" {
			return false
		}
	}
	return isHere(r.RemoteAddr) && isHere(r.Host)
}

// isHere tells whether an address, with a port or without, is this machine's own.
func isHere(address string) bool {
	host := address
	if h, _, err := net.SplitHostPort(address); err == nil {
		host = h
	}
	ip, err := netip.ParseAddr(strings.Trim(host, "[]"))
	return host == "localhost" || err == nil && ip.IsLoopback()
}
