package jobs

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"

	"example.org/eclose/ingest"
)

// Handlers do the work. Each gets keys, may be called again with the same, and
// ends in nil only when all of its effects are in the database.
type Handlers struct {
	Plan           func(context.Context, Plan) error
	Fetch          func(context.Context, Fetch) error
	Warnings       func(context.Context, Warnings) error
	Records        func(context.Context, FetchRecords) error
	Neighbour      func(context.Context, Neighbour) error
	Outlook        func(context.Context, Outlook) error
	Alerts         func(context.Context, Alerts) error
	Tick           func(context.Context, Tick) error
	Deliver        func(context.Context, Deliver) error
	Forget         func(context.Context, Forget) error
	Invite         func(context.Context, Invite) error
	Webhook        func(context.Context, Webhook) error
	Calibrate      func(context.Context, Calibrate) error
	BacktestSeason func(context.Context, BacktestSeason) error
	Export         func(context.Context, Export) error
}

// Attempt is one attempt at a job.
type Attempt struct {
	Kind   string
	Waited time.Duration // since it was due
	Took   time.Duration
	Err    error
}

// RetryLater is the error of a handler that must be called again after a while; it
// counts as no failure.
type RetryLater struct {
	After time.Duration
	Why   string
}

func (e RetryLater) Error() string { return fmt.Sprintf("not now, again in %s: %s", e.After, e.Why) }

// Final wraps an error that no retry can mend.
type Final struct{ Err error }

func (e Final) Error() string { return e.Err.Error() }
func (e Final) Unwrap() error { return e.Err }

// Bounds on how long an attempt may take. A job whose worker was killed is taken
// up again after that time; what was under way twice for a while does no harm.
const (
	planFor      = 2 * time.Minute
	fetchFor     = 10 * time.Minute // ten years of a gauge through a slow agency
	recordsFor   = 30 * time.Minute // some thousand pages at one a second; a later attempt goes on
	outlookFor   = 3 * time.Minute
	alertsFor    = 5 * time.Minute
	deliverFor   = 20 * time.Minute // the longest talk with a relay; the next minute's job does not wait for it
	inviteFor    = 5 * time.Minute
	webhookFor   = time.Minute
	calibrateFor = 5 * time.Minute
	backtestFor  = 30 * time.Minute
	exportFor    = 10 * time.Minute
)

func (q *Queue) workers() *river.Workers {
	w := river.NewWorkers()
	h := q.opt.Handlers
	register(w, q, planFor, h.Plan)
	register(w, q, fetchFor, h.Fetch)
	register(w, q, fetchFor, h.Warnings)
	register(w, q, recordsFor, h.Records)
	register(w, q, fetchFor, h.Neighbour)
	register(w, q, outlookFor, h.Outlook)
	register(w, q, alertsFor, h.Alerts)
	register(w, q, planFor, h.Tick)
	register(w, q, deliverFor, h.Deliver)
	register(w, q, planFor, h.Forget)
	register(w, q, inviteFor, h.Invite)
	register(w, q, webhookFor, h.Webhook)
	register(w, q, calibrateFor, h.Calibrate)
	register(w, q, backtestFor, h.BacktestSeason)
	register(w, q, exportFor, h.Export)
	return w
}

func register[T Args](w *river.Workers, q *Queue, timeout time.Duration, do func(context.Context, T) error) {
	if q.opt.Timeout > 0 {
		timeout = q.opt.Timeout
	}
	river.AddWorker(w, &worker[T]{q: q, timeout: timeout, do: do})
}

type worker[T Args] struct {
	river.WorkerDefaults[T]
	q       *Queue
	timeout time.Duration
	do      func(context.Context, T) error
}

func (w *worker[T]) Timeout(*river.Job[T]) time.Duration { return w.timeout }

func (w *worker[T]) NextRetry(job *river.Job[T]) time.Time {
	return w.q.Now().Add(pause(job.Attempt))
}

// The pause after a failure doubles from the first to the longest, give or take
// a fifth, so that all that failed together does not come back together.
const (
	firstPause   = 5 * time.Second
	longestPause = 30 * time.Minute
)

func pause(attempt int) time.Duration {
	p := longestPause
	if n := max(attempt, 1) - 1; n < 10 {
		p = min(p, firstPause<<n)
	}
	return time.Duration(float64(p) * (0.8 + 0.4*rand.Float64()))
}

func (w *worker[T]) Work(ctx context.Context, job *river.Job[T]) error {
	began := w.q.Now()
	err := w.run(ctx, job)
	if done := w.q.opt.Done; done != nil {
		done(Attempt{Kind: job.Kind, Waited: max(0, began.Sub(job.ScheduledAt)), Took: w.q.Now().Sub(began), Err: err})
	}
	if err == nil {
		return nil
	}
	// A stop is nobody's fault: the next start goes on at once.
	if errors.Is(context.Cause(ctx), context.Canceled) {
		return river.JobSnooze(0)
	}
	if n := (RetryLater{}); errors.As(err, &n) {
		return river.JobSnooze(n.After)
	}
	if errors.As(err, new(Final)) {
		return river.JobCancel(err)
	}
	if errors.As(err, new(*ingest.Error)) {
		again, wait := ingest.Retryable(err)
		if !again {
			return river.JobCancel(err)
		}
		if wait > pause(job.Attempt) {
			return river.JobSnooze(wait)
		}
	}
	return err
}

func (w *worker[T]) run(ctx context.Context, job *river.Job[T]) (err error) {
	if w.do == nil {
		return RetryLater{time.Minute, "this process has no handler for " + job.Kind}
	}
	// A panic must cost one attempt of one job and be reported like any failure.
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("panic in %s: %v", job.Kind, p)
			w.q.opt.Log.Error().Str("job", job.Kind).Int64("id", job.ID).Stack().Msg(err.Error())
		}
	}()
	return w.do(ctx, job.Args)
}

// reportLines is how much a job may say; our own default.
const reportLines = 100

// Report keeps what a handler has to say about its attempt with the job, for
// people; nothing is worked out from it. Called outside a job it does nothing.
func Report(ctx context.Context, lines []string) {
	if n := len(lines); n > reportLines {
		lines = append(lines[:reportLines:reportLines], fmt.Sprintf("and %d more lines", n-reportLines))
	}
	if len(lines) > 0 {
		_ = river.RecordOutput(ctx, lines) // it fails outside a job only
	}
}

var _ rivertype.TimeGenerator = (*Clock)(nil)
