package app

import "testing"

func TestAnAddressIsLeftOutOfWhatReadersSee(t *testing.T) {
	for s, want := range map[string]string{
		`fetching: Get "https://api.example.org/v1?x=1&y=2": dial tcp: no such host`: "fetching: dial tcp: no such host",
		"https://api.example.org/a: 503 Service Unavailable":                         "503 Service Unavailable",
		"the server does not answer":                                                 "the server does not answer",
	} {
		if got := withoutAddress(s); got != want {
			t.Errorf("%q: %q, want %q", s, got, want)
		}
	}
}
