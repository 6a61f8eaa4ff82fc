package jobs

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/rivertype"
)

// Job is a job as it stands.
type Job struct {
	ID       int64
	Kind     string
	Queue    string
	State    string
	Keys     string // JSON
	Attempt  int
	Attempts int // at most
	Due      time.Time
	Began    time.Time // the last attempt
	Ended    time.Time
	By       string // who tried last
	Errors   []Failure
	Report   []string // what the last attempt had to say: see Report
}

// Failure is one attempt that failed.
type Failure struct {
	Attempt int
	At      time.Time
	Error   string
}

// ErrNoJob is wrapped where there is no such job.
var ErrNoJob = errors.New("no such job")

// States a job may be in.
var States = states()

func states() (out []string) {
	for _, s := range rivertype.JobStates() {
		out = append(out, string(s))
	}
	slices.Sort(out)
	return out
}

func jobOf(r *rivertype.JobRow) *Job {
	j := &Job{
		ID: r.ID, Kind: r.Kind, Queue: r.Queue, State: string(r.State), Keys: string(r.EncodedArgs), Attempt: r.Attempt,
		Attempts: r.MaxAttempts, Due: r.ScheduledAt.UTC(),
	}
	if r.AttemptedAt != nil {
		j.Began = r.AttemptedAt.UTC()
	}
	if r.FinalizedAt != nil {
		j.Ended = r.FinalizedAt.UTC()
	}
	if n := len(r.AttemptedBy); n > 0 {
		j.By = r.AttemptedBy[n-1]
	}
	for _, e := range r.Errors {
		j.Errors = append(j.Errors, Failure{e.Attempt, e.At.UTC(), e.Error})
	}
	if o := r.Output(); o != nil && json.Unmarshal(o, &j.Report) != nil {
		j.Report = nil // of another program: nothing that we could show
	}
	return j
}

// Filter says which jobs to list; empty fields match all.
type Filter struct {
	States, Kinds []string
	Most          int // 0: 100
}

// List returns jobs, the newest first.
func (q *Queue) List(ctx context.Context, f Filter) ([]Job, error) {
	p := river.NewJobListParams().OrderBy(river.JobListOrderByID, river.SortOrderDesc).First(min(orDefault(f.Most, 100), 10_000))
	if len(f.Kinds) > 0 {
		p = p.Kinds(f.Kinds...)
	}
	var want []rivertype.JobState
	for _, s := range f.States {
		if !slices.Contains(States, s) {
			return nil, fmt.Errorf("unknown job state %q; use one of %s", s, strings.Join(States, ", "))
		}
		want = append(want, rivertype.JobState(s))
	}
	if want == nil {
		want = rivertype.JobStates()
	}
	res, err := q.river.list(ctx, p.States(want...))
	if err != nil {
		return nil, fmt.Errorf("listing jobs: %w", err)
	}
	out := make([]Job, len(res.Jobs))
	for i, r := range res.Jobs {
		out[i] = *jobOf(r)
	}
	return out, nil
}

// Get returns one job.
func (q *Queue) Get(ctx context.Context, id int64) (*Job, error) {
	j, err := q.river.get(ctx, id)
	if errors.Is(err, rivertype.ErrNotFound) {
		err = ErrNoJob
	}
	if err != nil {
		return nil, fmt.Errorf("reading job %d: %w", id, err)
	}
	return j, nil
}

// Retry makes a job that ended, or waits to be tried again, due now.
func (q *Queue) Retry(ctx context.Context, id int64) (*Job, error) {
	j, err := q.river.retry(ctx, id)
	if errors.Is(err, rivertype.ErrNotFound) {
		err = ErrNoJob
	}
	if err != nil {
		return nil, fmt.Errorf("retrying job %d: %w", id, err)
	}
	return j, nil
}

// Counts returns how many jobs of each kind are in each state.
func (q *Queue) Counts(ctx context.Context) (map[string]map[string]int, error) {
	rows, err := q.db.SQL.QueryContext(ctx, "SELECT kind, CAST(state AS TEXT), COUNT(*) FROM river_job GROUP BY kind, state")
	if err != nil {
		return nil, fmt.Errorf("counting jobs: %w", err)
	}
	defer rows.Close() //nolint:errcheck // it was only read
	out := map[string]map[string]int{}
	for rows.Next() {
		var kind, state string
		var n int
		if err := rows.Scan(&kind, &state, &n); err != nil {
			return nil, fmt.Errorf("counting jobs: %w", err)
		}
		if out[kind] == nil {
			out[kind] = map[string]int{}
		}
		out[kind][state] = n
	}
	if err := rows.Err(); err != nil {
		return nil, fmt.Errorf("counting jobs: %w", err)
	}
	return out, nil
}

// Unfinished is how many jobs of these kinds, or of any, are yet to be done.
func (q *Queue) Unfinished(ctx context.Context, kinds ...string) (int, error) {
	all, err := q.Counts(ctx)
	if err != nil {
		return 0, err
	}
	n := 0
	for kind, by := range all {
		if len(kinds) > 0 && !slices.Contains(kinds, kind) {
			continue
		}
		for _, s := range []rivertype.JobState{rivertype.JobStateAvailable, rivertype.JobStatePending, rivertype.JobStateRunning, rivertype.JobStateRetryable, rivertype.JobStateScheduled} {
			n += by[string(s)]
		}
	}
	return n, nil
}

func (r riverClient[T]) list(ctx context.Context, p *river.JobListParams) (*river.JobListResult, error) {
	return r.c.JobList(ctx, p)
}

func (r riverClient[T]) get(ctx context.Context, id int64) (*Job, error) {
	row, err := r.c.JobGet(ctx, id)
	if err != nil {
		return nil, err
	}
	return jobOf(row), nil
}

func (r riverClient[T]) retry(ctx context.Context, id int64) (*Job, error) {
	row, err := r.c.JobRetry(ctx, id)
	if err != nil {
		return nil, err
	}
	return jobOf(row), nil
}

// Lag returns for each queue how long the job that waits longest has been due.
func (q *Queue) Lag(ctx context.Context) (map[string]time.Duration, error) {
	out := map[string]time.Duration{}
	for _, name := range Queues {
		res, err := q.river.list(ctx, river.NewJobListParams().Queues(name).States(rivertype.JobStateAvailable).
			OrderBy(river.JobListOrderByScheduledAt, river.SortOrderAsc).First(1))
		if err != nil {
			return nil, fmt.Errorf("looking how long jobs wait: %w", err)
		}
		out[name] = 0
		if len(res.Jobs) > 0 {
			out[name] = max(0, q.Now().Sub(res.Jobs[0].ScheduledAt))
		}
	}
	return out, nil
}
