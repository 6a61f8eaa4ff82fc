package page

import (
	"cmp"
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"sort"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/notify/subscribe"
)

// Reports is the part of diary.Store that readers' reports need.
type Reports interface {
	Report(context.Context, diary.Report) (diary.Sighting, error)
	Of(ctx context.Context, author string) ([]diary.Sighting, error)
	DeleteOwn(ctx context.Context, author, id string) error
	ForgetAuthor(ctx context.Context, author string) error
	Hold(ctx context.Context, id string, yes bool) error
	SetTrust(ctx context.Context, author string, t diary.Trust) error
	Authors(context.Context) (map[string]diary.Trust, error)
}

// ReportLinks makes and checks the signed links with which readers report.
type ReportLinks interface {
	Report(subscribe.Report) string
	ReportOf(token string, now time.Time) (subscribe.Report, error)
}

// How long links last, and what stands for the hours of a report, which has no
// room for them; our own defaults.
const (
	visitorLife = 2 * time.Hour // of the form that a river's page leads to
	moreLife    = 2 * time.Hour // of the offer of other insects
	reportHours = 1
)

// askLeast is the chance from which readers are asked whether they saw a stage. Our
// own default.
const askLeast = 0.05

// unlikely is the chance below which a report of something seen is held back
// until the owner has looked at it, by the forecast and by the calendar alike.
// Our own default.
const unlikely = 0.02

// seeable is one stage of a group that a reader may report.
type seeable struct {
	River, Group, Name, Stage, Verb string
	P                               float64
	Token                           string
}

// inSeason lists what may be seen at a river on a day, the likeliest first.
func (s *site) inSeason(ctx context.Context, river string, day forecast.Date) ([]seeable, error) {
	st, err := s.Data.State(ctx, river)
	if err != nil || st == nil || st.Outlook == nil {
		return nil, err
	}
	var out []seeable
	for i := range st.Outlook.Stages {
		x := &st.Outlook.Stages[i]
		if d, ok := x.On(day); ok && !x.Elsewhere && max(d.P, d.PCalendar) >= askLeast {
			out = append(out, seeable{River: river, Group: x.Group, Name: forecast.UpperFirst(x.Name), Stage: string(x.Stage), Verb: stageVerb(string(x.Stage)), P: d.P})
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return cmp.Compare(out[j].P, out[i].P) < 0 })
	return out, nil
}

func stageVerb(stage string) string {
	if stage == string(forecast.EggLaying) {
		return "laying eggs"
	}
	return "hatching"
}

// doubt says why a report of something seen is held back; empty: it is not.
func (s *site) doubt(ctx context.Context, x diary.Sighting) (string, error) {
	if x.Amount == diary.None {
		return "", nil
	}
	st, err := s.Data.State(ctx, x.River)
	if err != nil {
		return "", err
	}
	if st, err = st.Whole(ctx); err != nil { // the day may be long past
		s.log.Error().Err(err).Str("river", x.River).Msg("reading the forecast to compare a report with")
	}
	if st == nil || st.Outlook == nil {
		return "Held back: there is no forecast to compare it with.", nil
	}
	for i := range st.Outlook.Stages {
		y := &st.Outlook.Stages[i]
		if y.Group != x.Group || string(y.Stage) != x.Stage {
			continue
		}
		if d, ok := y.On(forecast.DateOf(x.Day)); ok && max(d.P, d.PCalendar) >= unlikely {
			return "", nil
		}
	}
	return "Held back: out of season by the forecast and by the calendar.", nil
}

type reportPage struct {
	Token       string
	River, Name string
	Asked       *seeable  // what the link asks about; nil: the reader chooses
	Choices     []seeable // what else may be seen
	Date        string
	Yesterday   string
	Done        string
	Held        bool
	Already     bool
	Own         string // address of the reader's own page; empty: a visitor
	Faults      []string
}

// visit leads from a river's page to a form with a link of its own: pages that
// are kept for all cannot hold one. The owner goes to the diary.
func (s *site) visit(r *http.Request) (*answer, error) {
	q := r.URL.Query()
	river, ok := s.river(cutTo(q.Get("river"), 80))
	if s.Diary == nil || !ok {
		return nil, errNotFound
	}
	if s.mayWrite(r) || s.Links == nil {
		return &answer{to: (&url.URL{Path: "/diary/new", RawQuery: q.Encode()}).String()}, nil
	}
	l := subscribe.Report{River: river.Slug, Expires: s.Now().Add(visitorLife), Nonce: nonce()}
	if group := cutTo(q.Get("group"), 80); s.groups[group] != nil {
		l.Group, l.Stage = group, string(forecast.Emergence)
		if q.Get("stage") == string(forecast.EggLaying) {
			l.Stage = q.Get("stage")
		}
	}
	return s.reporting(r, s.Links.Report(l), l, reportPage{}, 0)
}

func nonce() string {
	var b [9]byte
	_, _ = rand.Read(b[:]) // never fails: see crypto/rand
	return hex.EncodeToString(b[:])
}

// link checks the token of a request and that its reader is still subscribed.
func (s *site) link(r *http.Request) (subscribe.Report, string, error) {
	token := r.PathValue("token")
	if s.Links == nil || s.Diary == nil {
		return subscribe.Report{}, "", errNotFound
	}
	l, err := s.Links.ReportOf(token, s.Now())
	if err == nil && l.Person != "" {
		if s.Subscribe == nil {
			return l, token, errNotFound
		}
		_, err = s.Subscribe.Managed(r.Context(), s.Subscribe.Manage(l.Person))
	}
	return l, token, err
}

// byLink is a page that whoever has a link may see or send.
func (s *site) byLink(page func(r *http.Request, l subscribe.Report, token string) (*answer, error)) func(*http.Request) (*answer, error) {
	return func(r *http.Request) (*answer, error) {
		l, token, err := s.link(r)
		if errors.Is(err, subscribe.ErrToken) {
			return s.expiredReport(), nil
		}
		if err != nil {
			return nil, err
		}
		return page(r, l, token)
	}
}

func (s *site) expiredReport() *answer {
	return &answer{name: "error", title: "This link does not work", code: http.StatusNotFound,
		body: "This link has expired, or was changed on its way. Nothing was recorded. Open the river's page to report what you saw."}
}

func (s *site) reportForm(r *http.Request, l subscribe.Report, token string) (*answer, error) {
	if l.River == "" {
		return nil, errNotFound
	}
	p := reportPage{}
	switch r.URL.Query().Get("done") {
	case "1":
		p.Done = "Recorded. Thank you."
	case "held":
		p.Done, p.Held = "Recorded.", true
	case "again":
		p.Done, p.Already = "This was already recorded; nothing was added.", true
	}
	return s.reporting(r, token, l, p, 0)
}

func (s *site) reporting(r *http.Request, token string, l subscribe.Report, p reportPage, code int) (*answer, error) {
	river, ok := s.river(l.River)
	if !ok {
		return nil, errNotFound
	}
	now := s.Now().In(forecast.ZoneOf(river.Zone))
	p.Token, p.River, p.Name, p.Date, p.Yesterday = token, river.Slug, river.Name, now.Format(time.DateOnly), now.AddDate(0, 0, -1).Format(time.DateOnly)
	if l.Group != "" {
		p.Asked = &seeable{River: river.Slug, Group: l.Group, Name: groupName(l.Group), Stage: l.Stage, Verb: stageVerb(l.Stage)}
	} else {
		all, err := s.inSeason(r.Context(), river.Slug, forecast.DateOf(now))
		if err != nil {
			return nil, err
		}
		p.Choices = all
	}
	if l.Person != "" {
		p.Own = "/my/" + s.Links.Report(subscribe.Report{Person: l.Person, Expires: s.Now().Add(ownLife)})
	}
	return &answer{name: "report", title: "What did you see?", code: code, body: p}, nil
}

// reportPost writes one report. The link allows what it allows once.
func (s *site) reportPost(r *http.Request, l subscribe.Report, token string) (*answer, error) {
	if err := r.ParseForm(); err != nil {
		return nil, fmt.Errorf("reading the form: %w", err)
	}
	x, faults := s.reported(r, l)
	if len(faults) > 0 {
		return s.reporting(r, token, l, reportPage{Faults: faults}, http.StatusUnprocessableEntity)
	}
	kept, err := s.take(r, x, token+" "+x.Group+" "+x.Stage, l.Expires)
	done := "1"
	switch {
	case errors.Is(err, diary.ErrUsed):
		done = "again"
	case errors.Is(err, diary.ErrTooMany):
		return &answer{name: "error", title: "Not recorded", code: http.StatusTooManyRequests, body: "That is more than one person sees in a day. Try again tomorrow."}, nil
	case err != nil:
		return nil, err
	case kept.Held:
		done = "held"
	}
	// Each insect tells of all: the others are offered, on a link of their own.
	more := token
	if l.Group != "" {
		more = s.Links.Report(subscribe.Report{Person: l.Person, River: l.River, Expires: s.Now().Add(moreLife), Nonce: nonce()})
	}
	return &answer{to: "/report/" + more + "?done=" + done}, nil
}

// visitor begins the pseudonym of somebody without a subscription: a keyed hash
// of their network.
const visitor = "visitor-"

// reported reads a report within what its link allows.
func (s *site) reported(r *http.Request, l subscribe.Report) (x diary.Sighting, faults []string) {
	f := r.PostForm
	x = diary.Sighting{River: l.River, Group: l.Group, Stage: l.Stage, Amount: diary.Amount(f.Get("amount")), Hours: reportHours, Author: l.Person}
	if l.Group == "" {
		x.Group, x.Stage, _ = strings.Cut(cutTo(f.Get("what"), 120), "/")
		if s.groups[x.Group] == nil {
			faults = append(faults, "Choose the insect that you looked for.")
		}
	}
	if x.Author == "" {
		x.Author = visitor + s.sign("visitor", subscribe.NetworkOf(s.ClientOf(r)))[:12]
	}
	river, ok := s.river(x.River)
	if !ok {
		return x, append(faults, "Choose the river.")
	}
	today := s.Now().In(forecast.ZoneOf(river.Zone))
	day, err := time.Parse(time.DateOnly, f.Get("date"))
	if err == nil && day.After(today) && !day.After(today.AddDate(0, 0, 1)) {
		// The phone is a zone ahead of the river.
		day = time.Date(today.Year(), today.Month(), today.Day(), 0, 0, 0, 0, time.UTC)
	}
	if err != nil || day.After(today) || day.Before(today.AddDate(0, 0, -reportDays)) {
		faults = append(faults, "Choose a day of the past week.")
	}
	x.Day = day
	if len(faults) == 0 {
		if err := x.Check(s.Now()); err != nil {
			for line := range strings.SplitSeq(err.Error(), "\n") {
				faults = append(faults, forecast.UpperFirst(line)+".")
			}
		}
	}
	return x, faults
}

// reportDays is how long ago a reported day may be: a phone may have been
// without a network. Our own default.
const reportDays = 7

// take keeps a report and has the forecast learn of it.
func (s *site) take(r *http.Request, x diary.Sighting, link string, expires time.Time) (diary.Sighting, error) {
	doubt, err := s.doubt(r.Context(), x)
	if err != nil {
		return x, err
	}
	kept, err := s.Reports.Report(r.Context(), diary.Report{Sighting: x, Link: link, Expires: expires, Doubt: doubt})
	if err == nil {
		s.changed(r, x.River)
	}
	return kept, err
}
