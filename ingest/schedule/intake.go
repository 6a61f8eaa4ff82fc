package schedule

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"sort"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/qc"
	"example.org/eclose/ingest/series"
)

// Task is one request to one feed. From is left zero: the intake fills in
// where the store ends, or the backfill.
type Task struct {
	Source   ingest.Source
	Request  ingest.Request
	Ahead    bool // a weather forecast: asked from now on, and not checked like a measurement
	Optional bool // what many sites do not have: an empty answer is no failure
	ByYear   bool // a long past is asked year by year, so that a stop costs one year at most
}

// RiverTasks is what belongs together: the gauges of a river and its weather. The
// checks look at all of it at once.
type RiverTasks struct {
	Name  string
	Tasks []Task
}

// Outcome is what became of one task.
type Outcome struct {
	River, Feed, Site string
	Keys              []ingest.Key
	Change            series.Change
	Newest            time.Time // the newest reading of the answer
	Err               error     // what was stored before it stays stored
}

// Intake fetches into one store.
type Intake struct {
	Store      *series.Store
	Now        func() time.Time
	Backfill   time.Duration                    // how far back the first fetch of a series goes
	Overlap    time.Duration                    // how far behind the newest reading each later fetch begins, for revisions
	Refetch    bool                             // fetch the whole Backfill anew, whatever is stored
	OnOutcome  func(Outcome)                    // called with each task as it ends; may be nil
	OnProgress func(Progress)                   // called with each piece of a long past; may be nil
	OnChecked  func(river string, s qc.Summary) // called with how plausible the new readings of a series are; may be nil
	Climates   *Climates                        // shared by passes; nil: learnt anew in each
	Feed       string                           // if named, only this feed is asked; the checks see what the others brought before
}

// batchSize is how many readings are gathered before they are written: the
// store rewrites a year at each write, so a small page is not worth one.
const batchSize = 50_000

// Run does every task of every place and checks what came. It returns one
// Outcome for each task, but for optional ones without an answer, and stops early
// only when ctx ends.
func (in Intake) Run(ctx context.Context, places []RiverTasks) ([]Outcome, error) {
	var all []Outcome
	for _, p := range places {
		keys, err := in.keysOf(ctx, p)
		if err != nil {
			return all, fmt.Errorf("listing what the store holds of %s: %w", p.Name, err)
		}
		var fresh []fetched
		var finish []func() error
		failed := map[string]bool{} // feeds that failed: optional tasks do not ask them now
		for _, t := range p.Tasks {
			if in.Feed != "" && in.Feed != t.Source.Name() || t.Optional && failed[t.Source.Name()] {
				continue
			}
			o, got, after := in.task(ctx, p, t, keys)
			if after != nil {
				finish = append(finish, after)
			}
			failed[t.Source.Name()] = failed[t.Source.Name()] || o.Err != nil
			if t.Optional && o.Err == nil && len(o.Keys) == 0 {
				continue
			}
			all = append(all, o)
			if !t.Ahead {
				fresh = append(fresh, got...)
			}
			if ctx.Err() != nil {
				return all, ctx.Err()
			}
			if in.OnOutcome != nil {
				in.OnOutcome(o)
			}
		}
		if err := in.check(ctx, p, fresh, keys); err != nil {
			return all, fmt.Errorf("checking the readings of %s: %w", p.Name, err)
		}
		for _, done := range finish {
			if err := done(); err != nil {
				return all, err
			}
		}
	}
	return all, nil
}

// fetched is a series that an answer touched, and from when on.
type fetched struct {
	key  ingest.Key
	from time.Time
}

// keysOf lists what the store holds of the sites of a place, and looks at no
// other: there may be ten thousand.
func (in Intake) keysOf(ctx context.Context, p RiverTasks) ([]ingest.Key, error) {
	var all []ingest.Key
	seen := map[string]bool{}
	for _, t := range p.Tasks {
		if id := t.Source.Name() + "/" + t.site(); !seen[id] {
			seen[id] = true
			keys, err := in.Store.KeysAt(ctx, t.Source.Name(), t.site())
			if err != nil {
				return nil, err
			}
			all = append(all, keys...)
		}
	}
	return all, nil
}

// site is how outcomes and notes name where a task asks.
func (t Task) site() string {
	if t.Request.Site != "" {
		return t.Request.Site
	}
	return fmt.Sprintf("%g,%g", t.Request.Lat, t.Request.Lon)
}

// task does one task. settle, if there is one, is to be called once what came
// is checked.
func (in Intake) task(ctx context.Context, p RiverTasks, t Task, known []ingest.Key) (o Outcome, touched []fetched, finish func() error) {
	req := t.Request
	o = Outcome{River: p.Name, Feed: t.Source.Name(), Site: t.site()}
	now := in.Now()
	ask := []span{{req.From, req.To}}
	var n note
	past := req.From.IsZero() && !t.Ahead
	long := false // longer than what the next fetch asks again anyway
	if past {
		if n, o.Err = in.note(ctx, t); o.Err != nil {
			return o, nil, nil
		}
		from, err := in.resume(ctx, t, n, known, now)
		if err != nil {
			o.Err = err
			return o, nil, nil
		}
		ask = []span{{From: from}}
		if t.ByYear {
			ask = pieces(from, now)
		}
		if long = !t.Optional && now.Sub(from) > in.Overlap+contextSpan; long {
			if n.GapStart.IsZero() || from.Before(n.GapStart) {
				n.GapStart = from
			}
			n.ResumeAt = from
			if o.Err = in.setNote(ctx, t, n); o.Err != nil {
				return o, nil, nil
			}
			// What an earlier try brought is not checked yet.
			for _, k := range known {
				if t.serves(k) && slices.Contains(req.Variables, k.Variable) && (k.Period == ingest.Daily) == (req.Period == ingest.Daily) {
					touched = append(touched, fetched{k, n.GapStart})
				}
			}
		}
	}
	b := batch{in: in, river: p.Name, now: now, o: &o, touched: touched}
	for i, sp := range ask {
		req.From, req.To = sp.From, sp.To
		// What came before a failure is whole and is kept.
		err := t.Source.Fetch(ctx, req, func(s ingest.Series) error { return b.take(ctx, s) })
		if e, ok := errors.AsType[*ingest.Error](err); ok && e.Empty && i+1 < len(ask) {
			err = nil // a year before the record begins
		}
		if o.Err = errors.Join(err, b.flush(ctx)); o.Err != nil {
			break
		}
		if i+1 < len(ask) {
			n.ResumeAt = sp.To
			if o.Err = in.setNote(ctx, t, n); o.Err != nil {
				break
			}
		}
		if in.OnProgress != nil && len(ask) > 1 {
			end := sp.To
			if end.IsZero() {
				end = now
			}
			in.OnProgress(Progress{River: p.Name, Feed: o.Feed, Site: o.Site, Done: i + 1, Pieces: len(ask), To: end})
		}
	}
	touched = b.touched
	if o.Err == nil && len(o.Keys) == 0 && !t.Optional {
		o.Err = &ingest.Error{Feed: o.Feed, Where: o.Site, Problem: "returned no readings since " + ask[0].From.UTC().Format(time.DateOnly),
			Hint: "check the site number and that it measures these variables", Retryable: true}
	}
	if o.Err != nil || !past {
		return o, touched, nil
	}
	if done := in.done(n, t, o.Keys, known, now); done != n {
		finish = func() error { return in.setNote(ctx, t, done) }
	}
	return o, touched, finish
}

// batch gathers the series of one task and stores them in files of some size.
type batch struct {
	in      Intake
	river   string
	now     time.Time
	o       *Outcome
	touched []fetched
	pending []ingest.Series
	rows    int
}

func (b *batch) flush(ctx context.Context) error {
	if len(b.pending) == 0 {
		return nil
	}
	change, err := b.in.Store.PutAll(ctx, join(b.pending), b.now)
	b.pending, b.rows = nil, 0
	if err != nil {
		return fmt.Errorf("storing readings of %s: %w", b.river, err)
	}
	b.o.Change.Added += change.Added
	b.o.Change.Revised += change.Revised
	b.o.Change.Unchanged += change.Unchanged
	return nil
}

func (b *batch) take(ctx context.Context, s ingest.Series) error {
	if s.Len() == 0 {
		return nil
	}
	if !slices.Contains(b.o.Keys, s.Key) {
		b.o.Keys = append(b.o.Keys, s.Key)
		if !slices.ContainsFunc(b.touched, func(f fetched) bool { return f.key == s.Key }) {
			b.touched = append(b.touched, fetched{s.Key, s.At(0)})
		}
	}
	for i := range b.touched {
		if b.touched[i].key == s.Key && s.At(0).Before(b.touched[i].from) {
			b.touched[i].from = s.At(0)
		}
	}
	if last := s.At(s.Len() - 1); last.After(b.o.Newest) {
		b.o.Newest = last
	}
	b.pending = append(b.pending, s)
	b.rows += s.Len()
	// Members of one ensemble go into one file, so they are kept together.
	if b.rows >= batchSize && s.Member == 0 {
		return b.flush(ctx)
	}
	return nil
}

// done is the note of a task that was fetched to the end: nothing to resume, and
// when a variable without any series was last asked for.
func (in Intake) done(n note, t Task, fetched, known []ingest.Key, now time.Time) note {
	n.ResumeAt, n.GapStart = time.Time{}, time.Time{}
	lacks := slices.ContainsFunc(t.Request.Variables, func(v ingest.Variable) bool {
		has := func(k ingest.Key) bool { return k.Variable == v && t.serves(k) }
		return !slices.ContainsFunc(fetched, has) && !slices.ContainsFunc(known, has)
	})
	switch {
	case !lacks:
		n.Asked = time.Time{}
	case now.Sub(n.Asked) > in.Overlap/2:
		n.Asked = now
	}
	return n
}

// resume is where a task goes on: where a catch-up was cut short, else a
// little before the newest reading of the series that is furthest behind, or
// at the backfill if one has none yet.
func (in Intake) resume(ctx context.Context, t Task, n note, known []ingest.Key, now time.Time) (time.Time, error) {
	start := now.Add(-in.Backfill)
	further := in.Refetch && start.Before(n.GapStart.Add(-contextSpan)) // back than what was cut short
	if !n.ResumeAt.IsZero() && !further {
		return n.ResumeAt, nil
	}
	if in.Refetch {
		return start, nil
	}
	oldest := now
	for _, v := range t.Request.Variables {
		newest := n.Asked
		for _, k := range known {
			if k.Variable != v || (k.Period == ingest.Daily) != (t.Request.Period == ingest.Daily) || k.Member != 0 || !t.serves(k) {
				continue
			}
			info, err := in.Store.Info(ctx, k)
			if err != nil {
				return time.Time{}, fmt.Errorf("looking up where %s ends: %w", k, err)
			}
			if info.Last.After(newest) && !info.Last.After(now) {
				newest = info.Last
			}
		}
		if newest.IsZero() {
			return start, nil
		}
		if newest.Before(oldest) {
			oldest = newest
		}
	}
	if from := oldest.Add(-in.Overlap); from.After(start) {
		return from, nil
	}
	return start, nil
}

// serves says whether a stored series came of a request like this one.
func (t Task) serves(k ingest.Key) bool { return k.Feed == t.Source.Name() && k.Site == t.site() }

// join puts the pieces of a series that came page by page together, so that
// each is written once.
func join(pieces []ingest.Series) []ingest.Series {
	var out []ingest.Series
	at := map[ingest.Key]int{}
	for _, p := range pieces {
		i, seen := at[p.Key]
		if !seen || !sameColumns(out[i], p) {
			at[p.Key] = len(out)
			out = append(out, p)
			continue
		}
		o := &out[i]
		o.Time = append(slices.Clip(o.Time), p.Time...)
		o.Value = append(slices.Clip(o.Value), p.Value...)
		o.Qualifier = append(slices.Clip(o.Qualifier), p.Qualifier...)
		o.Approval = append(slices.Clip(o.Approval), p.Approval...)
		o.Retrieved = append(slices.Clip(o.Retrieved), p.Retrieved...)
	}
	for i := range out {
		out[i].Normalize()
	}
	return out
}

// sameColumns says whether two pieces carry the same columns; flags are not
// yet set.
func sameColumns(a, b ingest.Series) bool {
	return (a.Qualifier == nil) == (b.Qualifier == nil) && (a.Approval == nil) == (b.Approval == nil) && (a.Retrieved == nil) == (b.Retrieved == nil)
}

// contextSpan is how much older data a check looks at, so that the first new
// reading has neighbours: the flat line test looks back a week.
const contextSpan = 10 * 24 * time.Hour

// check flags the new readings of a place, air first, since the checks of the
// water look at the air.
func (in Intake) check(ctx context.Context, p RiverTasks, fresh []fetched, known []ingest.Key) error {
	sort.SliceStable(fresh, func(i, j int) bool { return order(fresh[i].key.Variable) < order(fresh[j].key.Variable) })
	var air, water *ingest.Series
	for _, f := range fresh {
		if in.Feed != "" && air == nil && f.key.Variable == ingest.WaterTemperature {
			var err error
			if air, err = in.airOf(ctx, p, f.from.Add(-contextSpan), known); err != nil {
				return err
			}
		}
		q := series.Query{From: f.from.Add(-contextSpan)}
		s, err := in.Store.Read(ctx, f.key, q)
		if err != nil {
			return fmt.Errorf("reading %s back: %w", f.key, err)
		}
		x := qc.Context{Air: air, Now: in.Now()}
		if f.key.Variable != ingest.WaterTemperature {
			x.Water = water
		}
		if x.Other, err = in.otherExtreme(ctx, q, f.key, fresh, known); err != nil {
			return err
		}
		if s, err = in.judge(ctx, s, x); err != nil {
			return err
		}
		if _, err := in.Store.SetFlags(ctx, s); err != nil {
			return fmt.Errorf("keeping the flags of %s: %w", f.key, err)
		}
		if in.OnChecked != nil {
			in.OnChecked(p.Name, qc.Summarize(s, f.from))
		}
		if f.key.Statistic == ingest.Instant || f.key.Statistic == ingest.Mean {
			usable := qc.Usable(s)
			switch f.key.Variable {
			case ingest.AirTemperature:
				air = &usable
			case ingest.WaterTemperature:
				water = &usable
			default: // only these two judge each other
			}
		}
	}
	return nil
}

// otherExtreme is the daily maxima that belong to daily minima, or the other way
// round; nil for any other series. Where a gauge has several sensors nobody can
// tell which belongs to which, so none is taken.
func (in Intake) otherExtreme(ctx context.Context, q series.Query, key ingest.Key, fresh []fetched, known []ingest.Key) (*ingest.Series, error) {
	want, ok := map[ingest.Statistic]ingest.Statistic{ingest.Min: ingest.Max, ingest.Max: ingest.Min}[key.Statistic]
	if !ok || key.Period != ingest.Daily {
		return nil, nil
	}
	all := slices.Clone(known)
	for _, f := range fresh {
		if !slices.Contains(all, f.key) {
			all = append(all, f.key)
		}
	}
	var theirs []ingest.Key
	for _, k := range all {
		if k.Feed == key.Feed && k.Site == key.Site && k.Variable == key.Variable && k.Period == key.Period && k.Member == key.Member && k.Statistic == want {
			theirs = append(theirs, k)
		}
	}
	if len(theirs) != 1 {
		return nil, nil
	}
	s, err := in.Store.Read(ctx, theirs[0], q)
	if err != nil {
		return nil, fmt.Errorf("reading %s back: %w", theirs[0], err)
	}
	return &s, nil
}

// airOf is the air of a place as it was stored before, where only its gauges
// were asked now.
func (in Intake) airOf(ctx context.Context, p RiverTasks, from time.Time, known []ingest.Key) (*ingest.Series, error) {
	for _, t := range p.Tasks {
		if t.Ahead {
			continue
		}
		for _, k := range known {
			if !t.serves(k) || k.Variable != ingest.AirTemperature || k.Member != 0 ||
				k.Statistic != ingest.Instant && k.Statistic != ingest.Mean {
				continue
			}
			s, err := in.Store.Read(ctx, k, series.Query{From: from})
			if err != nil {
				return nil, fmt.Errorf("reading %s back: %w", k, err)
			}
			usable := qc.Usable(s)
			return &usable, nil
		}
	}
	return nil, nil
}

func order(v ingest.Variable) int {
	switch v {
	case ingest.AirTemperature:
		return 0
	case ingest.WaterTemperature:
		return 1
	default:
		return 2
	}
}
