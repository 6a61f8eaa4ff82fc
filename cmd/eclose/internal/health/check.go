package health

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"time"

	"example.org/eclose/ingest/db"
)

// Check is one promise of a deployment: what is measured, how far it may go, and
// what is wrong where it went further.
type Check struct {
	Name    string  `json:"check"`
	Of      string  `json:"of,omitempty"` // which river, site, folder
	Value   float64 `json:"value"`        // in Unit
	Unit    string  `json:"unit"`
	Limit   float64 `json:"limit"`
	Problem string  `json:"problem,omitempty"` // empty: the promise holds
}

func (c Check) key() string { return c.Name + " " + c.Of }

// Units of a check, as Prometheus names them.
const (
	seconds = "seconds"
	bytes   = "bytes"
	ratio   = "ratio"
	number  = "count"
)

// Limits are how far each check may go. Defaults are our own; see the option
// table of the config.
type Limits struct {
	FreeBytes       float64
	CautionAge      time.Duration // since a river's caution was judged
	ReadingAge      time.Duration // of the newest reading behind a forecast
	FeedFailures    int           // in a row
	MailWait        time.Duration // of the oldest mail that is due
	SuppressedShare float64
	CertificateLeft time.Duration
	ClockOffset     time.Duration
}

// atMost is a check whose value must not pass its limit.
func atMost(name, of string, value, limit float64, unit, problem string) Check {
	c := Check{Name: name, Of: of, Value: value, Limit: limit, Unit: unit}
	if value > limit {
		c.Problem = problem
	}
	return c
}

// works is a check of something that does its work or says why not.
func works(name, of string, err error) Check {
	c := Check{Name: name, Of: of, Unit: number}
	if err != nil {
		c.Value, c.Problem = 1, fmt.Sprintf("%s: %v", name, err)
	}
	return c
}

// writes looks whether the database and the store take writes.
func (w *Watcher) writes(ctx context.Context, r *Report, now time.Time) {
	r.add(works("database-write", "", w.DB.Probe(ctx, now)))
	if w.Store != nil {
		r.add(works("store-write", "", w.Store(ctx)))
	}
	r.add(works("database-pages", "", w.damage()), works("series-index", "", w.index(ctx)))
}

func (r *Report) add(c ...Check) { r.Checks = append(r.Checks, c...) }

func (w *Watcher) index(ctx context.Context) error {
	if w.Index == nil {
		return nil
	}
	return w.Index(ctx)
}

// disks looks at the room of each folder that is written to.
func (w *Watcher) disks(r *Report) {
	for _, folder := range w.Folders {
		free, err := w.Free(folder)
		if errors.Is(err, fs.ErrNotExist) {
			continue // not made yet
		}
		c := Check{Name: "disk-free", Of: folder, Value: float64(free), Limit: w.Limits.FreeBytes, Unit: bytes}
		switch {
		case err != nil:
			c.Problem = fmt.Sprintf("the free space of %s cannot be read: %v", folder, err)
		case c.Value < c.Limit:
			c.Problem = fmt.Sprintf("%s has %.0f MB free, less than %.0f MB; free some: when full, nothing new is stored", folder, c.Value/1e6, c.Limit/1e6)
		}
		r.add(c)
	}
}

// cautions looks how long ago the caution of each river was judged, and which is
// the oldest.
func (w *Watcher) cautions(r *Report, now time.Time) {
	if w.Cautions == nil {
		return
	}
	for slug, at := range w.Cautions() {
		age := now.Sub(at)
		if at.IsZero() { // none since the start
			age = now.Sub(w.Started)
		}
		if r.CautionAge == nil || age.Seconds() > *r.CautionAge {
			r.CautionAge = new(age.Seconds())
		}
		r.add(atMost("caution-age", slug, age.Seconds(), w.Limits.CautionAge.Seconds(), seconds,
			fmt.Sprintf("the caution of %s was not judged for %s", slug, round(age))))
	}
}

func (w *Watcher) feeds(ctx context.Context, r *Report, _ time.Time) error {
	states, err := db.FeedStates(ctx, w.DB.SQL)
	if err != nil {
		return err
	}
	for _, s := range states {
		r.add(atMost("feed-failures", s.Feed+" "+s.Item, float64(s.Failures), float64(w.Limits.FeedFailures), number,
			fmt.Sprintf("%s %s failed %d times in a row; see the data page", s.Feed, s.Item, s.Failures)))
	}
	return nil
}

// mail looks at what readers were promised: mails that are due go out, and few
// addresses are suppressed.
func (w *Watcher) mail(ctx context.Context, r *Report, now time.Time) error {
	if w.Mail == nil {
		return nil
	}
	m, err := w.Mail(ctx)
	if err != nil {
		return err
	}
	wait := time.Duration(0)
	if !m.OldestDue.IsZero() {
		wait = now.Sub(m.OldestDue)
	}
	last := "none was ever accepted"
	if !m.LastSent.IsZero() {
		last = "the last one was accepted " + m.LastSent.UTC().Format("2 Jan 2006 15:04 UTC")
	}
	r.add(
		works("relay", "", m.Relay),
		atMost("mail-wait", "", wait.Seconds(), w.Limits.MailWait.Seconds(), seconds, fmt.Sprintf("email has been waiting for %s; %s", round(wait), last)),
		atMost("suppressed-share", "", m.SuppressedShare, w.Limits.SuppressedShare, ratio,
			fmt.Sprintf("%.0f%% of the subscribers are suppressed after bounces; see eclose subscribe list", 100*m.SuppressedShare)),
	)
	breaker := Check{Name: "mail-breaker", Unit: number, Problem: m.Paused}
	if m.Paused != "" {
		breaker.Value = 1
	}
	r.add(breaker)
	if !m.CertificateEnds.IsZero() {
		left := m.CertificateEnds.Sub(now)
		c := Check{Name: "certificate-left", Of: "relay", Value: left.Seconds(), Limit: w.Limits.CertificateLeft.Seconds(), Unit: seconds}
		if c.Value < c.Limit {
			c.Problem = fmt.Sprintf("the relay's certificate ends %s", m.CertificateEnds.UTC().Format("2 Jan 2006 15:04 UTC"))
		}
		r.add(c)
	}
	return nil
}

// MailState is how the mail stands.
type MailState struct {
	Relay           error     // why the relay does not take us; nil: it does
	CertificateEnds time.Time // of the relay; zero: not known
	OldestDue       time.Time // zero: none is due
	LastSent        time.Time // when the relay last accepted one; zero: never
	SuppressedShare float64   // of all active subscribers
	Paused          string    // why nothing is sent for now; empty: it is
}
