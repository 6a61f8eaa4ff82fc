package config

import (
	"fmt"
	"slices"
	"strings"
)

// Option is one line of the option table: it fills the default, prints the
// README's table and marks what must never be shown.
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
	{Key: "store", Default: "series", Help: "where the series are kept: a folder, or a URL such as s3://bucket",
		fill: func(c *Config) { def(&c.Store, "series") }},
	{Key: "database", Default: "eclose.db", Secret: true, Help: "diary, subscriptions, outlooks and jobs: an SQLite file, or postgres://… for several machines",
		fill: func(c *Config) { def(&c.Database, "eclose.db") }},
	{Key: "units", Default: "metric", Help: "what people read: \"metric\" or \"us\"; safety text always carries both",
		fill: func(c *Config) { def(&c.Units, "metric") }},
	{Key: "backfill-years", Default: "10", Help: "how many past years the first ingest asks for",
		fill: func(c *Config) { def(&c.Backfill, 10) }},
	{Key: "insects", Default: "", Help: "your own file of insect groups, added to or replacing those of the catalogue"},
	{Key: "outlooks", Default: "10 */6 * * *", Help: "when eclose serve issues outlooks: a cron expression in UTC",
		fill: func(c *Config) { def(&c.Outlooks, "10 */6 * * *") }},
	{Key: "notice", Help: "a sentence that stands on every page and sheet, in every mail and export"},
	{Key: "river.name", Help: "the river and reach, as people call it; required"},
	{Key: "river.slug", Default: "from the name", Help: "its short name in commands and addresses"},
	{Key: "river.zone", Default: "UTC", Help: "IANA time zone, such as America/Denver"},
	{Key: "river.lat", Help: "latitude in degrees; required"},
	{Key: "river.lon", Help: "longitude in degrees, west is negative; required"},
	{Key: "river.region", Default: "by place", Help: "region of the insect catalogue; eclose group find names them"},
	{Key: "river.groups", Default: "all of the region", Help: "keys of the insect groups to forecast"},
	{Key: "river.regulated", Default: "false", Help: "true below a dam: the caution says so"},
	{Key: "river.notices", Help: "address where local notices are published"},
	{Key: "river.flood.unit", Help: "\"m\" or \"ft\": unit of the gauge heights from which the flood service counts floods"},
	{Key: "river.flood.action", Help: "the lowest of these heights: from it on the caution is 3; likewise minor, moderate and major"},
	{Key: "river.flood.minor", Help: "height of a minor flood"},
	{Key: "river.flood.moderate", Help: "height of a moderate flood"},
	{Key: "river.flood.major", Help: "height of a major flood"},
	{Key: "river.gauge.feed", Help: "feed that has the gauge"},
	{Key: "river.gauge.site", Help: "the agency's number of the gauge"},
	{Key: "river.gauge.variables", Default: "water_temperature, discharge", Help: "what to take from it; also gauge_height and others"},
	{Key: "river.gauge.period", Default: "as measured", Help: "\"P1D\" takes daily values instead"},
	{Key: "river.gauge.file", Help: "saved answer, for feeds that read files"},
	{Key: "river.weather.feed", Help: "feed that has the weather"},
	{Key: "river.weather.lat", Default: "the river's", Help: "latitude of the weather place"},
	{Key: "river.weather.lon", Default: "the river's", Help: "longitude of the weather place"},
	{Key: "river.weather.site", Help: "station, for feeds that have stations"},
	{Key: "river.weather.file", Help: "saved answer, for feeds that read files"},
	{Key: "feeds.NAME.enabled", Help: "open-meteo wants a true, since its free service is for non-commercial use"},
	{Key: "feeds.NAME.base-url", Default: "the live service", Help: "another server that answers like it; for waterml2 your server's request with {site}, {from} and {to} in it"},
	{Key: "feeds.NAME.archive-url", Default: "the live service", Help: "the same for open-meteo's archive, and for GeoMet, the second server of eccc"},
	{Key: "feeds.NAME.ensemble-url", Default: "the live service", Help: "the same for open-meteo's ensemble"},
	{Key: "feeds.NAME.model", Default: "by feed", Help: "weather model of open-meteo's ensemble"},
	{Key: "feeds.NAME.owner", Default: "the agency", Help: "whose data it is, as pages and sheets say"},
	{Key: "feeds.NAME.contact", Help: "your address for the User-Agent, as agencies ask"},
	{Key: "feeds.NAME.key-file", Secret: true, Help: "file holding the agency's key; sent in a header, to that host only"},
	{Key: "feeds.NAME.schedule", Default: "by feed", Help: "when eclose serve asks the feed: a cron expression in UTC, or \"@every 30m\""},
	{Key: "feeds.NAME.jitter", Default: "2 s a river", Help: "over how long the questions of one time are spread, such as \"5m\"; each river keeps its place in it"},
	{Key: "feeds.csv.zone", Help: "IANA zone of the times in CSV files"},
	{Key: "feeds.csv.time-column", Help: "name of the column with the time"},
	{Key: "feeds.csv.time-layout", Help: "how a time is written, as Go writes 2 January 2006 15:04"},
	{Key: "feeds.csv.missing", Help: "texts that stand for no value, beside an empty cell"},
	{Key: "feeds.csv.delimiter", Default: ",", Help: "what parts the columns"},
	{Key: "feeds.csv.skip-lines", Default: "0", Help: "lines before the header"},
	{Key: "feeds.csv.column.name", Help: "name of a column with values"},
	{Key: "feeds.csv.column.variable", Help: "what it holds"},
	{Key: "feeds.csv.column.unit", Help: "its unit"},
	{Key: "feeds.csv.column.statistic", Help: "mean, max, min, sum of a day, where it is not an instant"},
	{Key: "feeds.csv.column.period", Default: "as measured", Help: "\"P1D\" if the values are of days"},
	{Key: "serve.addr", Default: "127.0.0.1:8437", Help: "where the page listens; loopback unless you say otherwise",
		fill: func(c *Config) { def(&c.Serve.Addr, "127.0.0.1:8437") }},
	{Key: "serve.public-url", Default: "http://127.0.0.1:8437", Help: "the address that stands in mails",
		fill: func(c *Config) { def(&c.Serve.PublicURL, "http://"+c.Serve.Addr) }},
	{Key: "serve.admin-secret-file", Default: "", Secret: true, Help: "file holding the secret for writing the diary from elsewhere than this machine"},
	{Key: "serve.report", Default: "backtest", Help: "folder of eclose backtest --out, whose report the page shows",
		fill: func(c *Config) { def(&c.Serve.Report, "backtest") }},
	{Key: "mail.host", Default: "", Help: "SMTP relay; without one nothing is sent"},
	{Key: "mail.port", Default: "587", Help: "587 for STARTTLS, 465 for implicit TLS",
		fill: func(c *Config) { def(&c.Mail.Port, 587) }},
	{Key: "mail.security", Default: "starttls", Help: "\"starttls\" or \"tls\"; one of them is required",
		fill: func(c *Config) { def(&c.Mail.Security, "starttls") }},
	{Key: "mail.user", Default: "", Help: "user at the relay"},
	{Key: "mail.password-file", Default: "", Secret: true, Help: "file holding the password at the relay"},
	{Key: "mail.ca-file", Default: "", Help: "file with the authority that signed the relay's certificate, where it is one of your own"},
	{Key: "mail.from", Default: "", Help: "the From address"},
	{Key: "mail.per-minute", Default: "60", Help: "at most so many mails a minute to this relay",
		fill: func(c *Config) { def(&c.Mail.PerMinute, 60) }},
	{Key: "mail.postal-address", Default: "", Help: "one line naming the sender, shown at the foot of each mail"},
}

// Table is the option table of the README, in Markdown.
func Table() string {
	var b strings.Builder
	b.WriteString("| option | default | what it is |\n| --- | --- | --- |\n")
	for _, o := range Options {
		key := "`" + o.Key + "`"
		if o.Secret {
			key += " (secret)"
		}
		def := o.Default
		if def != "" && o.fill != nil {
			def = "`" + def + "`"
		}
		fmt.Fprintf(&b, "| %s | %s | %s |\n", key, def, strings.ReplaceAll(o.Help, "|", "\\|"))
	}
	return b.String()
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
	every    string // when it is asked unless the config says otherwise; our own defaults
}

var knownFeeds = map[string]feedKind{
	"usgs":         {every: "@every 15m"},
	"usgs-legacy":  {file: true, every: "@every 15m"},
	"open-meteo":   {weather: true, optIn: true, optInWhy: "its free service is for non-commercial use", every: "@every 3h"},
	"csv":          {file: true, weather: true, every: "@every 15m"},
	"nws":          {weather: true, every: "@every 1h"},
	"ghcn":         {weather: true, every: "@every 12h"},
	"ea":           {every: "@every 30m"},
	"eccc":         {every: "@every 30m"},
	"waterml2":     {file: true, byURL: true, every: "@every 15m"},
	"bafu":         {file: true, every: "@every 15m"},
	"nve":          {file: true, every: "@every 15m"},
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
