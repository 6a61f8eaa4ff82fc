package app

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
)

// stateOf gathers what the pages show of a river beside its outlook: the flows known
// at its issue, and the caution as it stands at a moment.
func stateOf(ctx context.Context, store forecast.Reader, r forecast.River, o *forecast.Outlook, now time.Time) (*pages.State, error) {
	flows, _, err := PastFlows(ctx, store, r, o.IssuedAt)
	if err != nil {
		return nil, fmt.Errorf("flow of %s: %w", r.Slug, err)
	}
	in, err := forecast.CautionInput(ctx, store, r, now)
	if err != nil {
		return nil, fmt.Errorf("caution of %s: %w", r.Slug, err)
	}
	return &pages.State{Outlook: o, Caution: wading.Assess(in), CautionAt: now, Flows: flows, Warnings: in.Warnings}, nil
}

// feedsOf says how fresh each source of the rivers is, by what is stored.
func feedsOf(ctx context.Context, store *series.Store, rivers []forecast.River) ([]pages.Feed, error) {
	keys, err := store.Keys(ctx)
	if d := (*series.DamagedError)(nil); err != nil && !errors.As(err, &d) { // a damaged series does not hide the others
		return nil, fmt.Errorf("listing what the store holds: %w", err)
	}
	known := map[ingest.Key]bool{}
	for _, k := range keys {
		known[k] = true
	}
	type station struct{ feed, site string }
	at := map[station][]ingest.Key{}
	for _, k := range keys {
		control := k
		control.Member = 0
		if k.Member == 0 || !known[control] { // members came in one answer
			at[station{k.Feed, k.Site}] = append(at[station{k.Feed, k.Site}], k)
		}
	}
	var out []pages.Feed
	for _, r := range rivers {
		stations := slices.Clone(r.Gauges)
		if r.Weather != nil {
			stations = append(stations, *r.Weather)
		}
		for _, st := range stations {
			f := pages.Feed{River: r.Slug, Feed: st.Feed, Site: st.Site}
			var what []string
			for _, k := range at[station{st.Feed, st.Site}] {
				i, err := store.Info(ctx, k)
				if err != nil {
					return nil, fmt.Errorf("reading %s: %w", k, err)
				}
				if i.Last.After(f.Newest) && k.Member == 0 {
					f.Newest = i.Last
				}
				if i.Retrieved.After(f.Retrieved) {
					f.Retrieved = i.Retrieved
				}
				if w := variableWords(k.Variable); !slices.Contains(what, w) {
					what = append(what, w)
				}
			}
			slices.Sort(what)
			f.What = strings.Join(what, ", ")
			out = append(out, f)
		}
	}
	return out, nil
}

func variableWords(v ingest.Variable) string { return strings.ReplaceAll(string(v), "_", " ") }

// LoadPageData reads all that the pages show of some rivers at a moment.
func LoadPageData(ctx context.Context, cfg *config.Config, outlooks []*forecast.Outlook, now time.Time) (*pages.Memory, error) {
	rivers, err := Rivers(cfg, nil)
	if err != nil {
		return nil, err
	}
	store, err := series.Open(ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return nil, err
	}
	defer store.Close() //nolint:errcheck // it was only read
	memory := pages.NewMemory(rivers)
	for _, r := range rivers {
		for _, o := range outlooks {
			if o.River != r.Slug {
				continue
			}
			st, err := stateOf(ctx, store, r, o, now)
			if err != nil {
				return nil, err
			}
			memory.Put(r.Slug, st)
		}
	}
	feeds, err := feedsOf(ctx, store, rivers)
	if err != nil {
		return nil, err
	}
	memory.PutFeeds(feeds)
	return memory, nil
}
