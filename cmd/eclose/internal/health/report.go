package health

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest/db"
)

// Watch looks at the stores of one deployment.
type Watch struct {
	DB      *db.DB
	Queue   *jobs.Queue
	Archive *archive.Archive
	Rivers  []string // short names
	Now     func() time.Time
	Started time.Time
	Period  time.Duration                                 // between two outlooks of a river
	Mails   func(context.Context) (map[string]int, error) // by state; nil: no mail
	// Judged is when the caution of a river was judged last, zero: not by this
	// process; nil: it shows none.
	Judged func(context.Context, string) time.Time

	mu     sync.Mutex
	last   Report
	lastAt time.Time
}

// When things count as stale; our own defaults. An outlook may be missed once,
// since one that is late is no catastrophe and two in a row are no accident.
const (
	missable   = 2
	grace      = time.Hour
	dataStale  = 48 * time.Hour // the outlook then says so itself
	judgeStale = 15 * time.Minute
	lookAtMost = 15 * time.Second
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
	Rivers   []River   `json:"rivers"`
	// CautionAge is how long ago the oldest of the cautions shown was judged.
	CautionAge *float64 `json:"oldest_caution_age_seconds,omitempty"`
}

// Look returns the state, at most a quarter of a minute old.
func (w *Watch) Look(ctx context.Context) (Report, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	now := w.Now()
	if !w.lastAt.IsZero() && now.Sub(w.lastAt) < lookAtMost && !now.Before(w.lastAt) {
		return w.last, nil
	}
	r := Report{At: now.UTC(), Problems: []string{}}
	stale := 0
	for _, slug := range w.Rivers {
		x := River{River: slug}
		h, err := w.Archive.LatestHead(ctx, slug, now)
		switch {
		case errors.Is(err, archive.ErrNotFound):
			if now.Sub(w.Started) > missable*w.Period+grace {
				x.Stale = "no forecast issued yet"
			}
		case err != nil:
			return r, err
		default:
			x.Issued, x.CutOff = h.Issued, h.CutOff
			if age := now.Sub(h.Issued); age > missable*w.Period+grace {
				x.Stale = fmt.Sprintf("latest forecast is %s old", round(age))
			} else if age := now.Sub(h.CutOff); age > dataStale {
				x.Stale = fmt.Sprintf("latest reading used is %s old", round(age))
				if h.CutOff.IsZero() {
					x.Stale = "no reading from the last ten days was used"
				}
			}
		}
		if x.Stale != "" {
			stale++
		}
		r.Rivers = append(r.Rivers, x)
	}
	if stale > 0 {
		r.Problems = append(r.Problems, fmt.Sprintf("forecasts are stale for %d of %d rivers", stale, len(w.Rivers)))
	}
	w.cautions(ctx, &r)
	if err := w.others(ctx, &r); err != nil {
		return r, err
	}
	r.Healthy = len(r.Problems) == 0
	w.last, w.lastAt = r, now
	return r, nil
}

// cautions says how old the cautions are that this process shows.
func (w *Watch) cautions(ctx context.Context, r *Report) {
	if w.Judged == nil {
		return
	}
	oldest := time.Duration(-1)
	for _, slug := range w.Rivers {
		if at := w.Judged(ctx, slug); !at.IsZero() {
			oldest = max(oldest, r.At.Sub(at))
		}
	}
	if oldest < 0 {
		return
	}
	seconds := oldest.Seconds()
	r.CautionAge = &seconds
	if oldest > judgeStale {
		r.Problems = append(r.Problems, fmt.Sprintf("a caution was judged %s ago", round(oldest)))
	}
}

func (w *Watch) others(ctx context.Context, r *Report) error {
	counts, err := w.Queue.Counts(ctx)
	if err != nil {
		return err
	}
	for kind, by := range counts {
		if n := by["discarded"]; n > 0 {
			r.Problems = append(r.Problems, fmt.Sprintf("%d %s jobs were discarded; see eclose jobs list --state discarded", n, kind))
		}
	}
	if off := w.Queue.ClockOff(); off.Abs() > time.Minute {
		r.Problems = append(r.Problems, fmt.Sprintf("this machine's clock differs from the database's by %s; using the database's", round(off)))
	}
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

// ServeHTTP answers 200 where all is fresh and 503 where it is not, with the
// report either way.
func (w *Watch) ServeHTTP(rw http.ResponseWriter, req *http.Request) {
	ctx, cancel := context.WithTimeout(req.Context(), 10*time.Second)
	defer cancel()
	r, err := w.Look(ctx)
	if err != nil {
		r = Report{At: w.Now().UTC(), Problems: []string{"the state cannot be read: " + err.Error()}}
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
