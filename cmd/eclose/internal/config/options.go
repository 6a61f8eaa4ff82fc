package config

import "slices"

// Option is one line of the option table: it fills the default, prints the
// README's table and marks what must never be shown.
type Option struct {
	Key     string
	Default string
	Secret  bool // the value, or the content of the file it names, is never printed
	Help    string
	fill    func(*Config)
}

// Options is the table of all top-level options. Rivers and feeds have their
// own keys, described in the worked example of the README.
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
	{Key: "feeds.NAME.schedule", Default: "by feed", Help: "when eclose serve asks the feed: a cron expression in UTC, or \"@every 30m\""},
	{Key: "serve.addr", Default: "127.0.0.1:8437", Help: "where the page listens; loopback unless you say otherwise",
		fill: func(c *Config) { def(&c.Serve.Addr, "127.0.0.1:8437") }},
	{Key: "serve.public-url", Default: "http://127.0.0.1:8437", Help: "the address that stands in mails",
		fill: func(c *Config) { def(&c.Serve.PublicURL, "http://"+c.Serve.Addr) }},
	{Key: "serve.admin-secret-file", Default: "", Secret: true, Help: "file holding the secret for writing the diary from elsewhere than this machine"},
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
	{Key: "feeds.NAME.key-file", Default: "", Secret: true, Help: "file holding the agency's key; sent in a header, to that host only"},
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
	"waterml2":     {file: true, every: "@every 15m"},
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
