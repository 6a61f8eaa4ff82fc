package main

import (
	"io"
	"strings"
	"testing"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/notify/subscribe"
)

// Somebody asks to be told, and the process ends before the relay has the
// confirmation: the next start sends it, once.
func TestAConfirmationOutlivesItsProcess(t *testing.T) {
	office, lines := openPostOffice(t)
	_, path := write(t, demo.Config("http://127.0.0.1:9")+lines+"[serve]\npublic-url = \"https://eclose.example.org\"\n")
	clock := from(demo.Issue)
	cfg, err := configFlag{path}.load()
	if err != nil {
		t.Fatal(err)
	}
	e := &env{ctx: t.Context(), stdin: strings.NewReader(""), stdout: io.Discard, stderr: io.Discard, now: clock, sleep: noPause}
	s, err := newServer(e, cfg, workersOf(), zerolog.Nop()) // it never starts to work
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.pages(t.Context()); err != nil {
		t.Fatal(err)
	}
	inv, err := s.people.Ask(t.Context(), subscribe.Request{Address: "ann@example.org", Zone: "UTC", Subscriptions: []subscribe.Subscription{{River: "wend", Cautions: true}}})
	if err != nil {
		t.Fatal(err)
	}
	if err := s.close(); err != nil {
		t.Fatal(err)
	}
	_, log, stop := serve(t, clock, "--config", path)
	until(t, "the confirmation mail", log, func() bool { return len(office.all()) > 0 })
	if mail := plain(office.all()[0]); !strings.Contains(mail, "/confirm/"+inv.Token) {
		t.Errorf("the mail has another link than %s:\n%s", inv.Token, mail)
	}
	if code := stop(); code != 0 {
		t.Fatalf("stopped with %d\n%s", code, log)
	}
	_, log, stop = serve(t, clock, "--config", path)
	until(t, "the next start", log, func() bool { return strings.Contains(log.String(), "serving") })
	stop()
	if n := len(office.all()); n != 1 {
		t.Errorf("%d mails", n)
	}
	code, out, errs := call(t, clock(), "jobs", "list", "--config", path, "--kind", "invite")
	if code != 0 || strings.Count(out, "completed") != 1 || strings.Contains(out, inv.Token) || strings.Contains(out, "ann@") {
		t.Errorf("jobs: %d\n%s%s", code, out, errs)
	}
}
