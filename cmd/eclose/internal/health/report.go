package health

import (
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"sort"
	"sync"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest/db"
)

// Watcher looks at the stores of one deployment.
type Watcher struct {
	DB       *db.DB
	Queue    *jobs.Queue
	Archive  *archive.Archive
	Rivers   []string // short names
	Now      func() time.Time
	Started  time.Time
	Interval time.Duration                                 // between two looks without being asked; a report is kept for half of it
	Period   time.Duration                                 // between two outlooks of a river
	Mails    func(context.Context) (map[string]int, error) // by state; nil: no mail
	Limits   Limits
	Log      zerolog.Logger

	Folders  []string                            // that are written to
	Free     func(folder string) (uint64, error) // bytes
	Store    func(context.Context) error         // writes to the store; nil: not looked at
	Index    func(context.Context) error         // reads the index of the series
	Cautions func() map[string]time.Time         // when each river's was judged; nil: nobody judges
	Mail     func(context.Context) (MailState, error)

	NotifyOperator func(ctx context.Context, subject string, lines []string) error // nil: nobody is notified
	PingURL        string

	pages  pages
	mu     sync.Mutex
	last   Report
	lastAt time.Time
}

// When things count as stale; our own defaults. An outlook may be missed once,
// since one that is late is no catastrophe and two in a row are no accident.
const (
	missable = 2
	grace    = time.Hour
)

// River is how fresh what we say of one river is.
type River struct {
	River  string    `json:"river"`
	Issued time.Time `json:"issued"`  // of the newest outlook; zero: none
	CutOff time.Time `json:"cut_off"` // newest reading behind it
	Stale  string    `json:"stale,omitempty"`
}

// Report is the state of a deployment.
type Report struct {
	Healthy  bool      `json:"healthy"`
	At       time.Time `json:"at"`
	Problems []string  `json:"problems"`
	Checks   []Check   `json:"checks"`
	Rivers   []River   `json:"rivers"`
	// CautionAge is how long ago the oldest of the cautions shown was judged.
	CautionAge *float64 `json:"oldest_caution_age_seconds,omitempty"`
}

// Look returns the state, at most half an Interval old. What cannot be read is a
// problem like any other, and hides none of them.
func (w *Watcher) Look(ctx context.Context) Report {
	w.mu.Lock()
	defer w.mu.Unlock()
	now := w.Now()
	if !w.lastAt.IsZero() && now.Sub(w.lastAt) < w.Interval/2 && !now.Before(w.lastAt) {
		return w.last
	}
	r := Report{At: now.UTC(), Problems: []string{}}
	for _, look := range []struct {
		what string
		do   func(context.Context, *Report, time.Time) error
	}{{"forecasts", w.forecasts}, {"jobs", w.jobs}, {"feeds", w.feeds}, {"mail", w.mail}} {
		err := look.do(ctx, &r, now)
		c := Check{Name: "state-read", Of: look.what, Unit: number}
		if err != nil {
			c.Value, c.Problem = 1, fmt.Sprintf("the state of %s cannot be read: %v", look.what, err)
		}
		r.add(c)
	}
	w.writes(ctx, &r, now)
	w.disks(&r)
	w.cautions(&r, now)
	sort.SliceStable(r.Checks, func(i, j int) bool {
		a, b := r.Checks[i], r.Checks[j]
		return cmp.Or(cmp.Compare(a.Name, b.Name), cmp.Compare(a.Of, b.Of)) < 0
	})
	for _, c := range r.Checks {
		if c.Problem != "" && c.Name != forecastAge {
			r.Problems = append(r.Problems, c.Problem)
		}
	}
	r.Healthy = len(r.Problems) == 0
	if ctx.Err() == nil { // whoever asked may have gone half way
		w.last, w.lastAt = r, now
	}
	return r
}

const forecastAge = "forecast-age"

func (w *Watcher) forecasts(ctx context.Context, r *Report, now time.Time) error {
	stale := 0
	limit := missable*w.Period + grace
	for _, slug := range w.Rivers {
		x := River{River: slug}
		h, err := w.Archive.LatestIssue(ctx, slug, now)
		age := now.Sub(h.Issued)
		switch {
		case errors.Is(err, archive.ErrNotFound):
			if age = now.Sub(w.Started); age > limit {
				x.Stale = "no forecast issued yet"
			}
		case err != nil:
			return err
		default:
			x.Issued, x.CutOff = h.Issued, h.CutOff
			if age > limit {
				x.Stale = fmt.Sprintf("latest forecast is %s old", round(age))
			} else if data := now.Sub(h.CutOff); data > w.Limits.ReadingAge {
				x.Stale = fmt.Sprintf("latest reading used is %s old", round(data))
				if h.CutOff.IsZero() {
					x.Stale = "no reading from the last ten days was used"
				}
			}
		}
		if x.Stale != "" {
			stale++
		}
		r.Rivers = append(r.Rivers, x)
		r.Checks = append(r.Checks, Check{Name: forecastAge, Of: slug, Value: age.Seconds(), Limit: limit.Seconds(), Unit: seconds, Problem: x.Stale})
	}
	if stale > 0 {
		r.Problems = append(r.Problems, fmt.Sprintf("forecasts are stale for %d of %d rivers", stale, len(w.Rivers)))
	}
	return nil
}

func (w *Watcher) jobs(ctx context.Context, r *Report, _ time.Time) error {
	counts, err := w.Queue.Counts(ctx)
	if err != nil {
		return err
	}
	for kind, by := range counts {
		if n := by["discarded"]; n > 0 {
			r.Checks = append(r.Checks, Check{Name: "jobs-discarded", Of: kind, Value: float64(n), Unit: number,
				Problem: fmt.Sprintf("%d %s jobs were discarded; see eclose jobs list --state discarded", n, kind)})
		}
	}
	off := w.Queue.ClockOff()
	r.Checks = append(r.Checks, atMost("clock-offset", "", off.Abs().Seconds(), w.Limits.ClockOffset.Seconds(), seconds,
		fmt.Sprintf("this machine's clock differs from the database's by %s; using the database's", round(off))))
	return nil
}

func round(d time.Duration) string {
	switch {
	case d.Abs() >= 48*time.Hour:
		return fmt.Sprintf("%.0f days", d.Hours()/24)
	case d.Abs() >= 2*time.Hour:
		return fmt.Sprintf("%.0f hours", d.Hours())
	}
	return d.Round(time.Second).String()
}

// ServeHTTP answers 200 where all is fresh and 503 where it is not. What the checks
// found names folders, the relay and shares of readers, so it is told on this machine
// only; others are told of the rivers.
func (w *Watcher) ServeHTTP(rw http.ResponseWriter, req *http.Request) {
	// Who asks and leaves at once must not have the next one look again.
	ctx, cancel := context.WithTimeout(context.WithoutCancel(req.Context()), 10*time.Second)
	defer cancel()
	r := w.Look(ctx)
	if !fromHere(req) {
		r.Problems, r.Checks = []string{}, []Check{}
	}
	rw.Header().Set("Content-Type", "application/json")
	rw.Header().Set("Cache-Control", "no-store")
	if !r.Healthy {
		rw.WriteHeader(http.StatusServiceUnavailable)
	}
	enc := json.NewEncoder(rw)
	enc.SetIndent("", " ")
	_ = enc.Encode(r) // whoever asked has gone: nobody is left to tell
}
