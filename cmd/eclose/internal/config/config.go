package config

import (
	"fmt"
	"math"
	"net"
	"net/netip"
	"net/url"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/BurntSushi/toml"
	"github.com/robfig/cron/v3"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed"
	"example.org/eclose/ingest/feed/csvfile"
	"example.org/eclose/ingest/warning"
	"example.org/eclose/model/flow"
	"example.org/eclose/model/insects"
)

// Config is the whole file. The table in options.go lists each option with its
// default and says which are secret.
type Config struct {
	Store            string          `toml:"store"`
	Database         string          `toml:"database"`
	Units            string          `toml:"units"`
	Backfill         int             `toml:"backfill-years"`
	Feeds            map[string]Feed `toml:"feeds"`
	Rivers           []River         `toml:"river"`
	Insects          string          `toml:"insects"`
	Box              string          `toml:"box"`
	ForecastSchedule string          `toml:"forecast-schedule"`
	OldSchedule      string          `toml:"outlooks"` // old name of ForecastSchedule
	Notice           string          `toml:"notice"`
	Serve            Serve           `toml:"serve"`
	Mail             Mail            `toml:"mail"`
	Health           Health          `toml:"health"`
	Webhooks         []Webhook       `toml:"webhook"`
	Sightings        Sightings       `toml:"sightings"`

	// Warnings name old keys that were accepted.
	Warnings []string `toml:"-"`
	// Dir is where the file lies: relative paths in it start here.
	Dir string `toml:"-"`
}

// Feed is how one public feed is reached.
type Feed struct {
	Enabled  *bool  `toml:"enabled"`
	BaseURL  string `toml:"base-url"`
	Archive  string `toml:"archive-url"`
	Ensemble string `toml:"ensemble-url"`
	KeyFile  string `toml:"key-file"`
	Contact  string `toml:"contact"`
	Owner    string `toml:"owner"`
	Schedule string `toml:"schedule"`
	Jitter   Span   `toml:"jitter"`
	Warnings string `toml:"warnings-url"`
	WarnWhen string `toml:"warnings-schedule"`
	Model    string `toml:"model"`

	// For the csv feed only: the layout of files that name none, and others by name.
	CSVLayout
	Layouts map[string]CSVLayout `toml:"layout"`
}

// renamed has old keys that are still read, with a warning, for one release.
var renamed = map[string]string{"outlooks": "forecast-schedule"}

// Span is a length of time, written "90s" or "10m".
type Span time.Duration

// UnmarshalText implements encoding.TextUnmarshaler.
func (s *Span) UnmarshalText(b []byte) error {
	d, err := time.ParseDuration(string(b))
	if err != nil || d < 0 {
		return fmt.Errorf("%q is not a duration; write e.g. \"90s\" or \"10m\"", b)
	}
	*s = Span(d)
	return nil
}

// River is one reach that somebody wants to fish.
type River struct {
	Name      string   `toml:"name"`
	Slug      string   `toml:"slug"`
	Region    string   `toml:"region"`
	Zone      string   `toml:"zone"`
	Lat       float64  `toml:"lat"`
	Lon       float64  `toml:"lon"`
	Elevation *float64 `toml:"elevation-m"`
	Groups    []string `toml:"groups"`
	Regulated bool     `toml:"regulated"`
	Notices   string   `toml:"notices"` // where local notices are published
	Flood     *Flood   `toml:"flood"`
	// FishableFlow is from which to which flow the owner fishes here: cfs where the
	// config's units are "us", else m3/s.
	FishableFlow []float64 `toml:"fishable-flow"`
	Gauges       []Gauge   `toml:"gauge"`
	Weather      *Weather  `toml:"weather"`
	Warnings     Warnings  `toml:"warnings"`
}

// FishableM3s is the owner's fishable flow; the zero Range where none is named.
func (r River) FishableM3s(units string) flow.Range {
	if len(r.FishableFlow) != 2 {
		return flow.Range{}
	}
	unit := 1.0
	if units == "us" {
		unit = 0.3048 * 0.3048 * 0.3048
	}
	return flow.Range{LowM3s: r.FishableFlow[0] * unit, HighM3s: r.FishableFlow[1] * unit}
}

func (r River) fishableFaults(who string, add func(string, ...any)) {
	f := r.FishableFlow
	if f == nil {
		return
	}
	if len(f) != 2 || !(f[0] >= 0 && f[0] < f[1]) || math.IsInf(f[1], 1) {
		add("%s: fishable-flow: write two flows, the lower first, e.g. [200, 600]", who)
	}
	if !slices.ContainsFunc(r.Gauges, func(g Gauge) bool { return slices.Contains(g.Variables, string(ingest.Discharge)) }) {
		add("%s: fishable-flow needs a gauge that measures \"discharge\"", who)
	}
}

// Flood is from which gauge heights on the flood service counts its categories;
// nil for those that it does not have.
type Flood struct {
	Unit     string   `toml:"unit"`
	Action   *float64 `toml:"action"`
	Minor    *float64 `toml:"minor"`
	Moderate *float64 `toml:"moderate"`
	Major    *float64 `toml:"major"`
}

// Metres are the heights in m, the lowest category first; NaN where there is none.
func (f *Flood) Metres() (h [4]float64) {
	foot := 1.0
	if f.Unit == "ft" {
		foot = 0.3048
	}
	for i, v := range []*float64{f.Action, f.Minor, f.Moderate, f.Major} {
		if h[i] = math.NaN(); v != nil {
			h[i] = *v * foot
		}
	}
	return h
}

func (f *Flood) faults(who string, r River, add func(string, ...any)) {
	if f.Unit != "m" && f.Unit != "ft" {
		add("%s: flood unit %q: use \"m\" or \"ft\"", who, f.Unit)
	}
	last, named := math.Inf(-1), false
	for _, v := range f.Metres() {
		if v <= last {
			add("%s: flood heights must increase from action to major", who)
		}
		if !math.IsNaN(v) {
			last, named = v, true
		}
	}
	if !named {
		add("%s: flood: set at least one of action, minor, moderate, major", who)
	}
	if !slices.ContainsFunc(r.Gauges, func(g Gauge) bool { return slices.Contains(g.Variables, string(ingest.GaugeHeight)) }) {
		add("%s: flood heights need a gauge that measures \"gauge_height\"", who)
	}
}

// Gauge is one station of a feed that serves a river.
type Gauge struct {
	Feed      string   `toml:"feed"`
	Site      string   `toml:"site"`
	Variables []string `toml:"variables"`
	Period    string   `toml:"period"`
	File      string   `toml:"file"`
	Layout    string   `toml:"layout"` // of a CSV file
}

// Weather is the place whose weather drives the river.
type Weather struct {
	Feed string   `toml:"feed"`
	Lat  *float64 `toml:"lat"`
	Lon  *float64 `toml:"lon"`
	Site string   `toml:"site"`
	File string   `toml:"file"`

	Layout string `toml:"layout"` // of a CSV file
}

// Warnings is which service warns of floods and thunder at a river.
type Warnings struct {
	Feed    string   `toml:"feed"` // "": by the river's place, NoWarnings: none
	Country string   `toml:"country"`
	Zones   []string `toml:"zones"`
}

// NoWarnings is the feed of a river for which no official warnings are fetched.
const NoWarnings = "none"

// Serve is how the page is offered.
type Serve struct {
	Addr      string   `toml:"addr"`
	PublicURL string   `toml:"public-url"`
	Secret    string   `toml:"admin-secret-file"`
	Report    string   `toml:"report"`          // folder that eclose backtest wrote to
	Proxies   []string `toml:"trusted-proxies"` // networks whose X-Forwarded-For is trusted
	Site      string   `toml:"site"`            // folder of the copy for a plain web space
	SiteURL   string   `toml:"site-url"`        // where that copy is read
}

// How often the health may be looked at: a look costs some writes, and with a
// longer pause it would be red too late. Our own defaults.
const (
	shortestLook = 100 * time.Millisecond
	longestLook  = 5 * time.Minute
)

// Sightings is what is taken from open records around the rivers.
type Sightings struct {
	RadiusKm      float64 `toml:"radius-km"`
	NonCommercial bool    `toml:"non-commercial"`

	Neighbours []string `toml:"neighbours"` // URLs
}

func (s Sightings) faults() (out []string) {
	if r := s.RadiusKm; !(r >= 1 && r <= 500) {
		out = append(out, fmt.Sprintf("sightings.radius-km = %g: use a number from 1 to 500", r))
	}
	for _, n := range s.Neighbours {
		if !IsURL(n) {
			out = append(out, fmt.Sprintf("sightings.neighbours: %q is not an https URL", n))
		}
	}
	return out
}

// IsURL reports whether a neighbour's file is fetched from a server: over https, or
// from this machine.
func IsURL(s string) bool {
	u, err := url.Parse(s)
	if err != nil || u.Host == "" {
		return false
	}
	ip := net.ParseIP(u.Hostname())
	return u.Scheme == "https" || u.Scheme == "http" && (u.Hostname() == "localhost" || ip != nil && ip.IsLoopback())
}

// Health is how far things may go before /health says so.
type Health struct {
	FreeMB          int     `toml:"free-mb"`
	CautionAge      Span    `toml:"caution-age"`
	ReadingAge      Span    `toml:"reading-age"`
	FeedFailures    int     `toml:"feed-failures"`
	MailWait        Span    `toml:"mail-wait"`
	SuppressedShare float64 `toml:"suppressed-share"`
	CertificateDays int     `toml:"certificate-days"`
	ClockOffset     Span    `toml:"clock-offset"`
	PingURL         string  `toml:"ping-url"`
	Interval        Span    `toml:"interval"`
}

// Mail is the relay that carries the alerts.
type Mail struct {
	Host         string `toml:"host"`
	Port         int    `toml:"port"`
	Security     string `toml:"security"`
	User         string `toml:"user"`
	PasswordFile string `toml:"password-file"`
	CAFile       string `toml:"ca-file"`
	From         string `toml:"from"`
	PerMinute    int    `toml:"per-minute"`
	PostalLine   string `toml:"postal-address"`
	Operator     string `toml:"operator"`
}

// Webhook is an address that gets a message for each change.
type Webhook struct {
	Name       string   `toml:"name"`
	URL        string   `toml:"url"`
	SecretFile string   `toml:"secret-file"`
	Rivers     []string `toml:"rivers"`
	Events     []string `toml:"events"`
}

// Load reads, completes and checks the file.
func Load(path string) (*Config, error) {
	b, err := read(path)
	if err != nil {
		return nil, err
	}
	c, err := Parse(b, path)
	if err != nil {
		return nil, err
	}
	return c, nil
}

// LoadFeeds is Load for somebody who looks for their first gauge: how the feeds
// are reached is read and checked, and rivers without a gauge are no fault.
func LoadFeeds(path string) (*Config, error) {
	b, err := read(path)
	if err != nil {
		return nil, err
	}
	return parse(b, path, (*Config).feedFaults)
}

// Parse is Load for bytes already read; path is used in messages and to
// resolve relative paths.
func Parse(b []byte, path string) (*Config, error) { return parse(b, path, (*Config).faults) }

func parse(b []byte, path string, check func(*Config) []string) (*Config, error) {
	var c Config
	md, err := toml.Decode(string(b), &c)
	if err != nil {
		if pe, ok := err.(toml.ParseError); ok { //nolint:errorlint // toml returns it unwrapped
			return nil, fmt.Errorf("%s, line %d: %s", path, pe.Position.Line, tomlWords(pe.Message))
		}
		return nil, fmt.Errorf("%s: %w", path, err)
	}
	var faults []string
	for _, k := range md.Undecoded() {
		faults = append(faults, unknownOption(k.String(), atLine(b, k)))
	}
	if c.OldSchedule != "" {
		if c.ForecastSchedule != "" {
			faults = append(faults, "outlooks and forecast-schedule are both set; remove outlooks")
		} else {
			c.ForecastSchedule = c.OldSchedule
		}
		c.Warnings = append(c.Warnings, fmt.Sprintf("%s: option %q was renamed; write %q", path, "outlooks", renamed["outlooks"]))
	}
	c.Dir = filepath.Dir(path)
	c.complete()
	faults = append(faults, check(&c)...)
	if len(faults) > 0 {
		return nil, fmt.Errorf("%s: %s", path, strings.Join(faults, "\n  "))
	}
	return &c, nil
}

func (c *Config) complete() {
	for _, o := range Options {
		if o.fill != nil {
			o.fill(c)
		}
	}
	for i := range c.Rivers {
		r := &c.Rivers[i]
		if r.Slug == "" {
			r.Slug = slugOf(r.Name)
		}
		if r.Zone == "" {
			r.Zone = "UTC"
		}
		for j := range r.Gauges {
			if len(r.Gauges[j].Variables) == 0 {
				r.Gauges[j].Variables = []string{string(ingest.WaterTemperature), string(ingest.Discharge)}
			}
		}
		if w := r.Weather; w != nil {
			if w.Lat == nil {
				w.Lat = &r.Lat
			}
			if w.Lon == nil {
				w.Lon = &r.Lon
			}
		}
	}
}

// feedFaults says what is wrong with the feeds alone.
func (c *Config) feedFaults() (out []string) {
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	for name, f := range c.Feeds {
		if _, known := knownFeeds[name]; !known {
			add("feeds.%s: unknown feed; use one of %s", name, strings.Join(FeedNames(), ", "))
		}
		if f.Schedule != "" {
			if _, err := cron.ParseStandard(f.Schedule); err != nil {
				add("feeds.%s: schedule %q is not a cron expression such as \"*/15 * * * *\": %v", name, f.Schedule, err)
			}
		}
		if f.WarnWhen != "" {
			if _, err := cron.ParseStandard(f.WarnWhen); err != nil {
				add("feeds.%s: warnings-schedule %q is not a cron expression such as \"*/5 * * * *\": %v", name, f.WarnWhen, err)
			}
		}
		if name == csvfile.FeedName {
			f.layoutFaults(add)
		} else if f.Layouts != nil || !reflect.DeepEqual(f.CSVLayout, CSVLayout{}) {
			add("feeds.%s: only feeds.csv has columns and layouts", name)
		}
	}
	return out
}

func (c *Config) faults() (out []string) {
	add := func(format string, args ...any) { out = append(out, fmt.Sprintf(format, args...)) }
	if c.Units != "us" && c.Units != "metric" {
		add("units = %q: use \"us\" or \"metric\"", c.Units)
	}
	if c.Backfill < 1 || c.Backfill > 80 {
		add("backfill-years = %d: use a number from 1 to 80", c.Backfill)
	}
	out = append(out, c.Sightings.faults()...)
	out = append(out, c.feedFaults()...)
	if _, err := cron.ParseStandard(c.ForecastSchedule); err != nil {
		add("forecast-schedule = %q is not a cron expression such as \"10 */6 * * *\": %v", c.ForecastSchedule, err)
	}
	for _, p := range c.Serve.Proxies {
		if _, err := netip.ParsePrefix(p); err != nil {
			if _, err := netip.ParseAddr(p); err != nil {
				add("serve.trusted-proxies: %q is not a network such as \"172.18.0.0/16\"", p)
			}
		}
	}
	if i := time.Duration(c.Health.Interval); i < shortestLook || i > longestLook {
		add("health.interval = %s: use %s to %s", i, shortestLook, longestLook)
	}
	c.webhookFaults(add)
	slugs := map[string]bool{}
	if len(c.Rivers) == 0 {
		add("no [[river]] configured; add at least one")
	}
	for i, r := range c.Rivers {
		who := fmt.Sprintf("river %q", r.Name)
		if r.Name == "" {
			who = fmt.Sprintf("river number %d", i+1)
			add("%s has no name", who)
		}
		if !goodSlug(r.Slug) {
			add("%s: slug %q: use letters and digits of any script, with single hyphens between, at most %d; set slug in the config", who, r.Slug, maxSlug)
		}
		if slugs[r.Slug] {
			add("%s: another river has the slug %q; set a different slug", who, r.Slug)
		}
		slugs[r.Slug] = true
		if _, err := time.LoadLocation(r.Zone); err != nil || r.Zone == "Local" {
			add("%s: zone %q is not a time zone; write area/city, such as \"America/Denver\"", who, r.Zone)
		}
		if math.Abs(r.Lat) > 90 || math.Abs(r.Lon) > 180 {
			add("%s: lat %g, lon %g is out of range", who, r.Lat, r.Lon)
		}
		if r.Lat == 0 && r.Lon == 0 {
			add("%s: set lat and lon (needed for day length and weather)", who)
		}
		if region, err := insects.ParseRegion(r.Region); r.Region != "" && err != nil {
			add("%s: %v", who, err)
		} else if err := region.CheckLatitude(r.Lat); r.Region != "" && err != nil {
			add("%s: %v", who, err)
		}
		if e := r.Elevation; e != nil && !(*e > -500 && *e < 6000) {
			add("%s: elevation-m = %g: use metres above sea level", who, *e)
		}
		if len(r.Gauges) == 0 {
			add("%s has no [[river.gauge]]; find one with: eclose gauges find --near %g,%g", who, r.Lat, r.Lon)
		}
		r.fishableFaults(who, add)
		for _, g := range r.Gauges {
			c.gaugeFaults(who, g, add)
		}
		if r.Flood != nil {
			r.Flood.faults(who, r, add)
		}
		if f := r.Warnings.Feed; f != "" && f != NoWarnings && knownFeeds[f].warnings == "" {
			add("%s: unknown warnings feed %q; use one of %s, %s", who, f, strings.Join(warningFeeds(), ", "), NoWarnings)
		}
		if r.Weather != nil {
			c.weatherFaults(who, r.Weather, add)
		}
	}
	slices.Sort(out)
	return out
}

func (c *Config) weatherFaults(who string, w *Weather, add func(string, ...any)) {
	if kind, known := knownFeeds[w.Feed]; !known || !kind.weather {
		add("%s: unknown weather feed %q; use one of %s", who, w.Feed, strings.Join(weatherFeeds(), ", "))
	} else if kind.optIn && !c.Feeds[w.Feed].on() {
		add("%s: to use weather feed %q, set enabled = true in [feeds.%s] (%s)", who, w.Feed, w.Feed, kind.optInWhy)
	}
	c.layoutFault(who+": weather", w.Feed, w.Layout, add)
}

func (c *Config) gaugeFaults(who string, g Gauge, add func(string, ...any)) {
	kind, known := knownFeeds[g.Feed]
	switch {
	case g.Feed == "":
		add("%s: a gauge has no feed; use one of %s", who, strings.Join(FeedNames(), ", "))
		return
	case !known, kind.noGauge:
		add("%s: unknown gauge feed %q; use one of %s", who, g.Feed, strings.Join(FeedNames(), ", "))
		return
	case g.Site == "" && g.Feed != "open-meteo": // whose model is asked by place
		add("%s: a gauge with feed %q has no site", who, g.Feed)
	case kind.byURL && g.File == "" && c.Feeds[g.Feed].BaseURL == "":
		add("%s: gauge %s of feed %q needs file = \"...\", or base-url in [feeds.%s]", who, g.Site, g.Feed, g.Feed)
	case kind.file && !kind.byURL && g.File == "":
		add("%s: gauge %s of feed %q needs file = \"...\"", who, g.Site, g.Feed)
	case kind.optIn && !c.Feeds[g.Feed].on():
		add("%s: feed %q must be switched on by [feeds.%s] enabled = true (%s)", who, g.Feed, g.Feed, kind.optInWhy)
	}
	c.layoutFault(fmt.Sprintf("%s: gauge %s", who, g.Site), g.Feed, g.Layout, add)
	for _, v := range g.Variables {
		if ingest.Variable(v).Unit() == "" {
			add("%s: gauge %s: unknown variable %q; use %s", who, g.Site, v, joinVariables())
		}
	}
	if g.Period != ingest.NoPeriod && g.Period != ingest.Daily {
		add("%s: gauge %s: period %q: use \"P1D\" for daily values, or omit it", who, g.Site, g.Period)
	}
}

func joinVariables() string {
	var names []string
	for _, v := range ingest.Variables() {
		names = append(names, string(v))
	}
	return strings.Join(names, ", ")
}

// RecordFeeds are the sources of open records that are switched on.
func (c *Config) RecordFeeds() (out []string) {
	for _, name := range FeedNames() {
		if knownFeeds[name].records && c.Feeds[name].on() {
			out = append(out, name)
		}
	}
	return out
}

func (f Feed) on() bool { return f.Enabled != nil && *f.Enabled }

// ScheduleOf is when a feed is asked, as a cron expression.
func (c *Config) ScheduleOf(feed string) string {
	if s := c.Feeds[feed].Schedule; s != "" {
		return s
	}
	return knownFeeds[feed].every
}

// WarningsScheduleOf is when a feed is asked for official warnings, as a cron
// expression.
func (c *Config) WarningsScheduleOf(feed string) string {
	if s := c.Feeds[feed].WarnWhen; s != "" {
		return s
	}
	return knownFeeds[feed].warnings
}

// WarningsOf is which feed warns of floods and thunder at a river, and how it
// is asked: as the config says, else by the river's place. feed is empty where
// there is none.
func (c *Config) WarningsOf(r River) (name string, p warning.Place, byPlace bool) {
	p = warning.Place{Lat: r.Lat, Lon: r.Lon, Country: r.Warnings.Country, Zones: r.Warnings.Zones}
	name = r.Warnings.Feed
	if name == NoWarnings {
		return "", p, false
	}
	here, country := feed.WarningsAt(r.Lat, r.Lon, r.Zone)
	if byPlace = name == ""; byPlace {
		name = here
	}
	if p.Country == "" {
		p.Country = country
	}
	return name, p, byPlace
}

// River returns the river with that short or full name.
func (c *Config) River(name string) (River, error) {
	for _, r := range c.Rivers {
		if strings.EqualFold(r.Slug, name) || strings.EqualFold(r.Name, name) {
			return r, nil
		}
	}
	var names []string
	for _, r := range c.Rivers {
		names = append(names, r.Slug)
	}
	hint := "rivers are " + strings.Join(names, ", ")
	if near := insects.Closest(name, names, 1); len(near) > 0 && len(names) > 1 {
		hint = "did you mean " + near[0] + "? " + hint
	}
	return River{}, fmt.Errorf("no river %q in the config; %s", name, hint)
}

// Path makes a path from the file absolute.
func (c *Config) Path(p string) string {
	if p == "" || filepath.IsAbs(p) {
		return p
	}
	abs, err := filepath.Abs(filepath.Join(c.Dir, p))
	if err != nil {
		return filepath.Join(c.Dir, p)
	}
	return abs
}

// StoreURL is the series store as a URL.
func (c *Config) StoreURL() string {
	if strings.Contains(c.Store, "://") {
		return c.Store
	}
	return "file://" + filepath.ToSlash(c.Path(c.Store))
}

// DatabaseURL is the database as a URL.
func (c *Config) DatabaseURL() string {
	if strings.Contains(c.Database, "://") {
		return c.Database
	}
	return "sqlite://" + filepath.ToSlash(c.Path(c.Database))
}
