package main

import (
	"bytes"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/demo"
)

// From nothing to the first forecast of a river in one command, without and with
// questions, against feeds in the real services' formats.
func TestInitSetsUpARiver(t *testing.T) {
	t.Parallel()
	feeds := httptest.NewServer(demo.NewWorld().Handler())
	defer feeds.Close()
	for _, x := range []struct {
		name    string
		args    []string
		answers string
	}{
		{"flags only", []string{"--near", "44.6,-131.1", "--radius", "10", "--contact", "a@example.org", "--yes"}, ""},
		{"questions", []string{"--years", "9"}, "44.6,-131.1\n1\n\nno\n\n\na@example.org\n\n"},
	} {
		t.Run(x.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "eclose.toml")
			var out, errs bytes.Buffer
			e := &env{ctx: t.Context(), stdin: strings.NewReader(x.answers), stdout: &out, stderr: &errs, now: func() time.Time { return demo.Issue }, sleep: noPause}
			args := append([]string{"init", "--out", path, "--base-url", feeds.URL + "/ogcapi/v1", "--weather-url", feeds.URL}, x.args...)
			if code := runEnv(e, args); code != 0 {
				t.Fatalf("exit %d: %s\n%s", code, errs.String(), out.String())
			}
			for _, want := range []string{"Written: " + path + " (1 river)", "GARROW", "Caution ", "Now: eclose forecast --config " + path} {
				if !strings.Contains(out.String(), want) {
					t.Errorf("init does not print %q:\n%s", want, out.String())
				}
			}
			cfg, err := config.Load(path)
			if err != nil {
				t.Fatal(err)
			}
			r := cfg.Rivers[0]
			if cfg.Units != "us" || r.Zone != "America/Los_Angeles" || r.Region != "pacific-nw-ca" || len(r.Gauges) != 1 || r.Gauges[0].Site != "99000002" || cfg.Feeds["usgs"].Contact != "a@example.org" {
				t.Errorf("units %s, river %+v", cfg.Units, r)
			}
			if b, _ := os.ReadFile(path); !bytes.Contains(b, []byte("# fishable-flow")) {
				t.Error("the config has no comments")
			}
			if code := runEnv(e, args); code != 2 || !strings.Contains(errs.String(), "exists already") {
				t.Errorf("a config was overwritten: exit %d", code)
			}
		})
	}
}

func TestInitRefusesWhatItCannotUse(t *testing.T) {
	for _, x := range []struct {
		args []string
		want string
	}{
		{[]string{"--yes"}, "name a place with --near"},
		{[]string{"--yes", "--near", "here"}, "write latitude,longitude"},
		{[]string{"--yes", "--near", "44.6,-131.1", "--gauge", "14092500"}, "write the agency and the number"},
		{[]string{"--yes", "--near", "44.6,-131.1", "--years", "0"}, "use 1 to 80"},
	} {
		args := append([]string{"init", "--out", filepath.Join(t.TempDir(), "e.toml")}, x.args...)
		if code, _, errs := call(t, demo.Issue, args...); code != 2 || !strings.Contains(errs, x.want) {
			t.Errorf("%v: exit %d: %s", x.args, code, errs)
		}
	}
}
