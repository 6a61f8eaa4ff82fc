package sources

import (
	"cmp"
	"fmt"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/ingest/feed"
	"example.org/eclose/ingest/warning"
)

// Warned is a river and the service that warns there.
type Warned struct {
	River  string // slug
	Source warning.Source
	Place  warning.Place
}

// Warnings lists the rivers of the config for which a service of official
// warnings is known, in order.
func (b Builder) Warnings() ([]Warned, error) {
	made := map[string]warning.Source{} // one source for each feed: it may remember what rivers share
	var out []Warned
	for _, r := range b.Config.Rivers {
		name, place, _ := b.Config.WarningsOf(r)
		if name == "" {
			continue
		}
		if made[name] == nil {
			f, ok := warningFeed(name)
			if !ok {
				return nil, fmt.Errorf("river %s: feed %q has no warnings", r.Slug, name)
			}
			made[name] = f.New(b.Client, warningsURL(b.Config, name), b.Now)
		}
		out = append(out, Warned{r.Slug, made[name], place})
	}
	return out, nil
}

func warningFeed(name string) (feed.WarningFeed, bool) {
	for _, f := range feed.WarningFeeds {
		if f.Name == name {
			return f, true
		}
	}
	return feed.WarningFeed{}, false
}

// warningsURL is the server that the config names for a feed's warnings; ""
// for the live one.
func warningsURL(c *config.Config, name string) string {
	return cmp.Or(c.Feeds[name].Warnings, c.Feeds[name].BaseURL)
}

// AboutWarnings says whose warnings a feed has, and what they leave out.
func AboutWarnings(name string) string {
	f, _ := warningFeed(name)
	return f.About
}
