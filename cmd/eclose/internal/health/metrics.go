package health

import (
	"context"
	"net/http"
	"time"

	"github.com/prometheus/client_golang/prometheus"
	"github.com/prometheus/client_golang/prometheus/collectors"
	"github.com/prometheus/client_golang/prometheus/promhttp"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/db"
)

// Metrics counts what happens and reads what is when it is asked.
type Metrics struct {
	registry *prometheus.Registry
	watch    *Watcher
	took     *prometheus.HistogramVec
	waited   *prometheus.HistogramVec
	failed   *prometheus.CounterVec
	forgot   *prometheus.CounterVec
	signIns  prometheus.Counter
	refused  *prometheus.CounterVec

	outlookAge, clockOff                                                                                                                *prometheus.Desc // old names, to go after the next release
	forecastAge, readingAge, feedFailures, jobsNow, jobsLag, mails, clockOffset, healthy, checkValue, checkLimit, checkOK, scrapeErrors *prometheus.Desc
}

// NewMetrics returns metrics over a watch.
func NewMetrics(w *Watcher) *Metrics {
	seconds := []float64{.005, .02, .1, .5, 2, 10, 60, 300, 1800}
	desc := func(name, help string, labels ...string) *prometheus.Desc {
		return prometheus.NewDesc("eclose_"+name, help, labels, nil)
	}
	m := &Metrics{
		registry: prometheus.NewRegistry(), watch: w,
		took:    prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "eclose_job_seconds", Help: "Duration of job attempts.", Buckets: seconds}, []string{"kind"}),
		waited:  prometheus.NewHistogramVec(prometheus.HistogramOpts{Name: "eclose_job_wait_seconds", Help: "Time due jobs waited for a worker.", Buckets: seconds}, []string{"kind"}),
		failed:  prometheus.NewCounterVec(prometheus.CounterOpts{Name: "eclose_job_failures_total", Help: "Failed job attempts."}, []string{"kind"}),
		forgot:  prometheus.NewCounterVec(prometheus.CounterOpts{Name: "eclose_forgotten_total", Help: "Rows deleted because their retention period was over."}, []string{"what"}),
		signIns: prometheus.NewCounter(prometheus.CounterOpts{Name: "eclose_sign_in_failures_total", Help: "Wrong secrets entered for the diary."}),
		refused: prometheus.NewCounterVec(prometheus.CounterOpts{Name: "eclose_sign_ups_refused_total", Help: "Requests for email alerts refused by a limit."}, []string{"limit"}),

		forecastAge:  desc("forecast_age_seconds", "Age of a river's latest forecast.", "river"),
		outlookAge:   desc("outlook_age_seconds", "Old name of eclose_forecast_age_seconds.", "river"),
		readingAge:   desc("reading_age_seconds", "Age of a site's latest reading.", "feed", "site"),
		feedFailures: desc("feed_failures", "Consecutive failed fetches for a site.", "feed", "site"),
		jobsNow:      desc("jobs", "Jobs by kind and state.", "kind", "state"),
		jobsLag:      desc("queue_lag_seconds", "Time since the oldest waiting job in a queue became due.", "queue"),
		mails:        desc("mails", "Outbox emails by state.", "state"),
		clockOffset:  desc("clock_offset_seconds", "Clock offset from the database, positive if ahead."),
		clockOff:     desc("clock_off_seconds", "Old name of eclose_clock_offset_seconds."),
		healthy:      desc("healthy", "1 if all checks hold."),
		checkValue:   desc("check_value", "What a check of /health measured, in the unit of its label.", "check", "of", "unit"),
		checkLimit:   desc("check_limit", "How far a check may go.", "check", "of", "unit"),
		checkOK:      desc("check_ok", "1 if a check holds.", "check", "of"),
		scrapeErrors: desc("scrape_errors", "Errors while collecting metrics."),
	}
	m.registry.MustRegister(m.took, m.waited, m.failed, m.forgot, m.signIns, m.refused, m, collectors.NewGoCollector(), collectors.NewProcessCollector(collectors.ProcessCollectorOpts{}), collectors.NewBuildInfoCollector())
	return m
}

// Done counts an attempt at a job.
func (m *Metrics) Done(d jobs.Attempt) {
	m.took.WithLabelValues(d.Kind).Observe(d.Took.Seconds())
	m.waited.WithLabelValues(d.Kind).Observe(d.Waited.Seconds())
	if d.Err != nil {
		m.failed.WithLabelValues(d.Kind).Inc()
	}
}

// Forgot counts rows that retention deleted.
func (m *Metrics) Forgot(what string, n int) { m.forgot.WithLabelValues(what).Add(float64(n)) }

// SignInFailed counts a wrong secret.
func (m *Metrics) SignInFailed() { m.signIns.Inc() }

// SignUpRefused counts a request that a limit refused.
func (m *Metrics) SignUpRefused(limit string) { m.refused.WithLabelValues(limit).Inc() }

// Describe implements prometheus.Collector.
func (m *Metrics) Describe(ch chan<- *prometheus.Desc) {
	for _, d := range []*prometheus.Desc{m.forecastAge, m.outlookAge, m.readingAge, m.feedFailures, m.jobsNow, m.jobsLag, m.mails, m.clockOffset, m.clockOff, m.healthy, m.checkValue, m.checkLimit, m.checkOK, m.scrapeErrors} {
		ch <- d
	}
}

// Collect implements prometheus.Collector.
func (m *Metrics) Collect(ch chan<- prometheus.Metric) {
	ctx, cancel := context.WithTimeout(context.Background(), 10*time.Second)
	defer cancel()
	gauge := func(d *prometheus.Desc, v float64, labels ...string) {
		ch <- prometheus.MustNewConstMetric(d, prometheus.GaugeValue, v, labels...)
	}
	now, errs := m.watch.Now(), 0.0
	r := m.watch.Look(ctx)
	for _, x := range r.Rivers {
		if !x.Issued.IsZero() {
			gauge(m.forecastAge, now.Sub(x.Issued).Seconds(), x.River)
			gauge(m.outlookAge, now.Sub(x.Issued).Seconds(), x.River)
		}
	}
	gauge(m.healthy, float64(db.YesNo(r.Healthy)))
	for _, c := range r.Checks {
		gauge(m.checkValue, c.Value, c.Name, c.Of, c.Unit)
		gauge(m.checkLimit, c.Limit, c.Name, c.Of, c.Unit)
		gauge(m.checkOK, float64(db.YesNo(c.Problem == "")), c.Name, c.Of)
	}
	if states, err := db.FeedStates(ctx, m.watch.DB.SQL); err != nil {
		errs++
	} else {
		for _, s := range states {
			if !s.Newest.IsZero() {
				gauge(m.readingAge, now.Sub(s.Newest).Seconds(), s.Feed, s.Item)
			}
			gauge(m.feedFailures, float64(s.Failures), s.Feed, s.Item)
		}
	}
	if counts, err := m.watch.Queue.Counts(ctx); err != nil {
		errs++
	} else {
		for kind, by := range counts {
			for state, n := range by {
				gauge(m.jobsNow, float64(n), kind, state)
			}
		}
	}
	if lag, err := m.watch.Queue.Lag(ctx); err != nil {
		errs++
	} else {
		for queue, d := range lag {
			gauge(m.jobsLag, d.Seconds(), queue)
		}
	}
	if m.watch.Mails != nil {
		if by, err := m.watch.Mails(ctx); err != nil {
			errs++
		} else {
			for state, n := range by {
				gauge(m.mails, float64(n), state)
			}
		}
	}
	gauge(m.clockOffset, m.watch.Queue.ClockOff().Seconds())
	gauge(m.clockOff, m.watch.Queue.ClockOff().Seconds())
	gauge(m.scrapeErrors, errs)
}

// Handler answers for Prometheus, to this machine only: what a gauge's state is
// and how much mail there is, is nobody's business. A proxy speaks for others,
// so what comes through one is not from here.
func (m *Metrics) Handler() http.Handler {
	h := promhttp.HandlerFor(m.registry, promhttp.HandlerOpts{MaxRequestsInFlight: 2, Timeout: 20 * time.Second})
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !fromHere(r) {
			http.NotFound(w, r)
			return
		}
		h.ServeHTTP(w, r)
	})
}
