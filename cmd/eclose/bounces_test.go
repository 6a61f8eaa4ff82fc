package main

import (
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/subscribe"
)

// keys keeps the keys of letters and sends nothing.
type keys struct{ got []alert.Email }

func (k *keys) Send(_ context.Context, l alert.Email, begin func() error) alert.Outcome {
	k.got = append(k.got, l)
	if err := begin(); err != nil {
		return alert.Outcome{Result: alert.Deferred}
	}
	return alert.Outcome{Result: alert.Sent, Code: 250}
}

func TestAReportStopsMailToADeadAddressOnce(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	file := filepath.Join(dir, "e.db")
	d, err := db.OpenMigrated(t.Context(), file)
	if err != nil {
		t.Fatal(err)
	}
	clock := time.Date(2026, 6, 6, 11, 0, 0, 0, time.UTC)
	now := func() time.Time { return clock }
	people, err := subscribe.New(t.Context(), d, subscribe.Names{}, now)
	if err != nil {
		t.Fatal(err)
	}
	if err := people.AddConfirmed(t.Context(), subscribe.Request{Address: "a@example.net", Subscriptions: []subscribe.Subscription{{River: "wend", Cautions: true}}}); err != nil {
		t.Fatal(err)
	}
	s, k := alert.New(d, now, nil), &keys{}
	for range 2 {
		clock = clock.Add(15 * time.Minute)
		if err := s.AddReading(t.Context(), alert.Reading{River: "wend", At: clock, Level: 3, Known: true}); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := s.Reconcile(t.Context()); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Deliver(t.Context(), k, 1); err != nil || len(k.got) != 1 {
		t.Fatalf("%d letters, %v", len(k.got), err)
	}
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}

	box := filepath.Join(dir, "box")
	for _, sub := range []string{"new", "cur", "tmp"} {
		if err := os.MkdirAll(filepath.Join(box, sub), 0o700); err != nil {
			t.Fatal(err)
		}
	}
	put := func(name, body string) {
		body = strings.ReplaceAll(strings.ReplaceAll(body, "KEY", k.got[0].Key), "\n", "\r\n")
		if err := os.WriteFile(filepath.Join(box, "new", name), []byte(body), 0o600); err != nil {
			t.Fatal(err)
		}
	}
	put("1", "To: <alerts+KEY@example.org>\nContent-Type: multipart/report; report-type=delivery-status; boundary=b\n\n--b\nContent-Type: message/delivery-status\n\nReporting-MTA: dns; x\n\nFinal-Recipient: rfc822; a@example.net\nAction: failed\nStatus: 5.1.1\n\n--b--\n")
	put("2", "To: <alerts+KEY@example.org>\nAuto-Submitted: auto-replied\n\nI am away.\n")
	put("3", "To: <someone@example.org>\n\nWhat is this?\n")

	database := "--database=" + file
	out, errs, code := ecloseRun(t, "", "bounces", "read", box, database)
	if code != 0 || out != "1 new bounces, 0 already recorded, 1 not delivery failures, 1 need a human, 0 unsubscribed\n" || !strings.Contains(errs, "none of our messages") {
		t.Errorf("%d %s%s", code, out, errs)
	}
	for name, want := range map[string]bool{"cur/1:2,S": true, "cur/2:2,S": true, "new/3": true, "new/1": false} {
		if _, err := os.Stat(filepath.Join(box, name)); (err == nil) != want {
			t.Errorf("%s there: %t, want %t", name, err == nil, want)
		}
	}
	if out, _, _ = ecloseRun(t, "", "subscribe", "list", database); !strings.Contains(out, "suppressed: hard") {
		t.Errorf("list:\n%s", out)
	}
	if out, _, _ = ecloseRun(t, "", "bounces", "read", box, database); !strings.HasPrefix(out, "0 new bounces, 1 already recorded") {
		t.Errorf("again: %s", out)
	}
	if _, errs, code = ecloseRun(t, "", "bounces", "read", dir, database); code != 2 || !strings.Contains(errs, "not a maildir") {
		t.Errorf("no maildir: %d %s", code, errs)
	}
}
