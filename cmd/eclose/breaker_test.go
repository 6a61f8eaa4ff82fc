package main

import (
	"context"
	"net/http"
	"net/mail"
	neturl "net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/alert"
)

// rise has the river rise to a caution level and the mails of it handed to the
// relay by the server.
func (h *beckHouse) rise(level int) {
	h.t.Helper()
	d := h.writer()
	defer d.Close()
	s := alert.New(d, h.now, nil)
	for range 3 { // a level must hold for an hour
		h.pass(35 * time.Minute)
		if err := s.AddReading(h.t.Context(), alert.Reading{River: "our-beck", RiverName: "Our beck", Zone: "UTC", At: h.now(), Level: level, Known: true}); err != nil {
			h.t.Fatal(err)
		}
	}
	if _, err := s.Reconcile(h.t.Context()); err != nil { // nothing is left to do where the server was first
		h.t.Fatal(err)
	}
	h.pass(6 * time.Minute) // what comes together is told together
	h.deliver()
}

// deliver has the server hand over what is due, and waits until it has.
func (h *beckHouse) deliver() {
	h.t.Helper()
	d := h.writer()
	defer d.Close()
	q, err := addDelivery(h.t.Context(), d, h.now)
	if err != nil {
		h.t.Fatal(err)
	}
	until(h.t, "the delivery", h.log, func() bool {
		n, err := q.Unfinished(h.t.Context(), jobs.Deliver{}.Kind())
		return err == nil && n == 0
	})
}

// addDelivery has the server that holds a database hand over what is due.
func addDelivery(ctx context.Context, d *db.DB, now func() time.Time) (*jobs.Queue, error) {
	q, err := jobs.Open(ctx, d, jobs.Options{Log: zerolog.Nop(), Now: now})
	if err != nil {
		return nil, err
	}
	_, err = q.Add(ctx, jobs.Deliver{Slot: now().UTC().Truncate(time.Second)})
	return q, err
}

func (h *beckHouse) problem(check string) string {
	h.t.Helper()
	_, r := report(h.t, h.url)
	for _, c := range r.Checks {
		if c.Name == check && c.Problem != "" {
			return c.Problem
		}
	}
	return ""
}

// A relay that refuses every reader suppresses nobody: sending stops for an hour,
// over a restart too, and goes on when the relay is mended.
func TestARelayThatRefusesEveryReaderStopsTheMailAndSuppressesNobody(t *testing.T) {
	t.Parallel()
	h := openBeckHouse(t, "[health]\ninterval = \"200ms\"\n")
	readers := []string{"ann@example.org", "bob@example.net", "cyd@example.com", "dee@example.org"}
	for _, r := range readers {
		h.run("subscribe", "add", r, "--river", "our-beck", "--consent", "paper")
	}
	h.relay.refuse.Store(true)
	h.rise(2)
	until(t, "the breaker", h.log, func() bool { return strings.Contains(h.problem("mail-breaker"), "refused too many readers") })
	if list := h.run("subscribe", "list"); strings.Contains(list, "suppressed") {
		t.Errorf("somebody is suppressed for a fault of the relay:\n%s", list)
	}
	if h.problem("suppressed-share") != "" {
		t.Error(h.problem("suppressed-share"))
	}

	h.restartAfter(20 * time.Minute)
	until(t, "the breaker after a restart", h.log, func() bool { return h.problem("mail-breaker") != "" })
	asked := h.relay.asked.Load() // three of four: the mail of the last one is due
	h.deliver()
	if n := h.relay.asked.Load(); n != asked {
		t.Errorf("%d readers were named to the relay during the pause", n-asked)
	}

	h.relay.refuse.Store(false)
	h.pass(time.Hour)
	h.rise(3)
	until(t, "the mails", h.log, func() bool { return len(h.toReaders()) >= len(readers) })
	until(t, "the end of the pause", h.log, func() bool { return h.problem("mail-breaker") == "" })
}

// toReaders are the mails that are no mail to the operator.
func (h *beckHouse) toReaders() (out []*mail.Message) {
	for _, m := range h.relay.all() {
		p, err := mail.ReadMessage(strings.NewReader(m))
		if err != nil {
			h.t.Fatal(err)
		}
		if !strings.Contains(p.Header.Get("To"), "keeper@") {
			out = append(out, p)
		}
	}
	return out
}

var (
	byMail = regexp.MustCompile(`<mailto:([^?>]+)\?subject=([^>]+)>`)
	byPost = regexp.MustCompile(`<(https://[^>]+)>`)
)

// answerByMail puts into the operator's mailbox what a mail program sends when
// its reader presses "unsubscribe", and has it read.
func (h *beckHouse) answerByMail(m *mail.Message) string {
	h.t.Helper()
	to := byMail.FindStringSubmatch(m.Header.Get("List-Unsubscribe"))
	if to == nil {
		h.t.Fatalf("no address to unsubscribe by mail: %q", m.Header.Get("List-Unsubscribe"))
	}
	subject, err := neturl.PathUnescape(to[2])
	if err != nil {
		h.t.Fatal(err)
	}
	box := filepath.Join(h.t.TempDir(), "box")
	for _, sub := range []string{"new", "cur", "tmp"} {
		if err := os.MkdirAll(filepath.Join(box, sub), 0o700); err != nil {
			h.t.Fatal(err)
		}
	}
	text := "From: somebody <else@example.com>\r\nTo: " + to[1] + "\r\nSubject: " + subject + "\r\n\r\nThis mail was made by a mail program.\r\n"
	if err := os.WriteFile(filepath.Join(box, "new", "1"), []byte(text), 0o600); err != nil {
		h.t.Fatal(err)
	}
	return h.run("bounces", "read", box)
}

// Whoever answers the header of a mail by mail is unsubscribed, and whoever never
// asked for a confirmation says "never again" in one press.
func TestUnsubscribingByMailAndNeverAgainInOnePress(t *testing.T) {
	t.Parallel()
	h := openBeckHouse(t, "")
	h.run("subscribe", "add", "ann@example.org", "--river", "our-beck", "--consent", "paper")
	h.rise(2)
	until(t, "an alert", h.log, func() bool { return len(h.toReaders()) == 1 })
	if out := h.answerByMail(h.toReaders()[0]); !strings.Contains(out, "1 unsubscribed") {
		t.Error(out)
	}
	if list := h.run("subscribe", "list", "--format", "json"); strings.Contains(list, `"state": "active"`) {
		t.Errorf("still subscribed:\n%s", list)
	}

	for i, say := range []func(m *mail.Message){
		func(m *mail.Message) { // the mail provider posts, with no cookie and no mark: RFC 8058
			link := byPost.FindStringSubmatch(m.Header.Get("List-Unsubscribe"))
			if link == nil || m.Header.Get("List-Unsubscribe-Post") != "List-Unsubscribe=One-Click" {
				t.Fatalf("%q", m.Header.Get("List-Unsubscribe"))
			}
			at := h.url + strings.TrimPrefix(link[1], "https://eclose.example.org")
			if code, body := get(t, at); code != http.StatusOK || !strings.Contains(body, "Never write to me again") {
				t.Errorf("%d %s", code, body)
			}
			res, err := http.Post(at, "application/x-www-form-urlencoded", strings.NewReader("List-Unsubscribe=One-Click"))
			if err != nil {
				t.Fatal(err)
			}
			if _ = res.Body.Close(); res.StatusCode != http.StatusOK {
				t.Errorf("one press: %s", res.Status)
			}
		},
		func(m *mail.Message) { h.answerByMail(m) },
	} {
		address := []string{"bob@example.net", "cyd@example.com"}[i]
		before := len(h.toReaders())
		newVisitor(t, h.url).signUpFor(t, "our-beck", address)
		until(t, "the confirmation mail", h.log, func() bool { return len(h.toReaders()) == before+1 })
		say(h.toReaders()[before])
		if in := h.holds(address); len(in) > 0 {
			t.Errorf("%s is still kept in %v", address, in)
		}
		h.pass(40 * 24 * time.Hour)
		if code, body := newVisitor(t, h.url).signUpFor(t, "our-beck", address); code != http.StatusOK || !strings.Contains(body, "Check your email") {
			t.Errorf("a stranger learns who said never: %d %s", code, body)
		}
		if in := h.holds(address); len(in) > 0 {
			t.Errorf("%s is asked for again and kept in %v", address, in)
		}
	}
}
