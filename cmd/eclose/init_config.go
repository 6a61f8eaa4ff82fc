package main

import (
	"fmt"
	"slices"
	"strings"

	"example.org/eclose/ingest"
	"example.org/eclose/model/insects"
)

// setup is what a first config says.
type setup struct {
	Units, Contact      string
	Years               int
	BaseURL, WeatherURL string // of other servers than the live ones; empty: those
	Rivers              []setupRiver
}

// setupRiver is one river of it.
type setupRiver struct {
	Name, Zone string
	Region     insects.Region
	Lat, Lon   float64
	Gauge      ingest.Gauge
	Regulated  bool
	Notices    string
}

// text is the config file, with comments for whoever reads it next.
func (s setup) text() string {
	var b strings.Builder
	line := func(format string, args ...any) { fmt.Fprintf(&b, format+"\n", args...) }
	line("# Written by eclose init. Every option: cmd/eclose/docs/reference/options.md.")
	line("units = %q                # \"us\" or \"metric\"; safety text always shows both", s.Units)
	line("backfill-years = %d          # years of the past to download at first", s.Years)
	line("# box = \"box.csv\"           # your fly box, kept by eclose box")
	var feeds []string
	for _, r := range s.Rivers {
		if !slices.Contains(feeds, r.Gauge.Feed) {
			feeds = append(feeds, r.Gauge.Feed)
		}
	}
	for i, f := range feeds {
		line("\n[feeds.%s]", f)
		if s.Contact != "" {
			line("contact = %q   # sent with each request, as agencies ask", s.Contact)
		} else {
			line("# contact = \"you@example.org\"   # sent with each request, as agencies ask")
		}
		if f == "usgs" {
			line("# key-file = \"usgs.key\"   # the agency's free key raises the hourly limit")
		}
		if s.BaseURL != "" && i == 0 {
			line("base-url = %q", s.BaseURL)
		}
	}
	line("\n[feeds.open-meteo]")
	line("enabled = true            # you confirmed non-commercial use, which the free service requires")
	if s.WeatherURL != "" {
		line("base-url = %q", s.WeatherURL)
	}
	if s.WeatherURL != "" {
		line("\n[feeds.nwps]\nbase-url = %q", s.WeatherURL+"/nwps/v1")
	}
	for _, r := range s.Rivers {
		r.write(line)
		if s.BaseURL != "" { // another server has no warnings of the live service
			line("\n  [river.warnings]\n  feed = \"none\"")
		}
	}
	line("\n# Email alerts need a relay:")
	line("# [mail]\n# host = \"smtp.example.org\"\n# user = \"you\"\n# password-file = \"mail.password\"\n# from = \"you@example.org\"")
	return b.String()
}

func (r setupRiver) write(line func(string, ...any)) {
	line("\n[[river]]")
	line("name = %q", r.Name)
	line("region = %q   # of the insect catalogue", string(r.Region))
	line("zone = %q", r.Zone)
	line("lat = %g", round5(r.Lat))
	line("lon = %g", round5(r.Lon))
	line("# groups = [\"salmonfly\", \"pale-morning-dun\"]   # default: all that live in such water")
	line("# fishable-flow = [200, 600]   # the lowest and highest flow that you fish at")
	line("regulated = %t   # below a dam: the caution says so", r.Regulated)
	if r.Notices != "" {
		line("notices = %q", r.Notices)
	} else {
		line("# notices = \"https://...\"   # where local notices are posted")
	}
	line("\n  [[river.gauge]]")
	line("  feed = %q", r.Gauge.Feed)
	line("  site = %q", strings.TrimPrefix(r.Gauge.Site, "USGS-"))
	line("  variables = [%s]", strings.Join(r.variables(), ", "))
	line("\n  [river.weather]")
	line("  feed = \"open-meteo\"")
}

// variables are what the gauge measures of what a forecast needs, quoted.
func (r setupRiver) variables() []string {
	var out []string
	for _, v := range []ingest.Variable{ingest.WaterTemperature, ingest.Discharge, ingest.GaugeHeight} {
		if slices.ContainsFunc(r.Gauge.Series, func(s ingest.GaugeSeries) bool { return s.Variable == v }) {
			out = append(out, fmt.Sprintf("%q", v))
		}
	}
	return out
}

// round5 keeps a metre of a coordinate.
func round5(v float64) float64 {
	var out float64
	_, _ = fmt.Sscanf(fmt.Sprintf("%.5f", v), "%g", &out)
	return out
}
