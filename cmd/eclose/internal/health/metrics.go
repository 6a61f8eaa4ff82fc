package health

import (
	"context"
	"io"
	"net/http"
	"runtime/debug"
	"strings"
	"time"

	"github.com/VictoriaMetrics/metrics"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db"
)

// Metrics counts what happens and reads what is when it is asked.
type Metrics struct {
	watch *Watcher
	busy  chan struct{} // a place for each answer that is being made

	took, waited, failed, forgot, signIns, refused *family
}

// NewMetrics returns metrics over a watch.
func NewMetrics(w *Watcher) *Metrics {
	metrics.ExposeMetadata(true) // the types of metrics
	m := &Metrics{
		watch: w, busy: make(chan struct{}, 2),
		took:    newCounted("job_seconds", "Duration of job attempts.", "kind"),
		waited:  newCounted("job_wait_seconds", "Time due jobs waited for a worker.", "kind"),
		failed:  newCounted("job_failures_total", "Failed job attempts.", "kind"),
		forgot:  newCounted("forgotten_total", "Rows deleted because their retention period was over.", "what"),
		signIns: newCounted("sign_in_failures_total", "Wrong secrets entered for the diary."),
		refused: newCounted("sign_ups_refused_total", "Requests for email alerts refused by a limit.", "limit"),
	}
	m.signIns.counter() // shown from the start
	return m
}

// Done counts an attempt at a job.
func (m *Metrics) Done(d jobs.Attempt) {
	m.took.histogram(d.Kind).Update(d.Took.Seconds())
	m.waited.histogram(d.Kind).Update(d.Waited.Seconds())
	if d.Err != nil {
		m.failed.counter(d.Kind).Inc()
	}
}

// Forgot counts rows that retention deleted.
func (m *Metrics) Forgot(what string, n int) { m.forgot.counter(what).Add(n) }

// SignInFailed counts a wrong secret.
func (m *Metrics) SignInFailed() { m.signIns.counter().Inc() }

// SignUpRefused counts a request that a limit refused.
func (m *Metrics) SignUpRefused(limit string) { m.refused.counter(limit).Inc() }

// now reads what is.
func (m *Metrics) now(ctx context.Context) []*family {
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	var (
		forecastAge  = newGauge("forecast_age_seconds", "Age of a river's latest forecast.", "river")
		outlookAge   = newGauge("outlook_age_seconds", "Old name of eclose_forecast_age_seconds.", "river") // to go after the next release
		readingAge   = newGauge("reading_age_seconds", "Age of a site's latest reading.", "feed", "site")
		feedFailures = newGauge("feed_failures", "Consecutive failed fetches for a site.", "feed", "site")
		jobsNow      = newGauge("jobs", "Jobs by kind and state.", "kind", "state")
		jobsLag      = newGauge("queue_lag_seconds", "Time since the oldest waiting job in a queue became due.", "queue")
		mails        = newGauge("mails", "Outbox emails by state.", "state")
		clockOffset  = newGauge("clock_offset_seconds", "Clock offset from the database, positive if ahead.")
		clockOff     = newGauge("clock_off_seconds", "Old name of eclose_clock_offset_seconds.") // to go after the next release
		healthy      = newGauge("healthy", "1 if all checks hold.")
		checkValue   = newGauge("check_value", "What a check of /health measured, in the unit of its label.", "check", "of", "unit")
		checkLimit   = newGauge("check_limit", "How far a check may go.", "check", "of", "unit")
		checkOK      = newGauge("check_ok", "1 if a check holds.", "check", "of")
		scrapeErrors = newGauge("scrape_errors", "Errors while collecting metrics.")
	)
	now, errs := m.watch.Now(), 0.0
	r := m.watch.Look(ctx)
	for _, x := range r.Rivers {
		if !x.Issued.IsZero() {
			forecastAge.gauge(now.Sub(x.Issued).Seconds(), x.River)
			outlookAge.gauge(now.Sub(x.Issued).Seconds(), x.River)
		}
	}
	healthy.gauge(float64(db.YesNo(r.Healthy)))
	for _, c := range r.Checks {
		checkValue.gauge(c.Value, c.Name, c.Of, c.Unit)
		checkLimit.gauge(c.Limit, c.Name, c.Of, c.Unit)
		checkOK.gauge(float64(db.YesNo(c.Problem == "")), c.Name, c.Of)
	}
	if states, err := db.FeedStates(ctx, m.watch.DB.SQL); err != nil {
		errs++
	} else {
		for _, s := range states {
			if !s.Newest.IsZero() {
				readingAge.gauge(now.Sub(s.Newest).Seconds(), s.Feed, s.Item)
			}
			feedFailures.gauge(float64(s.Failures), s.Feed, s.Item)
		}
	}
	if counts, err := m.watch.Queue.Counts(ctx); err != nil {
		errs++
	} else {
		for kind, by := range counts {
			for state, n := range by {
				jobsNow.gauge(float64(n), kind, state)
			}
		}
	}
	if lag, err := m.watch.Queue.Lag(ctx); err != nil {
		errs++
	} else {
		for queue, d := range lag {
			jobsLag.gauge(d.Seconds(), queue)
		}
	}
	if m.watch.Mails != nil {
		if by, err := m.watch.Mails(ctx); err != nil {
			errs++
		} else {
			for state, n := range by {
				mails.gauge(float64(n), state)
			}
		}
	}
	clockOffset.gauge(m.watch.Queue.ClockOff().Seconds())
	clockOff.gauge(m.watch.Queue.ClockOff().Seconds())
	scrapeErrors.gauge(errs)
	return []*family{forecastAge, outlookAge, readingAge, feedFailures, jobsNow, jobsLag, mails, clockOffset, clockOff, healthy, checkValue, checkLimit, checkOK, scrapeErrors}
}

// program says what this program was built from.
func program() *family {
	f := &family{name: "go_build_info", help: "What the program was built from.", labels: []string{"path", "version", "checksum"}}
	if b, ok := debug.ReadBuildInfo(); ok {
		f.gauge(1, b.Main.Path, b.Main.Version, b.Main.Sum)
	}
	return f
}

// Handler answers for Prometheus, to this machine only: what a gauge's state is
// and how much mail there is, is nobody's business. A proxy speaks for others,
// so what comes through one is not from here.
func (m *Metrics) Handler() http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !fromHere(r) {
			http.NotFound(w, r)
			return
		}
		select {
		case m.busy <- struct{}{}:
			defer func() { <-m.busy }()
		default:
			http.Error(w, "Two answers are being made already. Ask again later.", http.StatusServiceUnavailable)
			return
		}
		var b strings.Builder
		for _, f := range append([]*family{m.took, m.waited, m.failed, m.forgot, m.signIns, m.refused, program()}, m.now(r.Context())...) {
			b.WriteString(f.text())
		}
		metrics.WriteProcessMetrics(&b)
		w.Header().Set("Content-Type", "text/plain; version=0.0.4; charset=utf-8")
		_, _ = io.WriteString(w, b.String()) // who left needs no answer
	})
}
