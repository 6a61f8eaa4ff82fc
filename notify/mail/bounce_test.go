package mail

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"example.org/eclose/notify/subscribe"
)

// Reports written by us after RFC 3464, RFC 5965 and the habits of mail servers.
func crlf(s string) string {
	return strings.ReplaceAll(strings.ReplaceAll(s, "KEY", key), "\n", "\r\n")
}

const dsn = `From: MAILER-DAEMON@mta.example.net
To: <bounces+KEY@example.org>
Subject: Undelivered
Auto-Submitted: auto-replied
MIME-Version: 1.0
Content-Type: multipart/report; report-type=delivery-status; boundary="b1"

--b1
Content-Type: text/plain

It did not work.

--b1
Content-Type: message/delivery-status

Reporting-MTA: dns; mta.example.net

Final-Recipient: rfc822; angler@example.net
Action: ACTION
Status: STATUS
Diagnostic-Code: smtp; DIAGNOSTIC

--b1
Content-Type: message/rfc822

Message-ID: <KEY@example.org>
Subject: x

text
--b1--
`

func with(pairs ...string) string { return crlf(strings.NewReplacer(pairs...).Replace(dsn)) }

func TestReportsAreUnderstood(t *testing.T) {
	for _, tc := range []struct {
		what, raw, kind, status string
		err                     error
	}{
		{"no such mailbox", with("ACTION", "failed", "STATUS", "5.1.1", "DIAGNOSTIC", "550 5.1.1 unknown"), subscribe.BounceHard, "5.1.1", nil},
		{"the server says more than the report", with("ACTION", "Failed", "STATUS", "5.0.0", "DIAGNOSTIC", "550 5.1.1 unknown"), subscribe.BounceHard, "5.1.1", nil},
		{"only the basic code", with("ACTION", "failed", "STATUS", "", "DIAGNOSTIC", "550 unknown user"), subscribe.BounceHard, "", nil},
		{"full", with("ACTION", "failed", "STATUS", "5.2.2", "DIAGNOSTIC", "552 5.2.2 full"), subscribe.BounceFull, "5.2.2", nil},
		{"policy", with("ACTION", "failed", "STATUS", "5.7.1", "DIAGNOSTIC", "554 5.7.1 no"), subscribe.BouncePolicy, "5.7.1", nil},
		{"given up", with("ACTION", "failed", "STATUS", "4.4.7", "DIAGNOSTIC", "expired"), subscribe.BounceFull, "4.4.7", nil},
		{"delayed", with("ACTION", "delayed", "STATUS", "4.4.1", "DIAGNOSTIC", "still trying"), "", "", ErrNotFailed},
		{"delivered", with("ACTION", "delivered", "STATUS", "2.0.0", "DIAGNOSTIC", "250 ok"), "", "", ErrNotFailed},
		{"key in the third part only", strings.Replace(with("ACTION", "failed", "STATUS", "5.1.1", "DIAGNOSTIC", "x"), "bounces+"+key+"@", "postmaster@", 1), subscribe.BounceHard, "5.1.1", nil},
		{"names nothing of ours", strings.ReplaceAll(with("ACTION", "failed", "STATUS", "5.1.1", "DIAGNOSTIC", "x"), key, "someone"), "", "", errNotOurs},
		{"absence note", crlf("To: <bounces+KEY@example.org>\nAuto-Submitted: auto-replied (vacation)\nSubject: away\n\nI am away, error 5.1.1 or not.\n"), "", "", ErrNotFailed},
		{"a server that writes what it likes", crlf("To: <bounces+KEY@example.org>\nSubject: failure\n\nNo.\n"), subscribe.BounceSoft, "", nil},
		{"complaint", crlf(`To: fbl@example.org
Content-Type: multipart/report; report-type=feedback-report; boundary=b

--b
Content-Type: message/feedback-report

Feedback-Type: abuse
Original-Mail-From: <bounces+KEY@example.org>

--b--
`), subscribe.BounceComplaint, "", nil},
	} {
		t.Run(tc.what, func(t *testing.T) {
			r, err := ReadReport(strings.NewReader(tc.raw))
			if !errors.Is(err, tc.err) {
				t.Fatalf("%+v %v", r, err)
			}
			if err == nil && (r.Key != key || r.Kind != tc.kind || r.Status != tc.status) {
				t.Errorf("%+v", r)
			}
		})
	}
}

func FuzzReadReport(f *testing.F) {
	f.Add([]byte(with("ACTION", "failed", "STATUS", "5.1.1", "DIAGNOSTIC", "x")))
	f.Add([]byte("Content-Type: multipart/report; boundary=x\r\n\r\n--x\r\nContent-Type: message/delivery-status\r\n\r\nAction: failed\r\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		r, err := ReadReport(bytes.NewReader(b))
		if err == nil && (len(r.Key) != 40 || r.Kind == "") {
			t.Fatalf("%+v", r)
		}
	})
}
