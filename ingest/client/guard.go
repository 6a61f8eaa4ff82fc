package client

import (
	"errors"
	"fmt"
	"mime"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
	"unicode"

	"example.org/eclose/ingest"
)

// Next checks a link found in an answer: it may lead to another page of the
// same scheme and host, and nowhere else. The link is returned word for word,
// unless it is relative.
func Next(feed, from, link string) (string, error) {
	f, err1 := url.Parse(from)
	l, err2 := url.Parse(link)
	if err1 != nil || err2 != nil || link == "" {
		return "", &ingest.Error{Feed: feed, Where: redact(from, ""), Problem: "the next-page link is not a URL"}
	}
	if !l.IsAbs() {
		l = f.ResolveReference(l)
		link = l.String()
	}
	if l.Scheme != f.Scheme || !strings.EqualFold(l.Host, f.Host) || l.User != nil {
		return "", &ingest.Error{Feed: feed, Where: redact(from, ""),
			Problem: fmt.Sprintf("the next-page link goes to %s://%s, which is not allowed", clean(l.Scheme, 20), clean(l.Host, 100)),
			Hint:    "if the agency moved, change base-url in the config"}
	}
	return link, nil
}

type redirectError struct{ to string }

func (e *redirectError) Error() string { return "redirect refused" }

// stayHome lets a redirect through only within the same scheme and host.
func stayHome(r *http.Request, via []*http.Request) error {
	first := via[0].URL
	if len(via) > 3 || r.URL.Scheme != first.Scheme || r.URL.Host != first.Host || r.URL.User != nil {
		return &redirectError{to: r.URL.String()}
	}
	return nil
}

// cause drops the *url.Error around a failure, because it repeats the whole
// URL with its query.
func cause(err error) error {
	if u := (*url.Error)(nil); errors.As(err, &u) {
		return u.Err
	}
	return err
}

// secretWords are query parameters that never reach a message.
var secretWords = []string{"key", "token", "secret", "password", "pwd", "auth", "sig"}

// redact is the URL for messages: without user, and with the values of
// secret-looking parameters and every copy of the secret itself struck out.
func redact(raw, secret string) string {
	u, err := url.Parse(raw)
	if err != nil {
		return "(a URL that cannot be read)"
	}
	u.User = nil
	parts := strings.Split(u.RawQuery, "&")
	for i, p := range parts {
		name, _, found := strings.Cut(p, "=")
		low := strings.ToLower(name)
		for _, w := range secretWords {
			if found && strings.Contains(low, w) {
				parts[i] = name + "=..."
			}
		}
	}
	u.RawQuery = strings.Join(parts, "&")
	return hide(clean(u.String(), 2000), secret)
}

func hide(s, secret string) string {
	if secret == "" {
		return s
	}
	s = strings.ReplaceAll(s, secret, "...")
	return strings.ReplaceAll(s, url.QueryEscape(secret), "...")
}

// clean makes foreign text fit for one line of a message.
func clean(s string, most int) string {
	var b strings.Builder
	space := false
	for _, r := range strings.TrimSpace(s) {
		if unicode.IsSpace(r) || unicode.IsControl(r) || r == unicode.ReplacementChar {
			space = true
			continue
		}
		if space {
			b.WriteByte(' ')
			space = false
		}
		if b.Len() >= most {
			b.WriteString("...")
			break
		}
		b.WriteRune(r)
	}
	return b.String()
}

// retryAfter reads the header's two forms (RFC 9110, 10.2.3): seconds or an
// HTTP date. Zero means that the server did not say.
func retryAfter(v string, now time.Time) time.Duration {
	v = strings.TrimSpace(v)
	if n, err := strconv.ParseInt(v, 10, 32); err == nil {
		return time.Duration(max(n, 0)) * time.Second
	}
	if t, err := http.ParseTime(v); err == nil {
		return max(t.Sub(now), 0)
	}
	return 0
}

// typeFits compares media types without their parameters. An answer that names
// no type passes: the parser will judge it.
func typeFits(got string, want []string) bool {
	if len(want) == 0 || got == "" {
		return true
	}
	m, _, err := mime.ParseMediaType(got)
	if err != nil && !errors.Is(err, mime.ErrInvalidMediaParameter) {
		return false
	}
	for _, w := range want {
		if strings.EqualFold(m, w) {
			return true
		}
	}
	return false
}
