package main

import (
	"fmt"
	"io"
	"os"
	"sync"
	"time"

	"github.com/rs/zerolog"
	"golang.org/x/term"
)

// progress shows how far a long job has come: one line that is written anew on a
// terminal, one log line a minute otherwise.
type progress struct {
	mu       sync.Mutex
	what     string
	terminal io.Writer // nil: there is none
	shown    bool
	log      zerolog.Logger
	now      func() time.Time
	last     time.Time // of the last line

	// began is when the first piece was begun: what is left is worked out from it.
	began time.Time
}

// between is how often a terminal's line is written anew.
const between = 100 * time.Millisecond

func newProgress(e *env, what string) *progress {
	p := &progress{what: what, now: e.now, began: e.now(), last: e.now(), log: zerolog.New(e.stderr).With().Timestamp().Logger()}
	if e.quiet {
		p.log = zerolog.Nop()
		return p
	}
	if f, ok := e.stderr.(*os.File); ok {
		// A terminal that has no size shows no line: then it gets the log's.
		if cols, rows, err := term.GetSize(int(f.Fd())); err == nil && cols > 0 && rows > 0 { //nolint:gosec // a file's number is small
			p.terminal = f
		}
	}
	return p
}

// done is called with how many are done of how many.
func (p *progress) done(done, total int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	now := p.now()
	switch {
	case p.terminal != nil:
		if p.shown && done < total && now.Sub(p.last) < between {
			return
		}
		left := ""
		if done > 0 {
			left = fmt.Sprintf(", about %s left", (now.Sub(p.began) / time.Duration(done) * time.Duration(total-done)).Round(time.Second))
		}
		fmt.Fprintf(p.terminal, "\r\x1b[K%s: %d of %d%s", p.what, done, total, left) // a line that is lost is replaced by the next
		p.shown, p.last = true, now
	case now.Sub(p.last) >= time.Minute:
		p.last = now
		p.log.Info().Int("done", done).Int("of", total).Msg(p.what)
	}
}

// end leaves the terminal as it was.
func (p *progress) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	if p.shown {
		fmt.Fprintln(p.terminal)
	}
}
