package page

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/subscribe"
)

// wording is the version of the text that people agree to at the form.
const wording = "page-1"

type subscribePage struct {
	Address, Cadence, Threshold, Units, Zone string
	When                                     string
	Cautions                                 bool
	Rivers, Groups                           []choice
	Some                                     bool
	Faults                                   []string
}

func (s *site) choices(r *http.Request, rivers, groups []string) (rs, gs []choice, some bool) {
	here := map[string]bool{}
	for _, river := range s.Data.Rivers() {
		rs = append(rs, choice{river.Slug, river.Name, slices.Contains(rivers, river.Slug)})
		st, err := s.Data.State(r.Context(), river.Slug)
		if err != nil || st == nil || st.Outlook == nil {
			continue // the river can be asked for all the same
		}
		for i := range st.Outlook.Stages {
			if x := &st.Outlook.Stages[i]; x.Fishable && !here[x.Group] {
				here[x.Group] = true
				on := slices.Contains(groups, x.Group)
				some = some || on
				gs = append(gs, choice{x.Group, forecast.UpperFirst(x.Name), on})
			}
		}
	}
	sort.Slice(gs, func(i, j int) bool { return gs[i].Name < gs[j].Name })
	return rs, gs, some
}

func (s *site) subscribeForm(r *http.Request) (*answer, error) {
	if s.Subscribe == nil {
		return &answer{name: "error", title: "Email alerts are off", here: "alerts", body: "This server cannot send email: no mail relay is configured."}, nil
	}
	q := r.URL.Query()
	p := subscribePage{Cadence: subscribe.Now, Threshold: "0.5", Cautions: true, Units: unitWord(unitsOf(r.Context()))}
	p.Rivers, p.Groups, p.Some = s.choices(r, q["river"], q["group"])
	if len(p.Rivers) == 1 {
		p.Rivers[0].On = true
	}
	return &answer{name: "subscribe", title: "Email alerts", here: "alerts", form: true, body: p}, nil
}

func unitWord(u wading.Units) string {
	if u == wading.US {
		return subscribe.US
	}
	return subscribe.Metric
}

func (s *site) subscribePost(r *http.Request) (*answer, error) {
	if s.Subscribe == nil {
		return nil, errNotFound
	}
	f := r.PostForm
	p := subscribePage{Address: cutTo(f.Get("address"), 320), Cadence: f.Get("cadence"), Threshold: f.Get("threshold"), Units: f.Get("units"), Cautions: f.Get("cautions") != "", When: cutTo(strings.TrimSpace(f.Get("when")), 80)}
	p.Rivers, p.Groups, p.Some = s.choices(r, f["river"], f["group"])
	req := subscribe.Request{Address: p.Address, Units: p.Units, Wording: wording, Network: subscribe.NetworkOf(s.ClientOf(r)), QuietFrom: 22 * 60, QuietTo: 6 * 60}
	threshold := map[string]float64{"0.33": 0.33, "0.5": 0.5, "0.66": 0.66}[p.Threshold]
	if threshold == 0 {
		threshold = subscribe.DefaultThreshold
	}
	for _, slug := range f["river"] {
		river, ok := s.river(slug)
		if !ok {
			continue
		}
		if req.Zone == "" {
			req.Zone = river.Zone
		}
		req.Subscriptions = append(req.Subscriptions, subscribe.Subscription{River: slug, Groups: slices.Clone(f["group"]), Threshold: threshold, Cadence: p.Cadence, Cautions: p.Cautions, When: p.When})
	}
	if len(req.Subscriptions) == 0 {
		p.Faults = append(p.Faults, "Choose at least one river.")
	}
	if _, err := subscribe.ParseAddress(p.Address); err != nil {
		p.Faults = append(p.Faults, forecast.UpperFirst(err.Error())+".")
	}
	if _, err := subscribe.ParseCondition(p.When); p.When != "" && err != nil {
		p.Faults = append(p.Faults, forecast.UpperFirst(err.Error())+".")
	}
	again := func(code int) (*answer, error) {
		return &answer{name: "subscribe", title: "Email alerts", here: "alerts", form: true, code: code, body: p}, nil
	}
	if len(p.Faults) > 0 {
		return again(http.StatusUnprocessableEntity)
	}
	inv, err := s.Subscribe.Ask(r.Context(), req)
	switch {
	case errors.Is(err, subscribe.ErrBusy):
		p.Faults = []string{"Too many requests just now. Try again tomorrow, or ask the operator of this site."}
		return again(http.StatusTooManyRequests)
	case err != nil:
		s.log.Warn().Err(err).Msg("a subscription was refused")
		p.Faults = []string{"Choose rivers and groups from the list and enter one email address."}
		return again(http.StatusUnprocessableEntity)
	}
	if inv != nil {
		if err := s.Invite(r.Context(), inv); err != nil {
			return nil, fmt.Errorf("handing over an invitation: %w", err)
		}
	}
	// The same whether or not a mail goes out: nobody learns who is known here.
	return &answer{to: "/subscribe/asked"}, nil
}

func (s *site) asked(*http.Request) (*answer, error) {
	return &answer{name: "done", title: "Check your email", here: "alerts", body: []string{
		"If this address can be subscribed, we have sent it an email. Open the link in it and press Confirm; nothing else is sent until you do.",
		"The link works once, for 48 hours. Nothing there? Check your spam folder, or try again tomorrow.",
	}}, nil
}

type confirmPage struct {
	Rivers, Groups []string
	Request        subscribe.Request
}

func (s *site) confirmForm(r *http.Request) (*answer, error) {
	if s.Subscribe == nil {
		return nil, errNotFound
	}
	req, err := s.Subscribe.Peek(r.Context(), r.PathValue("token"))
	if errors.Is(err, subscribe.ErrToken) {
		return expired(), nil
	}
	if err != nil {
		return nil, err
	}
	p := confirmPage{Request: req}
	for _, w := range req.Subscriptions {
		name := w.River
		if river, ok := s.river(w.River); ok {
			name = river.Name
		}
		p.Rivers = append(p.Rivers, name)
		for _, g := range w.Groups {
			if n := groupName(g); !slices.Contains(p.Groups, n) {
				p.Groups = append(p.Groups, n)
			}
		}
	}
	return &answer{name: "confirm", title: "Confirm your address", here: "alerts", form: true, body: p}, nil
}

func expired() *answer {
	return &answer{name: "error", title: "This link does not work", code: http.StatusNotFound, body: "This link has expired or was already used. Links work once, for 48 hours. You can subscribe again."}
}

func (s *site) confirmPost(r *http.Request) (*answer, error) {
	if s.Subscribe == nil {
		return nil, errNotFound
	}
	if r.PostForm.Get("do") == "never" {
		return s.neverPost(r)
	}
	p, err := s.Subscribe.Confirm(r.Context(), r.PathValue("token"), subscribe.NetworkOf(s.ClientOf(r)))
	if errors.Is(err, subscribe.ErrToken) {
		return expired(), nil
	}
	if err != nil {
		return nil, err
	}
	return &answer{to: "/manage/" + s.Subscribe.Manage(p.ID) + "?new=1"}, nil
}

func (s *site) neverForm(*http.Request) (*answer, error) {
	if s.Subscribe == nil {
		return nil, errNotFound
	}
	return &answer{name: "never", title: "Never write to me again", here: "alerts"}, nil
}

func (s *site) neverPost(r *http.Request) (*answer, error) {
	if s.Subscribe == nil {
		return nil, errNotFound
	}
	return ended(s.Subscribe.Never(r.Context(), r.PathValue("token")),
		"The request is gone: nothing more will be sent for it. If you confirmed it, use the link at the bottom of an alert email.",
		"We will not write again", "The request was deleted. We keep only a code made from your address, so that nobody can ask for email to it again.")
}

// ended is the page after a link that ends emails was followed: unknown is its text for a
// token that we do not know, title and text are those of success.
func ended(err error, unknown, title, text string) (*answer, error) {
	if errors.Is(err, subscribe.ErrToken) {
		return &answer{name: "error", title: "This link does not work", here: "alerts", code: http.StatusNotFound, body: unknown}, nil
	}
	if err != nil {
		return nil, err
	}
	return &answer{name: "done", title: title, here: "alerts", body: []string{text}}, nil
}

func (s *site) unsubscribeForm(r *http.Request) (*answer, error) {
	if s.Subscribe == nil {
		return nil, errNotFound
	}
	// Nothing changes on GET: programs that look at mails open every link.
	return &answer{name: "unsubscribe", title: "Unsubscribe", here: "alerts", body: r.PathValue("token")}, nil
}

func (s *site) unsubscribePost(r *http.Request) (*answer, error) {
	if s.Subscribe == nil {
		return nil, errNotFound
	}
	return ended(s.Subscribe.Unsubscribe(r.Context(), r.PathValue("token")), "Unknown link. Use the one at the bottom of an alert email.",
		"Unsubscribed", "You are unsubscribed. Anything waiting to be sent has been cancelled.")
}

type managePage struct {
	Person subscribe.Person
	Rivers []string
	New    bool
	Done   string
}

func (s *site) manageForm(r *http.Request) (*answer, error) {
	if s.Subscribe == nil {
		return nil, errNotFound
	}
	return s.managed(r, r.URL.Query().Get("done"))
}

func (s *site) managed(r *http.Request, done string) (*answer, error) {
	p, err := s.Subscribe.Managed(r.Context(), r.PathValue("token"))
	if err != nil {
		return gone(err)
	}
	body := managePage{Person: p, New: r.URL.Query().Get("new") != "", Done: map[string]string{
		"pause": "Paused for 30 days.", "resume": "Alerts resumed.", "stop": "You are unsubscribed."}[done]}
	for _, w := range p.Subscriptions {
		name := w.River
		if river, ok := s.river(w.River); ok {
			name = river.Name
		}
		text := fmt.Sprintf("%s: chance of %.0f%% or more, up to %d days ahead", name, 100*w.Threshold, w.HorizonDays)
		if c, err := subscribe.ParseCondition(w.When); err == nil {
			text += ", only with " + c.Words(unitsOf(r.Context()))
		}
		body.Rivers = append(body.Rivers, text)
	}
	return &answer{name: "manage", title: "Your email alerts", here: "alerts", form: true, body: body}, nil
}

// gone answers for a token that is nobody's.
func gone(err error) (*answer, error) {
	if errors.Is(err, subscribe.ErrToken) {
		return &answer{name: "error", title: "This link does not work", here: "alerts", code: http.StatusNotFound, body: "No subscription found for this link."}, nil
	}
	return nil, err
}

const pauseFor = 30 * 24 * time.Hour

func (s *site) managePost(r *http.Request) (*answer, error) {
	if s.Subscribe == nil {
		return nil, errNotFound
	}
	token := r.PathValue("token")
	p, err := s.Subscribe.Managed(r.Context(), token)
	if err != nil {
		return gone(err)
	}
	back := "/manage/" + token
	switch do := r.PostForm.Get("do"); do {
	case "pause":
		return &answer{to: back + "?done=pause"}, s.Subscribe.Pause(r.Context(), p.Address, s.Now().Add(pauseFor))
	case "resume":
		return &answer{to: back + "?done=resume"}, s.Subscribe.Pause(r.Context(), p.Address, time.Time{})
	case "stop":
		return &answer{to: back + "?done=stop"}, s.Subscribe.Remove(r.Context(), p.Address)
	case "take":
		b, err := s.Subscribe.Export(r.Context(), p.Address)
		return &answer{raw: b, kind: "application/json", file: "eclose-my-data.json"}, err
	case "delete":
		if _, err := s.Subscribe.Delete(r.Context(), p.Address); err != nil {
			return nil, err
		}
		if s.Reports != nil {
			if err := s.Reports.ForgetAuthor(r.Context(), p.ID); err != nil {
				return nil, err
			}
		}
		return &answer{name: "done", title: "Deleted", here: "alerts", body: []string{"All data held on this address has been deleted."}}, nil
	}
	return nil, errNotFound
}
