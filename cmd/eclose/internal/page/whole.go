package page

import (
	"context"
	"fmt"
	"net/http"

	"example.org/eclose/forecast"
)

// Whole returns the state with its forecast read whole. One without a forecast is returned
// as it is.
func (st *State) Whole(ctx context.Context) (*State, error) {
	if st == nil || st.Outlook == nil || st.Load == nil {
		return st, nil
	}
	o, err := st.Load(ctx)
	if err != nil {
		return nil, err
	}
	whole := *st
	whole.Outlook, whole.Load = o, nil
	return &whole, nil
}

// unread says that a river has a forecast that cannot be read now, with what stands on
// its page instead.
type unread struct {
	head head
	err  error
}

func (u *unread) Error() string { return u.head.Name + ": " + u.err.Error() }
func (u *unread) Unwrap() error { return u.err }

// whole is head with the whole forecast. Where that cannot be read the error is an
// unread one, whose caution is unknown and no lower than the one known before.
func (s *site) whole(r *http.Request, river forecast.River) (head, *State, error) {
	h, brief, err := s.head(r, river)
	if err != nil || brief == nil {
		return h, nil, err
	}
	st, err := brief.Whole(r.Context())
	if err != nil {
		return h, nil, &unread{s.unknownNow(r, h, brief, river), fmt.Errorf("reading the forecast: %w", err)}
	}
	h.O = st.Outlook
	return h, st, nil
}

// unknownNow is the head of a river whose caution cannot be told beside its forecast.
func (s *site) unknownNow(r *http.Request, h head, st *State, river forecast.River) head {
	if h.judged.Known {
		h.judged = h.judged.Expired()
	}
	u := unitsOf(r.Context())
	h.Caution, h.Line = h.judged.View(u), cautionNow(st, h.judged, u, river.Regulated)
	return h
}
