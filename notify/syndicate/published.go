package syndicate

import (
	"context"
	"fmt"
	"slices"
	"sort"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/ingest/db"
)

// A PublishedWindow is a window as calendars and feeds last showed it. Its dates stay until the
// forecast has moved by movedDays, so that a calendar does not tremble.
type PublishedWindow struct {
	River     string         `json:"river"`
	Group     string         `json:"group"`
	Name      string         `json:"group_name"`
	Stage     forecast.Stage `json:"stage"`
	Season    int            `json:"season"` // year of the peak
	From      forecast.Date  `json:"from"`
	To        forecast.Date  `json:"to"` // included
	Shown     bool           `json:"-"`  // it was among the few that matter
	Cancelled bool           `json:"cancelled"`
	Changed   time.Time      `json:"changed_at"` // since when it stands so
}

// Our own defaults.
const (
	movedDays = 2                  // a smaller move is not published
	keptFor   = 30                 // days after its end for which a window is still listed
	allYear   = forecast.Date(364) // a window this long is no season
)

func (w PublishedWindow) key() string { return fmt.Sprintf("%s.%s.%d", w.Group, w.Stage, w.Season) }

// UID is the identity of a window in every calendar: by email, by address and in a
// file. The year of the peak is part of it: next season is another event.
func UID(river, group string, stage forecast.Stage, season int) string {
	return fmt.Sprintf("%s.%s.%s.%d@eclose", river, group, stage, season)
}

// ChangeKind is what became of a window.
type ChangeKind string

// The kinds of change.
const (
	Added     ChangeKind = "added"
	Moved     ChangeKind = "moved"
	Cancelled ChangeKind = "cancelled"
)

// A WindowChange is one window that is published anew.
type WindowChange struct {
	Kind   ChangeKind      `json:"change"`
	Window PublishedWindow `json:"window"`
	Was    *[2]string      `json:"was,omitempty"` // first and last day as published before
}

// WindowsOf are the windows of an outlook that may be published: stages worth fishing,
// of this kind of water, with a season. matters says which are among the few.
func WindowsOf(o *forecast.Outlook, matters func(group string, stage forecast.Stage) bool) []PublishedWindow {
	var out []PublishedWindow
	for i := range o.Stages {
		s := &o.Stages[i]
		from, to, peak := s.Window.Start.P50, s.Window.End.P50, s.Window.Peak.P50
		if !s.Fishable || s.Elsewhere || s.AllYear || from == 0 || peak == 0 || to < from || to-from >= allYear {
			continue
		}
		out = append(out, PublishedWindow{River: o.River, Group: s.Group, Name: s.Name, Stage: s.Stage, Season: peak.Time().Year(), From: from, To: to,
			Shown: matters(s.Group, s.Stage), Changed: o.IssuedAt.UTC()})
	}
	return out
}

// Published returns the windows of a river as last published, in the order of their first days.
func Published(ctx context.Context, q db.Querier, river string) ([]PublishedWindow, error) {
	out, _, err := readPublished(ctx, q, river)
	return out, err
}

// readPublished also returns when the newest forecast that judged any of them was issued.
func readPublished(ctx context.Context, q db.Querier, river string) (out []PublishedWindow, issued time.Time, err error) {
	rows, err := q.QueryContext(ctx, `SELECT insect, stage, season, name, first_day, last_day, shown, cancelled, changed_at, issued_at
		FROM published_window WHERE river = $1 ORDER BY first_day, insect, stage, season`, river)
	if err != nil {
		return nil, issued, fmt.Errorf("reading the published windows of %s: %w", river, err)
	}
	defer rows.Close() //nolint:errcheck // it was only read
	for rows.Next() {
		w := PublishedWindow{River: river}
		var from, to, stage string
		var shown, cancelled int
		var changed, judged int64
		if err := rows.Scan(&w.Group, &stage, &w.Season, &w.Name, &from, &to, &shown, &cancelled, &changed, &judged); err != nil {
			return nil, issued, fmt.Errorf("reading the published windows of %s: %w", river, err)
		}
		if err := w.From.UnmarshalText([]byte(from)); err != nil {
			return nil, issued, err
		}
		if err := w.To.UnmarshalText([]byte(to)); err != nil {
			return nil, issued, err
		}
		w.Stage, w.Shown, w.Cancelled, w.Changed = forecast.Stage(stage), shown == 1, cancelled == 1, db.Time(changed).UTC()
		if t := db.Time(judged).UTC(); t.After(issued) {
			issued = t
		}
		out = append(out, w)
	}
	if err := rows.Err(); err != nil {
		return nil, issued, fmt.Errorf("reading the published windows of %s: %w", river, err)
	}
	return out, issued, nil
}

// Publish takes in an issued outlook, in the transaction that q runs in, and returns what
// is published anew. An outlook that is not newer than the last one changes nothing and is
// not fresh, so a job may call it again.
func Publish(ctx context.Context, q db.Querier, o *forecast.Outlook, matters func(group string, stage forecast.Stage) bool) (changes []WindowChange, fresh bool, err error) {
	before, judged, err := readPublished(ctx, q, o.River)
	if err != nil {
		return nil, false, err
	}
	if !judged.IsZero() && !o.IssuedAt.After(judged) {
		return nil, false, nil
	}
	rows, changes := compare(before, WindowsOf(o, matters), o.IssueDate(), o.IssuedAt.UTC())
	for _, w := range rows {
		_, err := q.ExecContext(ctx, `INSERT INTO published_window (river, insect, stage, season, name, first_day, last_day, shown, cancelled, changed_at, issued_at)
			VALUES ($1, $2, $3, $4, $5, $6, $7, $8, $9, $10, $11) ON CONFLICT (river, insect, stage, season) DO UPDATE SET name = excluded.name, first_day = excluded.first_day,
			last_day = excluded.last_day, shown = excluded.shown, cancelled = excluded.cancelled, changed_at = excluded.changed_at, issued_at = excluded.issued_at`,
			w.River, w.Group, string(w.Stage), w.Season, w.Name, w.From.String(), w.To.String(), bit(w.Shown), bit(w.Cancelled), db.Micros(w.Changed), db.Micros(o.IssuedAt))
		if err != nil {
			return nil, false, fmt.Errorf("recording the published windows of %s: %w", o.River, err)
		}
	}
	return changes, true, nil
}

func bit(b bool) int {
	if b {
		return 1
	}
	return 0
}

// compare sets the windows of a new outlook against those published before. It returns all
// that is published from now on and what of it is news: a window that is new, that
// moved by movedDays at either end, or that has not ended and is no longer expected.
func compare(before, now []PublishedWindow, today forecast.Date, at time.Time) (rows []PublishedWindow, changes []WindowChange) {
	old := map[string]PublishedWindow{}
	for _, w := range before {
		old[w.key()] = w
	}
	for _, w := range now {
		was, known := old[w.key()]
		delete(old, w.key())
		w.Changed, w.Shown = at, w.Shown || was.Shown
		change := WindowChange{Kind: Added}
		switch {
		case !known || was.Cancelled:
		case far(was.From, w.From) || far(was.To, w.To):
			change.Kind, change.Was = Moved, &[2]string{was.From.String(), was.To.String()}
		default: // the dates stay as published
			w.From, w.To, w.Changed = was.From, was.To, was.Changed
			rows = append(rows, w)
			continue
		}
		rows, change.Window = append(rows, w), w
		changes = append(changes, change)
	}
	for _, w := range before {
		if _, gone := old[w.key()]; !gone || w.Cancelled || w.To < today {
			continue
		}
		w.Cancelled, w.Changed = true, at
		rows, changes = append(rows, w), append(changes, WindowChange{Kind: Cancelled, Window: w})
	}
	return rows, changes
}

func far(a, b forecast.Date) bool { return a-b >= movedDays || b-a >= movedDays }

// Listed narrows published windows to those that a subscriber sees: of the groups that are
// asked for or, if none is, the few that matter, and not long over.
func Listed(all []PublishedWindow, groups []string, today forecast.Date) []PublishedWindow {
	out := slices.DeleteFunc(slices.Clone(all), func(w PublishedWindow) bool {
		return w.To+keptFor < today || len(groups) == 0 && !w.Shown || len(groups) > 0 && !slices.Contains(groups, w.Group)
	})
	sort.SliceStable(out, func(i, j int) bool { return out[i].From < out[j].From })
	return out
}

// stageWords are what a stage does, for titles.
func (w PublishedWindow) stageWords() string {
	if w.Stage == forecast.EggLaying {
		return "laying eggs"
	}
	return "hatching"
}
