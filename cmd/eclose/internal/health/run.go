package health

import (
	"context"
	"fmt"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"example.org/eclose/ingest/db"
)

// mailAtMost is how often the operator gets a mail at most; our own default.
const mailAtMost = 15 * time.Minute

// Run looks at the state until ctx ends: it tells the operator what broke and
// what came back, and calls the dead-man address for as long as all is well.
func (w *Watcher) Run(ctx context.Context) {
	var checking sync.WaitGroup
	defer checking.Wait()
	if w.DB.Dialect == db.SQLite {
		checking.Go(func() { w.pages.run(ctx, w.DB.Name(), pagesEvery*w.Interval) })
	}
	known := &operatorState{}
	t := time.NewTicker(w.Interval)
	defer t.Stop()
	for {
		r := w.Look(ctx)
		if ctx.Err() != nil {
			return
		}
		w.notify(ctx, known, r)
		if r.Healthy && w.PingURL != "" {
			w.ping(ctx)
		}
		select {
		case <-ctx.Done():
			return
		case <-t.C:
		}
	}
}

// operatorState is what the operator knows.
type operatorState struct {
	failing map[string]bool
	before  map[string]bool // failing at the last look: what comes and goes is not reported
	at      time.Time
}

func (w *Watcher) notify(ctx context.Context, t *operatorState, r Report) {
	now := map[string]bool{}
	var lasting []string
	for _, c := range r.Checks {
		if c.Problem != "" {
			now[c.key()] = true
			if t.before[c.key()] {
				lasting = append(lasting, c.key())
			}
		}
	}
	defer func() { t.before = now }()
	var broke, back []string
	for _, k := range lasting {
		if !t.failing[k] {
			broke = append(broke, k)
		}
	}
	for k := range t.failing {
		if !now[k] {
			back = append(back, k)
		}
	}
	if len(broke)+len(back) == 0 || w.NotifyOperator == nil || !t.at.IsZero() && r.At.Sub(t.at) < mailAtMost {
		return
	}
	var lines []string
	for _, c := range r.Checks {
		if c.Problem != "" {
			lines = append(lines, c.Problem)
		}
	}
	slices.Sort(back)
	for _, k := range back {
		lines = append(lines, "resolved: "+strings.TrimSpace(k))
	}
	subject := fmt.Sprintf("%d problems", len(now))
	if len(now) == 0 {
		subject = "all problems resolved"
	}
	if err := w.NotifyOperator(ctx, subject, lines); err != nil {
		w.Log.Error().Err(err).Msg("notifying the operator; it will be tried again")
		return
	}
	t.at, t.failing = r.At, now
}

// ping calls an address that raises the alarm when it is not called any more.
func (w *Watcher) ping(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, w.PingURL, nil)
	if err == nil {
		var res *http.Response
		if res, err = http.DefaultClient.Do(req); err == nil {
			_ = res.Body.Close()
			return
		}
	}
	if ctx.Err() == nil {
		w.Log.Warn().Err(err).Msg("calling health.ping-url")
	}
}

// pages looks for damage in an SQLite file, by a connection of its own.
type pages struct {
	mu  sync.Mutex
	err error
}

// The pages are read at each second look. A look reads the whole file: it may
// take a hundredth of the time.
const (
	pagesEvery = 2
	pagesShare = 100
)

func (p *pages) run(ctx context.Context, path string, every time.Duration) {
	for {
		began := time.Now()
		err := db.CheckPages(ctx, path)
		if ctx.Err() != nil {
			return
		}
		p.mu.Lock()
		p.err = err
		p.mu.Unlock()
		select {
		case <-ctx.Done():
			return
		case <-time.After(max(every, pagesShare*time.Since(began))):
		}
	}
}

func (w *Watcher) damage() error {
	w.pages.mu.Lock()
	defer w.pages.mu.Unlock()
	return w.pages.err
}
