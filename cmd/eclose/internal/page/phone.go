package page

import (
	"errors"
	"fmt"
	"net/http"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/subscribe"
)

// ownLife is how long the link to a reader's own page lasts: a season. Our own
// default.
const ownLife = 240 * 24 * time.Hour

type phoneRiver struct {
	Name       string
	Seen, Rest []question // the likeliest of today, and what else is in season
}

// question is an insect and stage that may be seen today, and where a press on it goes.
type question struct {
	seeable
	Page        string // the token of the reader's page
	River, Date string
}

// likeliest is how many questions of a river stand open on a reader's own page. Our
// own default: a screenful or two of a phone.
const likeliest = 10

type phonePage struct {
	Token  string
	Rivers []phoneRiver
	Own    []diary.Sighting
	Names  map[string]string
	Done   string
	Nonce  string
}

// phone is a reader's own page: what may be seen on their rivers, and what they
// reported. It works from the phone's store without a network.
func (s *site) phone(r *http.Request, l subscribe.Report, token string) (*answer, error) {
	if l.Person == "" || l.River != "" {
		return s.expiredReport(), nil // a link of another kind
	}
	person, err := s.Subscribe.Managed(r.Context(), s.Subscribe.Manage(l.Person))
	if err != nil {
		return nil, err
	}
	p := phonePage{Token: token, Names: map[string]string{}, Nonce: nonce(),
		Done: map[string]string{"1": "Recorded. Thank you.", "held": "Recorded. It is unusual for the date, so the owner looks at it first.", "again": "This was already recorded.", "gone": "Deleted."}[r.URL.Query().Get("done")]}
	for _, want := range person.Subscriptions {
		river, ok := s.river(want.River)
		if !ok {
			continue
		}
		now := s.Now().In(forecast.ZoneOf(river.Zone))
		seen, err := s.inSeason(r.Context(), river.Slug, forecast.DateOf(now))
		if err != nil {
			return nil, err
		}
		asked := make([]question, len(seen))
		for i, x := range seen {
			x.Token = nonce()
			asked[i] = question{seeable: x, Page: token, River: river.Slug, Date: now.Format(time.DateOnly)}
		}
		n := min(len(asked), likeliest)
		p.Rivers = append(p.Rivers, phoneRiver{Name: river.Name, Seen: asked[:n], Rest: asked[n:]})
		p.Names[river.Slug] = river.Name
	}
	if p.Own, err = s.Reports.Of(r.Context(), l.Person); err != nil {
		return nil, err
	}
	return &answer{name: "phone", title: "Your rivers", body: p}, nil
}

// phonePost takes a report of a reader's own page, sent at once or later, or
// deletes one of theirs.
func (s *site) phonePost(r *http.Request, l subscribe.Report, token string) (*answer, error) {
	if l.Person == "" || l.River != "" {
		return s.expiredReport(), nil
	}
	if err := r.ParseForm(); err != nil {
		return nil, fmt.Errorf("reading the form: %w", err)
	}
	back := "/my/" + token
	if id := cutTo(r.PostForm.Get("delete"), 64); id != "" {
		river := ""
		own, err := s.Reports.Of(r.Context(), l.Person)
		if err != nil {
			return nil, err
		}
		for _, x := range own {
			if x.ID == id {
				river = x.River
			}
		}
		err = s.Reports.DeleteOwn(r.Context(), l.Person, id)
		if errors.Is(err, db.ErrNotFound) {
			return &answer{to: back}, nil
		}
		if err == nil {
			s.changed(r, river)
		}
		return &answer{to: back + "?done=gone"}, err
	}
	person, err := s.Subscribe.Managed(r.Context(), s.Subscribe.Manage(l.Person))
	if err != nil {
		return nil, err
	}
	l.River = ""
	for _, want := range person.Subscriptions {
		if want.River == r.PostForm.Get("river") {
			l.River = want.River
		}
	}
	sent := r.PostForm.Get("nonce")
	x, faults := s.reported(r, l)
	if len(sent) < 8 || len(sent) > 64 {
		faults = append(faults, "The form was incomplete. Reload the page.")
	}
	if len(faults) > 0 {
		return &answer{name: "error", title: "Not recorded", code: http.StatusUnprocessableEntity, body: faults[0]}, nil
	}
	kept, err := s.take(r, x, token+" "+sent, l.Expires)
	switch {
	case errors.Is(err, diary.ErrUsed):
		return &answer{to: back + "?done=again"}, nil
	case errors.Is(err, diary.ErrTooMany):
		return &answer{name: "error", title: "Not recorded", code: http.StatusTooManyRequests, body: "That is more than one person sees in a day. Try again tomorrow."}, nil
	case err != nil:
		return nil, err
	case kept.Held:
		return &answer{to: back + "?done=held"}, nil
	}
	return &answer{to: back + "?done=1"}, nil
}
