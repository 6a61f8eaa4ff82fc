package jobs

import (
	"fmt"
	"hash/fnv"
	"time"

	"github.com/riverqueue/river"
	"github.com/robfig/cron/v3"
)

// Periodic is work that comes due by itself.
type Periodic struct {
	Name     string
	Schedule cron.Schedule
	Make     func(slot time.Time) Args
}

// ParseSchedule reads a cron expression of five fields, or @hourly, @every 15m
// and the like. It is in UTC unless it begins with CRON_TZ=.
func ParseSchedule(s string) (cron.Schedule, error) {
	p, err := cron.ParseStandard(s)
	if err != nil {
		return nil, fmt.Errorf("schedule %q: %w; write it as \"*/15 * * * *\" or \"@every 15m\"", s, err)
	}
	if every, ok := p.(cron.ConstantDelaySchedule); ok {
		return grid(every.Delay), nil
	}
	return p, nil
}

// grid is "@every" at whole multiples since 1970, so that every process has the
// same slots whenever it was started.
type grid time.Duration

func (g grid) Next(t time.Time) time.Time {
	d := time.Duration(g)
	return t.UTC().Truncate(d).Add(d)
}

// longestPeriod is how long ago a slot may be to be made up for.
const longestPeriod = 400 * 24 * time.Hour

// latest is the last activation not after t. cron tells the next one only, so
// it is looked for from ever longer ago.
func latest(s cron.Schedule, t time.Time) time.Time {
	t = t.UTC()
	for back := time.Minute; back < 4*longestPeriod; back *= 4 {
		at := s.Next(t.Add(-min(back, longestPeriod)))
		if at.IsZero() || at.After(t) {
			continue
		}
		for {
			next := s.Next(at)
			if next.IsZero() || next.After(t) {
				return Slot(at)
			}
			at = next
		}
	}
	return time.Time{}
}

// utc gives a cron schedule its times in UTC, whatever zone the machine is in.
type utc struct{ cron.Schedule }

func (u utc) Next(t time.Time) time.Time { return u.Schedule.Next(t.UTC()) }

// periodic makes River's periodic jobs. Only the leader's are in force. Each
// start and each change of leader adds the latest slot again, which is skipped
// where it was done: so no slot is lost that fell between two leaders, unless
// all were down for longer than the schedule's period.
func (q *Queue) periodic() ([]*river.PeriodicJob, error) {
	var out []*river.PeriodicJob
	for _, p := range q.opt.Periodic {
		s := utc{p.Schedule}
		out = append(out, river.NewPeriodicJob(s, func() (river.JobArgs, *river.InsertOpts) {
			// Half a second of grace: the leader's timer may be early.
			slot := latest(s, q.Now().Add(500*time.Millisecond))
			if slot.IsZero() {
				return nil, nil
			}
			return p.Make(slot), nil
		}, &river.PeriodicJobOpts{ID: p.Name, RunOnStart: true}))
	}
	return out, nil
}

// Spread is a moment within so long after t, the same for the same key: it
// keeps all gauges of an agency from asking in the same second.
func Spread(t time.Time, key string, within time.Duration) time.Time {
	h := fnv.New64a()
	fmt.Fprint(h, key) // a hash never fails
	return t.Add(time.Duration(h.Sum64() % uint64(max(within, 1))))
}
