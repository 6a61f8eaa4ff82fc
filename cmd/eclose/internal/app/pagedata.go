package app

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"runtime"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/sync/errgroup"

	"example.org/eclose/cmd/eclose/internal/jobs"
	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
)

// refresher keeps what the pages show as new as what the jobs bring, whichever
// process works them: an issued outlook is shown within seconds, and each
// caution is judged again every minute with the readings as old as they are by
// then.
type refresher struct {
	*pages.Memory
	db      *db.DB
	archive *archive.Archive
	opened  *opened
	store   *series.Store
	reader  forecast.Reader // the store with its keys remembered for a while
	now     func() time.Time
	log     zerolog.Logger
	draw    func(context.Context) error // draws what changed; nil: nobody reads
	looked  chan struct{}               // closed after the first look

	mu       sync.Mutex
	judged   time.Time
	judgedAt map[string]time.Time // the last that succeeded, by river
}

// How often outlooks are looked for, and cautions and feeds judged; our own.
const (
	lookEvery  = 2 * time.Second
	judgeEvery = time.Minute
)

func newRefresher(rivers []forecast.River, d *db.DB, a *archive.Archive, store *series.Store, reader forecast.Reader, now func() time.Time, log zerolog.Logger) *refresher {
	open := newOpened(maxOpened, func(ctx context.Context, i archive.Issue) (*forecast.Outlook, error) {
		return a.Load(ctx, i.River, i.Issued, i.ModelVersion)
	})
	return &refresher{Memory: pages.NewMemory(rivers), db: d, archive: a, opened: open, store: store, reader: reader, now: now, log: log, looked: make(chan struct{}), judgedAt: map[string]time.Time{}}
}

// run renews what the pages show until ctx ends.
func (l *refresher) run(ctx context.Context) {
	every := time.NewTicker(lookEvery)
	defer every.Stop()
	for first := true; ; first = false {
		l.renew(ctx)
		if l.draw != nil {
			if err := l.draw(ctx); err != nil && ctx.Err() == nil {
				l.log.Error().Err(err).Msg("rendering pages")
			}
		}
		if first {
			close(l.looked)
		}
		select {
		case <-ctx.Done():
			return
		case <-every.C:
		}
	}
}

// done hears of finished jobs: after a fetch the cautions are judged at once.
func (l *refresher) done(d jobs.Attempt) {
	if d.Kind == (jobs.Fetch{}).Kind() || d.Kind == (jobs.Warnings{}).Kind() {
		l.mu.Lock()
		defer l.mu.Unlock()
		l.judged = time.Time{}
	}
}

// cautions says when the caution of each river was last judged; zero: not yet.
// A river without a forecast has none to judge.
func (l *refresher) cautions() map[string]time.Time {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := make(map[string]time.Time, len(l.judgedAt))
	maps.Copy(out, l.judgedAt)
	return out
}

func (l *refresher) renew(ctx context.Context) {
	l.mu.Lock()
	due := l.now().Sub(l.judged).Abs() >= judgeEvery
	if due {
		l.judged = l.now()
	}
	l.mu.Unlock()
	var known []db.FeedState
	if due {
		var err error
		if known, err = db.FeedStates(ctx, l.db.SQL); err != nil && ctx.Err() == nil {
			l.log.Error().Err(err).Msg("reading how the feeds answered, for the pages")
		}
	}
	var rivers errgroup.Group
	rivers.SetLimit(runtime.GOMAXPROCS(0))
	for _, r := range l.Rivers() {
		rivers.Go(func() error {
			l.renewRiver(ctx, r, due, known)
			return nil
		})
	}
	_ = rivers.Wait() // none fails: each logs what it could not read
	if !due || ctx.Err() != nil {
		return
	}
	feeds, err := l.feeds(ctx, known)
	if err != nil {
		if ctx.Err() == nil {
			l.log.Error().Err(err).Msg("checking feed freshness for the pages")
		}
		return
	}
	l.PutFeeds(feeds)
}

func (l *refresher) renewRiver(ctx context.Context, r forecast.River, due bool, known []db.FeedState) {
	if ctx.Err() != nil {
		return
	}
	old, _ := l.State(ctx, r.Slug) // from memory: it never fails
	st, err := l.state(ctx, r, old, due, known)
	if err != nil && ctx.Err() == nil {
		l.log.Error().Err(err).Str("river", r.Slug).Msg("refreshing page data")
	}
	if st == nil || st == old {
		return
	}
	if st.Outlook != nil {
		l.mu.Lock()
		l.judgedAt[r.Slug] = st.CautionAt
		l.mu.Unlock()
	}
	l.Put(r.Slug, st)
}

// state is what is known of a river by now: a new one, or the one before where
// nothing has changed. What cannot be judged has a caution that is not known.
func (l *refresher) state(ctx context.Context, r forecast.River, old *pages.State, due bool, known []db.FeedState) (*pages.State, error) {
	newest, err := l.archive.LatestIssue(ctx, r.Slug, l.now())
	if errors.Is(err, archive.ErrNotFound) {
		if !due {
			return old, nil
		}
		in, err := forecast.CautionInput(ctx, l.reader, r, l.now())
		return &pages.State{Problem: problemOf(r, known), Warnings: in.Warnings}, err
	}
	if err != nil {
		return old, err
	}
	fresh := old == nil || old.Outlook == nil || !old.Outlook.IssuedAt.Equal(newest.Issued)
	if !fresh && !due {
		return old, nil
	}
	st := &pages.State{CautionAt: l.now(), Caution: wading.Assess(wading.Input{})}
	now := st.CautionAt
	if old != nil && old.Outlook != nil { // until it is judged again it ages, and is not known in the end
		st.Caution, st.CautionAt, st.Warnings = old.Caution, old.CautionAt, old.Warnings
	}
	if fresh {
		whole, err := l.opened.get(ctx, newest)
		if err != nil {
			return old, err
		}
		st.Outlook = whole.Brief()
		st.Load = func(ctx context.Context) (*forecast.Outlook, error) { return l.opened.get(ctx, newest) }
		if st.Flows, _, err = PastFlows(ctx, l.reader, r, newest.Issued); err != nil {
			return st, fmt.Errorf("past flows: %w", err)
		}
	} else {
		st.Outlook, st.Load, st.Flows, st.Problem = old.Outlook, old.Load, old.Flows, old.Problem
	}
	if due {
		st.Problem = problemOf(r, known)
	}
	in, err := forecast.CautionInput(ctx, l.reader, r, now)
	if err != nil {
		return st, fmt.Errorf("caution: %w", err)
	}
	st.Caution, st.CautionAt, st.Warnings = wading.Assess(in), now, in.Warnings
	return st, nil
}

// problemOf says which feeds of a river did not answer the last time.
func problemOf(r forecast.River, known []db.FeedState) string {
	var out strings.Builder
	for _, x := range known {
		if x.LastError == "" || !slices.ContainsFunc(feedSites(r), func(st forecast.FeedSite) bool { return st.Feed == x.Feed && st.Site == x.Item }) {
			continue
		}
		fmt.Fprintf(&out, "No answer from feed %s for %s (%s). ", x.Feed, x.Item, OneLine(withoutAddress(x.LastError), 120))
	}
	return out.String()
}

func feedSites(r forecast.River) []forecast.FeedSite {
	out := slices.Clone(r.Gauges)
	if r.Weather != nil {
		out = append(out, *r.Weather)
	}
	return out
}

// feeds says how fresh each source is: by what is stored, and by how it answered.
func (l *refresher) feeds(ctx context.Context, known []db.FeedState) ([]pages.Feed, error) {
	out, err := feedsOf(ctx, l.store, l.Rivers())
	if err != nil {
		return nil, err
	}
	for i := range out {
		for _, x := range known {
			if x.Feed != out[i].Feed || x.Item != out[i].Site {
				continue
			}
			out[i].Retrieved = x.Answered
			if x.LastError != "" {
				out[i].Problem = OneLine(withoutAddress(x.LastError), 120)
			}
		}
	}
	return out, nil
}
