package app

import (
	"net"
	"net/url"
)

// Loopback is the host of a URL if it is this machine, and "" otherwise.
func Loopback(raw string) string {
	u, err := url.Parse(raw)
	if err != nil {
		return ""
	}
	if ip := net.ParseIP(u.Hostname()); u.Hostname() == "localhost" || ip != nil && ip.IsLoopback() {
		return u.Host
	}
	return ""
}
