package mail

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"mime"
	"mime/multipart"
	"mime/quotedprintable"
	"net/mail"
	"net/textproto"
	"regexp"
	"strconv"
	"strings"

	"example.org/eclose/notify/subscribe"
)

// Report is what a mail in the box for reports says of one mail of ours.
type Report struct {
	Key    string // of our mail
	Kind   string // see subscribe: hard, full, policy, soft, complaint
	Status string // enhanced code, RFC 3463
	Text   string // what the other side said, short
}

// What a mail in the box may be instead of a report of a mail that failed.
var (
	// ErrNotFailed: a report of delay or delivery, or an absence note. It counts
	// for nothing.
	ErrNotFailed = errors.New("not a delivery failure report")
	// ErrNotOurs: nothing in it names a mail of ours. A human should look.
	errNotOurs = errors.New("it refers to none of our messages")
)

const (
	maxDepth = 8
	maxPart  = 1 << 20
)

var (
	keyInAddress = regexp.MustCompile(`\+([0-9a-f]{40})@`)
	keyInID      = regexp.MustCompile(`<([0-9a-f]{40})@`)
	statusCode   = regexp.MustCompile(`\b([245]\.\d{1,3}\.\d{1,3})\b`)
	smtpCode     = regexp.MustCompile(`\b([45]\d\d)[ -]`)
)

// ReadReport reads a mail that came back: a delivery status notification (RFC
// 3464), a complaint (RFC 5965), or whatever else a mail server writes. All
// parts are looked through, since the names of our mail stand in any of them.
// What fails without saying how is a soft bounce.
func ReadReport(raw io.Reader) (Report, error) {
	m, err := mail.ReadMessage(bufio.NewReader(io.LimitReader(raw, 20<<20)))
	if err != nil {
		return Report{}, fmt.Errorf("reading a report: %w", err)
	}
	f := &found{}
	for _, h := range []string{"Delivered-To", "X-Original-To", "Envelope-To", "To", "X-Failed-Recipients"} {
		for _, v := range m.Header[textproto.CanonicalMIMEHeaderKey(h)] {
			f.name(keyInAddress, v)
		}
	}
	f.name(keyInID, m.Header.Get("In-Reply-To"))
	f.name(keyInID, m.Header.Get("References"))
	f.walk(textproto.MIMEHeader(m.Header), m.Body, 0)
	return f.report(textproto.MIMEHeader(m.Header))
}

// found is what the parts of a mail say.
type found struct {
	key       string
	failed    bool // a recipient's block says so
	other     bool // a block says that it was delayed, delivered, relayed or expanded
	complaint bool
	status    string
	text      string
	code      int
}

func (f *found) name(r *regexp.Regexp, s string) {
	if m := r.FindStringSubmatch(s); m != nil && f.key == "" {
		f.key = m[1]
	}
}

func (f *found) walk(h textproto.MIMEHeader, body io.Reader, depth int) {
	kind, params, err := mime.ParseMediaType(h.Get("Content-Type"))
	if err != nil {
		kind = "text/plain"
	}
	if depth > maxDepth {
		return
	}
	if strings.HasPrefix(kind, "multipart/") {
		r := multipart.NewReader(body, params["boundary"])
		for {
			p, err := r.NextRawPart()
			if err != nil { // the end, or as much as can be read
				return
			}
			f.walk(p.Header, p, depth+1)
		}
	}
	switch strings.ToLower(h.Get("Content-Transfer-Encoding")) {
	case "quoted-printable":
		body = quotedprintable.NewReader(body)
	case "base64":
		body = base64.NewDecoder(base64.StdEncoding, body)
	}
	b, _ := io.ReadAll(io.LimitReader(body, maxPart)) // as much as can be read
	switch kind {
	case "message/delivery-status", "message/global-delivery-status":
		f.blocks(b)
	case "message/feedback-report":
		f.complaint = true
		f.original(b)
	case "message/rfc822", "message/global", "text/rfc822-headers", "message/global-headers":
		f.original(b)
	default:
		f.name(keyInID, string(b))
		if f.status == "" && f.text == "" {
			if m := statusCode.FindString(string(b)); m != "" && m[0] != '2' {
				f.text = m
			}
		}
	}
}

// blocks reads a delivery status: one block for the mail, one for each
// recipient.
func (f *found) blocks(b []byte) {
	r := textproto.NewReader(bufio.NewReader(bytes.NewReader(b)))
	for {
		h, err := r.ReadMIMEHeader()
		f.name(keyInAddress, h.Get("Original-Envelope-Id"))
		switch action := strings.ToLower(strings.TrimSpace(h.Get("Action"))); action {
		case "":
		case "failed":
			f.failed = true
			f.status = statusCode.FindString(h.Get("Status"))
			f.text = clean(h.Get("Diagnostic-Code"))
			if m := smtpCode.FindStringSubmatch(f.text + " "); m != nil {
				f.code, _ = strconv.Atoi(m[1]) // three digits by the pattern
			}
			// The general code says less than what the server itself said.
			if s := statusCode.FindString(f.text); s != "" && (f.status == "" || strings.HasSuffix(f.status, ".0.0")) {
				f.status = s
			}
		default:
			f.other = true
		}
		if err != nil {
			return
		}
	}
}

// original looks for our mail's name in the copy of its head.
func (f *found) original(b []byte) {
	h, _ := textproto.NewReader(bufio.NewReader(bytes.NewReader(b))).ReadMIMEHeader() // as much as can be read
	f.name(keyInID, h.Get("Message-Id"))
	f.name(keyInAddress, h.Get("Return-Path"))
	f.name(keyInAddress, h.Get("Original-Mail-From"))
}

func (f *found) report(h textproto.MIMEHeader) (Report, error) {
	out := Report{Key: f.key, Status: f.status, Text: f.text}
	if len(out.Text) > 300 {
		out.Text = strings.ToValidUTF8(out.Text[:300], "")
	}
	auto := strings.ToLower(h.Get("Auto-Submitted"))
	switch {
	case f.complaint:
		out.Kind = subscribe.BounceComplaint
	case f.failed:
		out.Kind = subscribe.KindOf(f.status, f.code)
	case f.other, strings.HasPrefix(auto, "auto-replied"), h.Get("X-Autoreply") != "", strings.EqualFold(h.Get("Precedence"), "auto_reply"):
		return out, ErrNotFailed
	default:
		out.Kind = subscribe.BounceSoft
	}
	if f.key == "" {
		return out, errNotOurs
	}
	return out, nil
}
