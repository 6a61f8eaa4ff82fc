package mail

import (
	"bufio"
	"io"
	"mime"
	"net/mail"
	"net/url"
	"regexp"
	"strings"
)

// mailto is the address in a List-Unsubscribe header. A mail program sends a
// mail to it with this subject, which names the reader: who a mail is from can be
// forged, the token cannot.
func mailto(to, link string) string {
	token := link[strings.LastIndexByte(link, '/')+1:]
	return "mailto:" + to + "?subject=" + url.PathEscape("unsubscribe "+token)
}

var unsubscribeSubject = regexp.MustCompile(`(?i)^\s*unsubscribe\s+(\S{1,200})\s*$`)

// ReadUnsubscribe returns the token of a mail that a reader's program sent to
// unsubscribe; ok is false for any other mail.
func ReadUnsubscribe(raw io.Reader) (token string, ok bool) {
	m, err := mail.ReadMessage(bufio.NewReader(io.LimitReader(raw, maxPart)))
	if err != nil {
		return "", false
	}
	subject, err := new(mime.WordDecoder).DecodeHeader(m.Header.Get("Subject"))
	if err != nil {
		return "", false
	}
	found := unsubscribeSubject.FindStringSubmatch(subject)
	if found == nil {
		return "", false
	}
	return found[1], true
}
