package schedule

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"example.org/eclose/ingest/series"
)

// Progress is how far one task's catching up with the past has come.
type Progress struct {
	River, Feed, Site string
	Done, Pieces      int       // pieces of the span
	To                time.Time // where the last finished piece ends
}

// span is a half-open stretch of time; a zero end is "up to now".
type span struct {
	From time.Time `json:"from"`
	To   time.Time `json:"to"`
}

// pieces cuts [from, now) at the turns of the years, which is how the store
// keeps its files. The last piece is open. A span of little more than a year
// is one piece.
func pieces(from, now time.Time) []span {
	var out []span
	for now.Sub(from) > 400*24*time.Hour {
		next := time.Date(from.UTC().Year()+1, 1, 1, 0, 0, 0, 0, time.UTC)
		out = append(out, span{from, next})
		from = next
	}
	return append(out, span{From: from})
}

// note is what must be known of a task beside its stored readings. It lies in
// the store, and only where there is something to say.
type note struct {
	// ResumeAt is the time from which a catch-up longer than the overlap still has
	// to ask, and GapStart is where it began: no reading after that is checked yet.
	// Pages of a response come in any order, so the newest stored reading says
	// nothing of the ones before it. Each piece moves ResumeAt on once its readings
	// are on the disk.
	ResumeAt time.Time `json:"resume_at,omitzero"`
	GapStart time.Time `json:"gap_start,omitzero"`

	// Asked is when a variable that the site turned out not to have was last
	// asked for from the beginning: it is not asked for so again.
	Asked time.Time `json:"asked,omitzero"`
}

const noteLimit = 1 << 12

func (t Task) noteName() string {
	vars := make([]string, 0, len(t.Request.Variables))
	for _, v := range t.Request.Variables {
		vars = append(vars, string(v))
	}
	slices.Sort(vars)
	return "notes/" + t.Source.Name() + "/" + url.PathEscape(strings.Join([]string{t.site(), strings.Join(vars, "+"), t.Request.Period}, " ")) + ".json"
}

// note reads a task's note; an empty one where there is none. One that cannot
// be understood is none: that costs a longer fetch, not a gap.
func (in Intake) note(ctx context.Context, t Task) (n note, err error) {
	b, err := in.Store.Files().Read(ctx, t.noteName(), noteLimit)
	if errors.Is(err, series.ErrNoFile) {
		return n, nil
	}
	if err != nil {
		return n, fmt.Errorf("looking what is still to be fetched: %w", err)
	}
	var old struct { // keys of before version 0.1
		Owed  time.Time `json:"owed"`
		Began time.Time `json:"began"`
	}
	if json.Unmarshal(b, &n) != nil || json.Unmarshal(b, &old) != nil {
		return note{}, nil
	}
	if n.ResumeAt.IsZero() {
		n.ResumeAt = old.Owed
	}
	if n.GapStart.IsZero() {
		n.GapStart = old.Began
	}
	return n, nil
}

func (in Intake) setNote(ctx context.Context, t Task, n note) (err error) {
	if n == (note{}) {
		err = in.Store.Files().Remove(ctx, t.noteName())
	} else {
		var b []byte
		if b, err = json.Marshal(n); err == nil {
			err = in.Store.Files().Write(ctx, t.noteName(), b)
		}
	}
	if err != nil {
		return fmt.Errorf("noting what is still to be fetched: %w", err)
	}
	return nil
}
