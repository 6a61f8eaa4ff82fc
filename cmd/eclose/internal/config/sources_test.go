package config

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// Every option that the table calls secret is hidden, wherever its table stands; a file's
// path is no secret.
func TestNoSecretIsShown(t *testing.T) {
	for _, o := range Options {
		key := strings.ReplaceAll(strings.ReplaceAll(o.Key, "NAME", "usgs"), "river.", "river[2].")
		got := Shown(key, "https://example.org/letmein")
		if o.Secret && !strings.HasSuffix(o.Key, "-file") && strings.Contains(got, "letmein") {
			t.Errorf("%s shows %q", key, got)
		}
		if got := Shown(key, "postgres://ann:letmein@db/x"); strings.Contains(got, "letmein") {
			t.Errorf("%s shows the password of a URL: %q", key, got)
		}
	}
	if got := Shown("serve.addr", "127.0.0.1:1"); got != "127.0.0.1:1" {
		t.Errorf("what is no secret is hidden: %q", got)
	}
}

// A default is named as one, and what the file says with its line.
func TestEachValueNamesItsSource(t *testing.T) {
	path := filepath.Join(t.TempDir(), "c.toml")
	text := "[[river]]\nname = 'Beck'\nlat = 54.4\nlon = -2.9\n[[river.gauge]]\nfeed = 'usgs'\nsite = '1'\n[health]\ninterval = \"20s\"\n"
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	c, err := Load(path)
	if err != nil {
		t.Fatal(err)
	}
	values, err := c.Values([]byte(text), path)
	if err != nil {
		t.Fatal(err)
	}
	got := map[string]Setting{}
	for _, v := range values {
		got[v.Key] = v
	}
	for key, want := range map[string]Setting{
		"river[1].name":          {"river[1].name", "Beck", path + ", line 2"},
		"river[1].gauge[1].site": {"river[1].gauge[1].site", "1", path + ", line 7"},
		"health.interval":        {"health.interval", "20s", path + ", line 9"},
		"health.caution-age":     {"health.caution-age", "10m0s", "default"},
		"store":                  {"store", "series", "default"},
	} {
		if got[key] != want {
			t.Errorf("%s: %+v, want %+v", key, got[key], want)
		}
	}
}
