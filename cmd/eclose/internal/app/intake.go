package app

import (
	"context"
	"fmt"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
)

// AnswerWithin is how long one answer of a feed may take: the Environment
// Agency's flood-monitoring API has been measured at 12 to 64 seconds.
const AnswerWithin = 2 * time.Minute

// overlap is how far behind the newest reading a later fetch begins: agencies
// revise what is provisional. Our own default.
const overlap = 30 * 24 * time.Hour

// otherIngest is how long an ingest waits for another process to be done with the
// store; our own default.
const otherIngest = 2 * time.Second

// Ingest does one pass of all feeds of a config; watch sets who is notified how it
// goes.
func Ingest(ctx context.Context, cfg *config.Config, o Options, watch func(*schedule.Intake)) ([]schedule.Outcome, error) {
	store, err := series.Open(ctx, cfg.StoreURL(), series.WaitForWriter(otherIngest))
	if err != nil {
		return nil, err
	}
	defer store.Close() //nolint:errcheck // every write is already on the disk
	c, err := FeedClient(cfg, o)
	if err != nil {
		return nil, err
	}
	places, err := sources.Builder{Config: cfg, Client: c, Now: o.Now, Skipped: o.Skipped}.Tasks()
	if err != nil {
		return nil, Usage(err)
	}
	in := schedule.Intake{Store: store, Now: o.Now, Overlap: overlap, Backfill: time.Duration(cfg.Backfill) * 8766 * time.Hour}
	watch(&in)
	return in.Run(ctx, places)
}

// FeedClient is the polite client of a config's feeds.
func FeedClient(cfg *config.Config, o Options) (*client.Client, error) {
	c, err := client.New(client.Options{UserAgent: UserAgent(cfg), PerHost: RatePerHost(cfg), MaxBody: 256 << 20, Timeout: AnswerWithin, Now: o.Now, Sleep: o.Sleep})
	if err != nil {
		return nil, fmt.Errorf("preparing the feed client: %w", err)
	}
	return c, nil
}

// UserAgent names this program and its operator to the agencies.
func UserAgent(cfg *config.Config) string {
	contact := "no contact configured"
	for _, name := range config.FeedNames() {
		if f := cfg.Feeds[name]; f.Contact != "" {
			contact = f.Contact
			break
		}
	}
	return "eclose (" + contact + ")"
}

// RatePerHost lifts the pause between requests where the host is this machine.
func RatePerHost(cfg *config.Config) map[string]float64 {
	out := map[string]float64{}
	for _, f := range cfg.Feeds {
		for _, base := range []string{f.BaseURL, f.Archive, f.Ensemble, f.Warnings} {
			if host := Loopback(base); host != "" {
				out[host] = 1000
			}
		}
	}
	return out
}
