package mail

import (
	"fmt"
	"net/mail"
	"net/url"
	"strings"

	"example.org/eclose/notify/subscribe"
)

// Tokens makes the lasting tokens of a person's links.
type Tokens interface {
	Unsubscribe(person string) string
	Manage(person string) string
	Report(subscribe.Report) string
}

// Site is who writes the mails and where its pages are.
type Site struct {
	Name    string // shown as the sender
	From    string // address of the sender
	ReplyTo string // address that a human reads; empty: From
	Bounces string // address for reports, without the key: bounces@example.org; empty: From
	Domain  string // right side of message ids; empty: that of From
	URL     string // root of the pages, https://…
	Notice  string // what its owner says of all that is shown, at the foot of each mail; may be empty
	Postal  string // one line naming the sender, at the foot of each mail; may be empty
	Tokens  Tokens
}

// Check returns what is wrong with s, in one sentence.
func (s Site) Check() error {
	for _, f := range []struct{ what, value string }{{"from", s.From}, {"reply-to", s.replyTo()}, {"bounces", s.bounces()}} {
		a, err := mail.ParseAddress(f.value)
		if err != nil || a.Address != f.value {
			return fmt.Errorf("mail %s: %q is not a plain address such as alerts@example.org", f.what, f.value)
		}
	}
	u, err := url.Parse(s.URL)
	if err != nil || u.Scheme != "https" || u.Host == "" {
		return fmt.Errorf("mail url: %q is not https, which one-click unsubscribe (RFC 8058) requires", s.URL)
	}
	if s.Tokens == nil {
		return fmt.Errorf("mail: no tokens for the links of %s", s.URL)
	}
	return nil
}

func (s Site) replyTo() string { return or(s.ReplyTo, s.From) }
func (s Site) bounces() string { return or(s.Bounces, s.From) }

func (s Site) domain() string {
	if s.Domain != "" {
		return s.Domain
	}
	return s.From[strings.LastIndexByte(s.From, '@')+1:]
}

func (s Site) page(path string) string { return strings.TrimSuffix(s.URL, "/") + path }

// returnPath carries the mail's key, so that any report names its row.
func (s Site) returnPath(key string) string {
	b := s.bounces()
	at := strings.LastIndexByte(b, '@')
	return b[:at] + "+" + key + b[at:]
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}
