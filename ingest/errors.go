package ingest

import (
	"errors"
	"strings"
	"time"
)

// Error is what every feed returns: one clear sentence, and whether trying
// again may help.
type Error struct {
	Feed      string        // which feed
	Where     string        // URL (without secrets), file, line or field
	Problem   string        // what was wrong
	Hint      string        // what the user can do about it; may be empty
	Retryable bool          // true if the same request may succeed later
	Empty     bool          // the answer is well, but holds no value for the span asked for
	Wait      time.Duration // how long the server asked us to wait; 0 if it did not say
	Err       error         // the cause, if any
}

func (e *Error) Error() string {
	var b strings.Builder
	if e.Feed != "" {
		b.WriteString(e.Feed + ": ")
	}
	if e.Where != "" {
		b.WriteString(e.Where + ": ")
	}
	b.WriteString(e.Problem)
	if e.Err != nil {
		b.WriteString(": " + e.Err.Error())
	}
	if e.Hint != "" {
		b.WriteString("; " + e.Hint)
	}
	return strings.Map(func(r rune) rune { // a cause may quote what the agency sent
		if r < ' ' || r == 0x7f {
			return ' '
		}
		return r
	}, b.String())
}

func (e *Error) Unwrap() error { return e.Err }

// Retryable says whether the error, or one that it wraps, may pass by itself,
// and how long the server asked to be left alone.
func Retryable(err error) (bool, time.Duration) {
	if e, ok := errors.AsType[*Error](err); ok {
		return e.Retryable, e.Wait
	}
	return false, 0
}
