package rivers

import (
	"context"
	"errors"
	"fmt"
	"time"

	"example.org/eclose/forecast"
)

// Kept gives the newest outlook of a river that had been issued by a moment.
type Kept interface {
	Latest(ctx context.Context, river string, asOf time.Time) (*forecast.Outlook, error)
}

// ScoreIssued holds sightings against the outlooks as they were issued, rather
// than against outlooks made anew: for each sighting and lead the newest that had
// been issued by that many days before, if it was no more than Plan.Every days
// old by then. An outlook of the day itself counts only if it came before the
// sighting was written down: a later one may be calibrated by it. Sightings
// without an outlook at any lead count in the second result.
// notFound is what Kept's errors wrap where there is no outlook.
func ScoreIssued(ctx context.Context, plan Plan, kept Kept, notFound error) (out *Outcome, missing int, err error) {
	if err := plan.Check(); err != nil {
		return nil, 0, fmt.Errorf("scoring issued outlooks: %w", err)
	}
	out = &Outcome{First: plan.First, Last: plan.Last, Leads: plan.Leads, Every: plan.Every, Issued: true, BySightings: true, ModelVersion: forecast.ModelVersion}
	for _, r := range plan.Rivers {
		for year := plan.First; year <= plan.Last; year++ {
			shard := Shard{River: r.Slug, Season: year}
			s := &hindcast{plan: &plan, river: r, year: year, out: &shard}
			s.begin()
			s.sightings()
			var last time.Time
			for _, day := range s.before() {
				// The whole day counts: an outlook of the evening is of that date.
				at := noon(r, day).Add(12*time.Hour - time.Second)
				for _, x := range s.targets[day] {
					if w := x.Recorded; !w.IsZero() && w.Before(at) {
						at = w.Add(-time.Microsecond)
					}
				}
				o, err := kept.Latest(ctx, r.Slug, at)
				if errors.Is(err, notFound) {
					continue
				}
				if err != nil {
					return nil, 0, fmt.Errorf("scoring season %d of %s: %w", year, r.Name, err)
				}
				if day-o.IssueDate() > forecast.Date(plan.Every) {
					continue
				}
				if !o.IssuedAt.Equal(last) {
					shard.Issues++
					last = o.IssuedAt
				}
				out.Members = o.Members
				s.score(day, o)
			}
			s.finish()
			judged := map[judgedKey]bool{}
			for _, c := range shard.Cases {
				judged[judgedKey{c.Group, c.Stage, c.Day, c.Seen, c.Hours}] = true
			}
			for _, xs := range s.targets {
				for _, x := range xs {
					if !judged[judgedKey{x.Group, x.Stage, x.Day, x.Seen(), x.Hours}] {
						missing++
					}
				}
			}
			shard.AsOf = shard.Issues
			if len(shard.Cases) == 0 {
				shard.Skipped = "no sighting falls on a day that had a forecast in time"
			}
			out.Shards = append(out.Shards, shard)
		}
	}
	return out, missing, nil
}

// judgedKey names a sighting of one river that was held against a forecast.
type judgedKey struct {
	group string
	stage forecast.Stage
	day   forecast.Date
	seen  bool
	hours float64
}
