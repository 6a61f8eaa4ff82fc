package main

import (
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/demo"
)

// Somebody asks to be told, and the process ends before the relay has the
// confirmation: the next start sends it, once.
func TestAConfirmationOutlivesItsProcess(t *testing.T) {
	t.Parallel()
	office, lines := openPostOffice(t)
	_, path := write(t, demo.Config("http://127.0.0.1:9")+lines+"[serve]\npublic-url = \"https://eclose.example.org\"\n")
	clock := from(demo.Issue)
	cfg, err := configFlag{path}.load()
	if err != nil {
		t.Fatal(err)
	}
	// It never starts to work.
	s, err := app.NewServer(t.Context(), cfg, app.Options{Workers: app.Workers(), Log: zerolog.Nop(), Now: clock, Sleep: noPause})
	if err != nil {
		t.Fatal(err)
	}
	pages, err := s.Pages(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	form := httptest.NewServer(pages)
	if code, body := newVisitor(t, form.URL).signUp(t, "ann@example.org"); code != http.StatusOK || !strings.Contains(body, "Check your email") {
		t.Fatalf("%d %s", code, body)
	}
	form.Close()
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	_, log, stop := serve(t, clock, "--config", path)
	until(t, "the confirmation mail", log, func() bool { return len(office.all()) > 0 })
	link := confirmLink.FindString(plain(office.all()[0]))
	if link == "" {
		t.Fatalf("the mail has no link:\n%s", office.all()[0])
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
	if code != 0 || strings.Count(out, "completed") != 1 || strings.Contains(out, link[strings.LastIndex(link, "/")+1:]) || strings.Contains(out, "ann@") {
		t.Errorf("jobs: %d\n%s%s", code, out, errs)
	}
}
