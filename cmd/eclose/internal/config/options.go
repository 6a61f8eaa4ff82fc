package config

import (
	"slices"
	"time"
)

// Option is one line of the option table: it fills the default, is a row of
// the reference and marks what must never be shown.
type Option struct {
	Key     string
	Default string
	Secret  bool // the value, or the content of the file it names, is never printed
	Help    string
	fill    func(*Config)
}

// Options is the table of all options. NAME stands for the name of a feed;
// river, river.gauge and river.weather may be there any number of times.
var Options = []Option{
	{Key: "store", Default: "series", Help: "where readings are stored: a folder, or a URL such as s3://bucket",
		fill: func(c *Config) { def(&c.Store, "series") }},
	{Key: "database", Default: "eclose.db", Secret: true, Help: "diary, subscribers, forecasts and jobs: an SQLite file, or postgres://… for several machines",
		fill: func(c *Config) { def(&c.Database, "eclose.db") }},
	{Key: "units", Default: "metric", Help: "\"metric\" or \"us\"; safety text always shows both",
		fill: func(c *Config) { def(&c.Units, "metric") }},
	{Key: "backfill-years", Default: "10", Help: "years of past data to download at first",
		fill: func(c *Config) { def(&c.Backfill, 10) }},
	{Key: "insects", Default: "", Help: "your own insect groups (CSV), added to or replacing the catalogue's"},
	{Key: "box", Default: "box.csv", Help: "your fly box (CSV with fly, size and count), kept by eclose box",
		fill: func(c *Config) { def(&c.Box, "box.csv") }},
	{Key: "forecast-schedule", Default: "10 */6 * * *", Help: "when eclose serve issues forecasts: cron expression, UTC",
		fill: func(c *Config) { def(&c.ForecastSchedule, "10 */6 * * *") }},
	{Key: "notice", Help: "a sentence shown on every page, sheet, email and export"},
	{Key: "river.name", Help: "name of the river and reach; required"},
	{Key: "river.slug", Default: "from the name", Help: "short name used in commands and URLs"},
	{Key: "river.zone", Default: "UTC", Help: "IANA time zone, such as America/Denver"},
	{Key: "river.lat", Help: "latitude in degrees; required"},
	{Key: "river.lon", Help: "longitude in degrees, west is negative; required"},
	{Key: "river.elevation-m", Default: "the gauge's or the weather's", Help: "metres above sea level; shifts the catalogue's regional dates"},
	{Key: "river.region", Default: "by place", Help: "insect catalogue region; list them with eclose group find"},
	{Key: "river.groups", Default: "all of the region", Help: "keys of the insect groups to forecast"},
	{Key: "river.regulated", Default: "false", Help: "true if below a dam; adds a warning to the caution"},
	{Key: "river.fishable-flow", Help: "lowest and highest flow you fish at, e.g. [200, 600]; cfs if units are \"us\", else m³/s"},
	{Key: "river.notices", Help: "URL of local notices"},
	{Key: "river.flood.unit", Help: "\"m\" or \"ft\": unit of the flood-stage heights below"},
	{Key: "river.flood.action", Help: "action-stage gauge height; caution is 3 from the lowest height set (action, minor, moderate, major)"},
	{Key: "river.flood.minor", Help: "height of a minor flood"},
	{Key: "river.flood.moderate", Help: "height of a moderate flood"},
	{Key: "river.flood.major", Help: "height of a major flood"},
	{Key: "river.gauge.feed", Help: "feed to use"},
	{Key: "river.gauge.site", Help: "the agency's site number"},
	{Key: "river.gauge.variables", Default: "water_temperature, discharge", Help: "variables to fetch; gauge_height and others are also available"},
	{Key: "river.gauge.period", Default: "as measured", Help: "\"P1D\" for daily values"},
	{Key: "river.gauge.file", Help: "path of the saved file, for file-based feeds"},
	{Key: "river.gauge.layout", Default: "that of feeds.csv", Help: "name of the CSV file's layout"},
	{Key: "river.weather.feed", Help: "weather feed to use"},
	{Key: "river.weather.lat", Default: "the river's", Help: "latitude for the weather"},
	{Key: "river.weather.lon", Default: "the river's", Help: "longitude for the weather"},
	{Key: "river.weather.site", Help: "station ID, for station-based feeds"},
	{Key: "river.weather.file", Help: "path of the saved file, for file-based feeds"},
	{Key: "river.weather.layout", Default: "that of feeds.csv", Help: "name of the CSV file's layout"},
	{Key: "river.warnings.feed", Default: "by place", Help: "official warnings from nws (USA), ea (England), eccc (Canada), meteoalarm (Europe), or \"none\""},
	{Key: "river.warnings.country", Default: "by zone", Help: "country of a meteoalarm feed, such as \"italy\""},
	{Key: "river.warnings.zones", Help: "the service's codes for the river's warning zones; meteoalarm needs them"},
	{Key: "feeds.NAME.enabled", Help: "must be true for open-meteo, whose free service is for non-commercial use only; true for nwps also fetches flow forecasts; true for inaturalist or gbif fetches open records of insects"},
	{Key: "feeds.NAME.base-url", Default: "the live service", Help: "alternative server; for waterml2, your server's request URL with {site}, {from} and {to}"},
	{Key: "feeds.NAME.archive-url", Default: "the live service", Help: "same, for open-meteo's archive and eccc's GeoMet server"},
	{Key: "feeds.NAME.ensemble-url", Default: "the live service", Help: "same, for open-meteo's ensemble"},
	{Key: "feeds.NAME.model", Default: "by feed", Help: "open-meteo ensemble model"},
	{Key: "feeds.NAME.owner", Default: "the agency", Help: "data credit shown on pages and sheets"},
	{Key: "feeds.NAME.contact", Help: "contact address sent in the User-Agent, as agencies ask"},
	{Key: "feeds.NAME.key-file", Secret: true, Help: "file with the agency's API key; sent as a header, to that host only"},
	{Key: "feeds.NAME.schedule", Default: "by feed", Help: "when eclose serve fetches: cron expression (UTC), or \"@every 30m\""},
	{Key: "feeds.NAME.warnings-url", Default: "base-url, or the live service", Help: "alternative server of official warnings"},
	{Key: "feeds.NAME.warnings-schedule", Default: "5 or 10 min by feed", Help: "when eclose serve fetches official warnings: cron expression (UTC), or \"@every 5m\""},
	{Key: "feeds.NAME.jitter", Default: "2 s a river", Help: "time over which scheduled requests are spread, e.g. \"5m\"; each river keeps its slot"},
	{Key: "feeds.csv.zone", Help: "time zone of the CSV times, or an offset such as \"UTC-08:00\" for a logger that keeps standard time"},
	{Key: "feeds.csv.time-column", Help: "time column"},
	{Key: "feeds.csv.time-layout", Help: "time format, in Go's notation (2006-01-02 15:04)"},
	{Key: "feeds.csv.two-digit-years-from", Help: "first year of the century of two-digit years, such as 1950"},
	{Key: "feeds.csv.missing", Help: "values that mean missing, besides empty cells"},
	{Key: "feeds.csv.delimiter", Default: "by the header", Help: "column delimiter"},
	{Key: "feeds.csv.decimal-comma", Default: "false", Help: "true if numbers are written 8,1"},
	{Key: "feeds.csv.skip-lines", Default: "0", Help: "lines to skip before the header"},
	{Key: "feeds.csv.column.name", Help: "column name"},
	{Key: "feeds.csv.column.variable", Help: "variable in this column"},
	{Key: "feeds.csv.column.unit", Help: "its unit"},
	{Key: "feeds.csv.column.statistic", Help: "mean, max, min or sum, if not instantaneous"},
	{Key: "feeds.csv.column.period", Default: "as measured", Help: "\"P1D\" if daily"},
	{Key: "feeds.csv.column.remarks", Help: "name of the column with remarks on it"},
	{Key: "feeds.csv.layout.NAME", Help: "a further layout, with the same keys; a gauge or weather names it as its layout"},
	{Key: "sightings.radius-km", Default: "100", Help: "how far around each river open records are fetched, km",
		fill: func(c *Config) { def(&c.Sightings.RadiusKm, 100) }},
	{Key: "sightings.neighbours", Help: "URLs of the files that neighbouring installations share, fetched twice a day"},
	{Key: "sightings.non-commercial", Default: "false", Help: "true also takes open records under CC BY-NC: only for an installation that earns nothing"},
	{Key: "serve.addr", Default: "127.0.0.1:8437", Help: "listen address (loopback by default)",
		fill: func(c *Config) { def(&c.Serve.Addr, "127.0.0.1:8437") }},
	{Key: "serve.public-url", Default: "http://127.0.0.1:8437", Help: "public URL used in emails",
		fill: func(c *Config) { def(&c.Serve.PublicURL, "http://"+c.Serve.Addr) }},
	{Key: "serve.admin-secret-file", Default: "", Secret: true, Help: "file with the secret that unlocks the diary from other machines"},
	{Key: "serve.report", Default: "backtest", Help: "folder of the backtest report to show (eclose backtest --out)",
		fill: func(c *Config) { def(&c.Serve.Report, "backtest") }},
	{Key: "serve.site", Default: "", Help: "folder that eclose serve keeps a copy of the pages in, as files for any web space (see eclose site)"},
	{Key: "serve.site-url", Default: "", Help: "address at which that copy is read, for its calendars and feeds; the server's if not set"},
	{Key: "serve.trusted-proxies", Default: "this machine", Help: "networks of proxies whose X-Forwarded-For is trusted, such as [\"172.18.0.0/16\"]"},
	{Key: "mail.host", Default: "", Help: "SMTP relay; if unset, no email is sent"},
	{Key: "mail.port", Default: "587", Help: "587 for STARTTLS, 465 for implicit TLS",
		fill: func(c *Config) { def(&c.Mail.Port, 587) }},
	{Key: "mail.security", Default: "starttls", Help: "\"starttls\" or \"tls\"; one of them is required",
		fill: func(c *Config) { def(&c.Mail.Security, "starttls") }},
	{Key: "mail.user", Default: "", Help: "relay user name"},
	{Key: "mail.password-file", Default: "", Secret: true, Help: "file with the relay password"},
	{Key: "mail.ca-file", Default: "", Help: "CA certificate file, for a relay with a private CA"},
	{Key: "mail.from", Default: "", Help: "the From address"},
	{Key: "mail.per-minute", Default: "60", Help: "maximum emails per minute",
		fill: func(c *Config) { def(&c.Mail.PerMinute, 60) }},
	{Key: "mail.postal-address", Default: "", Help: "sender's name and postal address, shown at the foot of each email"},
	{Key: "mail.operator", Default: "", Help: "your own address: gets an email when something breaks and when it recovers"},
	{Key: "webhook.name", Help: "name of a receiver of webhooks, as the list of jobs shows it; required, with url and secret-file"},
	{Key: "webhook.url", Help: "https address that gets signed messages; http only on this machine"},
	{Key: "webhook.secret-file", Secret: true, Help: "file with the shared secret that signs: whsec_ and 24 to 64 bytes in base64"},
	{Key: "webhook.rivers", Default: "all", Help: "slugs of the rivers that messages are about"},
	{Key: "webhook.events", Default: "all", Help: "events that are sent: forecast.issued, window.added, window.moved, window.cancelled, caution.changed"},
	{Key: "health.free-mb", Default: "500", Help: "least free space of each disk written to, MB",
		fill: func(c *Config) { def(&c.Health.FreeMB, 500) }},
	{Key: "health.caution-age", Default: "10m", Help: "longest time since a river's caution was judged",
		fill: func(c *Config) { def(&c.Health.CautionAge, Span(10*time.Minute)) }},
	{Key: "health.reading-age", Default: "48h", Help: "longest age of the newest reading behind a forecast",
		fill: func(c *Config) { def(&c.Health.ReadingAge, Span(48*time.Hour)) }},
	{Key: "health.feed-failures", Default: "8", Help: "most failed fetches of a site in a row",
		fill: func(c *Config) { def(&c.Health.FeedFailures, 8) }},
	{Key: "health.mail-wait", Default: "30m", Help: "longest time an email that is due may wait",
		fill: func(c *Config) { def(&c.Health.MailWait, Span(30*time.Minute)) }},
	{Key: "health.suppressed-share", Default: "0.2", Help: "largest share of subscribers suppressed after bounces",
		fill: func(c *Config) { def(&c.Health.SuppressedShare, 0.2) }},
	{Key: "health.certificate-days", Default: "7", Help: "least days left on the relay's certificate",
		fill: func(c *Config) { def(&c.Health.CertificateDays, 7) }},
	{Key: "health.clock-offset", Default: "1m", Help: "largest difference between this machine's clock and the database's",
		fill: func(c *Config) { def(&c.Health.ClockOffset, Span(time.Minute)) }},
	{Key: "health.interval", Default: "30s", Help: "how often the health is looked at; the relay and the database's pages less often",
		fill: func(c *Config) { def(&c.Health.Interval, Span(30*time.Second)) }},
	{Key: "health.ping-url", Default: "", Secret: true, Help: "dead-man URL, called at each look while all is well"},
}

func def[T comparable](p *T, v T) {
	var zero T
	if *p == zero {
		*p = v
	}
}

// feedKind is what the config must know of a feed to check a file.
type feedKind struct {
	file     bool // reads a saved file, so a gauge names one
	byURL    bool // or asks the server that base-url names
	weather  bool // serves weather
	optIn    bool // must be switched on by name
	optInWhy string
	noGauge  bool   // has no readings of gauges or weather
	every    string // when it is asked unless the config says otherwise; our own defaults
	records  bool   // has dated records of insects
	warnings string // the same for official warnings; empty: it has none
}

var knownFeeds = map[string]feedKind{
	"inaturalist":  {noGauge: true, optIn: true, optInWhy: "it is asked about the places of your rivers", records: true, every: "@every 24h"},
	"gbif":         {noGauge: true, optIn: true, optInWhy: "it is asked about the places of your rivers", records: true, every: "@every 168h"},
	"usgs":         {every: "@every 15m"},
	"open-meteo":   {weather: true, optIn: true, optInWhy: "its free service is for non-commercial use", every: "@every 3h"},
	"csv":          {file: true, weather: true, every: "@every 15m"},
	"nws":          {weather: true, every: "@every 1h", warnings: "@every 5m"},
	"ghcn":         {weather: true, every: "@every 12h"},
	"ea":           {every: "@every 30m", warnings: "@every 10m"}, // renewed each quarter of an hour
	"eccc":         {every: "@every 30m", warnings: "@every 10m"},
	"meteoalarm":   {noGauge: true, warnings: "@every 10m"},
	"nwps":         {noGauge: true, every: "@every 1h"},
	"waterml2":     {file: true, byURL: true, every: "@every 15m"},
	"bafu":         {every: "@every 10m"},
	"sensorthings": {every: "@every 30m"},
}

// FeedNames lists the feeds a config may name.
func FeedNames() []string {
	var out []string
	for n := range knownFeeds {
		out = append(out, n)
	}
	slices.Sort(out)
	return out
}

// warningFeeds lists the feeds that have official warnings.
func warningFeeds() []string {
	var out []string
	for n, k := range knownFeeds {
		if k.warnings != "" {
			out = append(out, n)
		}
	}
	slices.Sort(out)
	return out
}

func weatherFeeds() []string {
	var out []string
	for n, k := range knownFeeds {
		if k.weather {
			out = append(out, n)
		}
	}
	slices.Sort(out)
	return out
}
