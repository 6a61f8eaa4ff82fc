package config

import (
	"strings"
	"testing"
)

const good = `
[feeds.open-meteo]
enabled = true

[[river]]
name = "Wend"
zone = "America/Los_Angeles"
lat = 45.2
lon = -131.4

  [[river.gauge]]
  feed = "usgs"
  site = "99000001"

  [river.weather]
  feed = "open-meteo"
`

func TestAGoodFileIsCompleted(t *testing.T) {
	c, err := Parse([]byte(good), "/etc/eclose.toml")
	if err != nil {
		t.Fatal(err)
	}
	r := c.Rivers[0]
	if r.Slug != "wend" || *r.Weather.Lat != 45.2 || len(r.Gauges[0].Variables) != 2 {
		t.Errorf("defaults are not filled in: %+v", r)
	}
	if got, want := c.StoreURL(), "file:///etc/series"; got != want {
		t.Errorf("store %q, want %q", got, want)
	}
	if got, want := c.DatabaseURL(), "sqlite:///etc/eclose.db"; got != want {
		t.Errorf("database %q, want %q", got, want)
	}
}

func TestEachFaultIsOneClearSentence(t *testing.T) {
	for _, c := range []struct{ name, from, to, want string }{
		{"an unknown key is named with its line", `name = "Wend"`, "name = \"Wend\"\ncolour = \"blue\"", `"river.colour" (line 7)`},
		{"a river without a gauge", "  [[river.gauge]]\n  feed = \"usgs\"\n  site = \"99000001\"\n", "", `river "Wend" has no [[river.gauge]]`},
		{"a gauge of an unknown feed", `feed = "usgs"`, `feed = "nowhere"`, `unknown gauge feed "nowhere"; use one of bafu,`},
		{"a gauge without a site", `site = "99000001"`, ``, `has no site`},
		{"a file feed without a file", `feed = "usgs"`, `feed = "csv"`, `needs file =`},
		{"a weather feed that must be switched on", "enabled = true", "enabled = false", `set enabled = true in [feeds.open-meteo]`},
		{"a zone that is none", "America/Los_Angeles", "Pacific", `zone "Pacific" is not a time zone`},
		{"no place", "lat = 45.2\nlon = -131.4", "", `set lat and lon`},
		{"a place off the earth", "lat = 45.2", "lat = 145.2", `is out of range`},
		{"an unknown variable", `site = "99000001"`, "site = \"99000001\"\nvariables = [\"mood\"]", `unknown variable "mood"`},
		{"units", "[feeds.open-meteo]", "units = \"furlongs\"\n[feeds.open-meteo]", `units = "furlongs": use "us" or "metric"`},
		{"flood heights that fall", `site = "99000001"`, "site = \"99000001\"\nvariables = [\"gauge_height\"]\n[river.flood]\nunit = \"ft\"\naction = 8\nminor = 7", `flood heights must increase`},
		{"flood heights of no gauge", `feed = "open-meteo"`, "feed = \"open-meteo\"\n[river.flood]\nunit = \"m\"\naction = 8", `measures "gauge_height"`},
		{"flood heights without a unit", `feed = "open-meteo"`, "feed = \"open-meteo\"\n[river.flood]\naction = 8", `flood unit ""`},
		{"a slug that leads elsewhere", `name = "Wend"`, "name = \"Wend\"\nslug = \"../evil\"", `slug`},
		{"a slug of letters and loose accents", `name = "Wend"`, "name = \"Wend\"\nslug = \"ri\u0301o\"", `slug`},
		{"no flood heights at all", `feed = "open-meteo"`, "feed = \"open-meteo\"\n[river.flood]\nunit = \"m\"", `set at least one of action`},
		{"broken TOML", `name = "Wend"`, `name = Wend`, `line 6`},
	} {
		t.Run(c.name, func(t *testing.T) {
			text := strings.Replace(good, c.from, c.to, 1)
			if text == good {
				t.Fatal("the case changes nothing")
			}
			_, err := Parse([]byte(text), "eclose.toml")
			if err == nil || !strings.Contains(err.Error(), c.want) || !strings.HasPrefix(err.Error(), "eclose.toml") {
				t.Errorf("got %v, want eclose.toml and %q", err, c.want)
			}
		})
	}
}

func TestAllFaultsAreReportedAtOnce(t *testing.T) {
	_, err := Parse([]byte("units = \"x\"\nbackfill-years = 900\n"), "eclose.toml")
	if err == nil {
		t.Fatal("no error")
	}
	for _, want := range []string{"units", "backfill-years", "no [[river]]"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not reported in %v", want, err)
		}
	}
}

func TestEveryOptionOfTheTableHasAKeyAndAHelp(t *testing.T) {
	for _, o := range Options {
		if o.Key == "" || o.Help == "" {
			t.Errorf("option %+v is not described", o)
		}
		if strings.Contains(o.Key, "secret") || strings.Contains(o.Key, "password") || strings.Contains(o.Key, "key-file") {
			if !o.Secret {
				t.Errorf("option %s is not marked secret", o.Key)
			}
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add([]byte(good))
	f.Add([]byte("[[river]]\n[[river.gauge]]\n"))
	f.Fuzz(func(_ *testing.T, b []byte) {
		_, _ = Parse(b, "f.toml") // must not panic
	})
}

func TestARenamedKeyIsReadWithAWarning(t *testing.T) {
	const cron = "7 3 * * *"
	c, err := Parse([]byte("outlooks = \""+cron+"\"\n"+good), "eclose.toml")
	if err != nil || c.ForecastSchedule != cron || len(c.Warnings) != 1 || !strings.Contains(c.Warnings[0], "forecast-schedule") {
		t.Fatalf("schedule %q, warnings %q, error %v", c.ForecastSchedule, c.Warnings, err)
	}
	if c, err := Parse([]byte("forecast-schedule = \""+cron+"\"\n"+good), "eclose.toml"); err != nil || c.ForecastSchedule != cron || len(c.Warnings) != 0 {
		t.Fatalf("the new name: %+v, %v", c, err)
	}
	if _, err := Parse([]byte("outlooks = \""+cron+"\"\nforecast-schedule = \""+cron+"\"\n"+good), "eclose.toml"); err == nil {
		t.Fatal("both names at once were taken")
	}
}
