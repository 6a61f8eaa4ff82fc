package page

import (
	"cmp"
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/subscribe"
)

// owner serves the diary to those who may write it, and shows the door to the
// others.
func (s *site) owner(next func(*http.Request) (*answer, error)) func(*http.Request) (*answer, error) {
	return func(r *http.Request) (*answer, error) {
		switch {
		case s.Diary == nil:
			return nil, errNotFound
		case s.mayWrite(r):
			return next(r)
		case r.Method == http.MethodPost:
			return &answer{name: "error", title: "Not saved", here: "diary", code: http.StatusForbidden, body: "Only the diary's owner can add sightings. Sign in and try again."}, nil
		}
		// The whole address: the river and the insect in its query were chosen.
		return &answer{to: "/enter?to=" + url.QueryEscape(within(r.URL.RequestURI()))}, nil
	}
}

type enterPage struct {
	To    string
	None  bool // no secret is set
	Wrong bool
}

func (s *site) enterForm(r *http.Request) (*answer, error) {
	return &answer{name: "enter", title: "Sign in to the diary", here: "diary", form: true, body: enterPage{To: within(r.URL.Query().Get("to")), None: s.Secret == ""}}, nil
}

func (s *site) enterPost(r *http.Request) (*answer, error) {
	to := within(r.PostForm.Get("to"))
	given, want := sha256.Sum256([]byte(r.PostForm.Get("secret"))), sha256.Sum256([]byte(s.Secret))
	if s.Secret == "" || !hmac.Equal(given[:], want[:]) {
		if s.SignInFailed != nil {
			s.SignInFailed()
		}
		s.log.Warn().Str("network", subscribe.NetworkOf(s.ClientOf(r))).Msg("a wrong secret was entered for the diary")
		return &answer{name: "enter", title: "Sign in to the diary", here: "diary", form: true, code: http.StatusForbidden, body: enterPage{To: to, None: s.Secret == "", Wrong: true}}, nil
	}
	return &answer{to: to, owner: true}, nil
}

type diaryPage struct {
	List         []diary.Sighting
	Names        map[string]string // rivers by short name
	Added        bool
	Trust        map[string]diary.Trust // by author, where the owner set one
	Held         int                    // how many are held back
	Reports      bool                   // readers report
	Recalculated bool                   // the forecast is worked out again by itself
	More         bool
}

// diaryShown is how many sightings the page lists.
const diaryShown = 200

func (s *site) diaryList(r *http.Request) (*answer, error) {
	list, err := s.Diary.List(r.Context(), diary.Filter{})
	if err != nil {
		return nil, err
	}
	sort.SliceStable(list, func(i, j int) bool { return list[j].Day.Compare(list[i].Day) < 0 })
	p := diaryPage{List: list, Names: map[string]string{}, Added: r.URL.Query().Get("added") != "", Reports: s.Reports != nil, Recalculated: s.Changed != nil}
	if len(list) > diaryShown {
		p.List, p.More = list[:diaryShown], true
	}
	for _, x := range list {
		if x.Held {
			p.Held++
		}
	}
	if s.Reports != nil {
		if p.Trust, err = s.Reports.Authors(r.Context()); err != nil {
			return nil, err
		}
	}
	for _, river := range s.Data.Rivers() {
		p.Names[river.Slug] = river.Name
	}
	return &answer{name: "diary", title: "Diary", here: "diary", form: true, body: p}, nil
}

type sightingPage struct {
	Faults             []string
	Date, River, Group string
	Amount             string // chosen with the first tap; empty: not yet
	Name, RiverName    string // of that tap
	Stage, Hours       string
	Water, Notes, Unit string
	Observer, Nonce    string
	Rivers             []choice
	Likely, Others     []choice // groups: those of the day first
	Today, Yesterday   string
}

func (s *site) diaryForm(r *http.Request) (*answer, error) {
	p := sightingPage{Stage: string(forecast.Emergence), Hours: "2"}
	q := r.URL.Query()
	p.River, p.Group = cutTo(q.Get("river"), 80), cutTo(q.Get("group"), 80)
	if st := q.Get("stage"); st == string(forecast.EggLaying) {
		p.Stage = st
	}
	if _, err := time.Parse(time.DateOnly, q.Get("date")); err == nil {
		p.Date = q.Get("date")
	}
	// The first tap, on a page or in a mail, names all that is needed: nothing is
	// written before the second.
	river, ok := s.river(p.River)
	if a := diary.Amount(q.Get("amount")); ok && s.groups[p.Group] != nil && slices.Contains([]diary.Amount{diary.None, diary.Few, diary.Many}, a) {
		p.Amount, p.Name, p.RiverName = string(a), groupName(p.Group), river.Name
	}
	var b [12]byte
	_, _ = rand.Read(b[:]) // never fails: see crypto/rand
	p.Nonce = hex.EncodeToString(b[:])
	return s.sighting(r, p, 0)
}

// likelyShown is how many groups stand as buttons before the list of all.
const likelyShown = 8

func (s *site) sighting(r *http.Request, p sightingPage, code int) (*answer, error) {
	// River and insect are chosen by whoever writes, or by the link they followed;
	// nothing is preset in silence. One river leaves no choice.
	rivers := s.Data.Rivers()
	if _, ok := s.river(p.River); !ok {
		if p.River = ""; len(rivers) == 1 {
			p.River = rivers[0].Slug
		}
	}
	zone := time.UTC
	for _, river := range rivers {
		p.Rivers = append(p.Rivers, choice{river.Slug, river.Name, river.Slug == p.River})
		if z, err := time.LoadLocation(river.Zone); err == nil && river.Slug == p.River {
			zone = z
		}
	}
	now := s.Now().In(zone)
	p.Today, p.Yesterday = now.Format(time.DateOnly), now.AddDate(0, 0, -1).Format(time.DateOnly)
	if p.Date == "" {
		p.Date = p.Today
	}
	p.Unit = "°C"
	if unitWord(unitsOf(r.Context())) == "us" {
		p.Unit = "°F"
	}
	type ranked struct {
		choice
		p float64
	}
	var all []ranked
	best := map[string]float64{}
	for _, river := range rivers {
		st, err := s.Data.State(r.Context(), river.Slug)
		if err != nil || st == nil || st.Outlook == nil || p.River != "" && river.Slug != p.River {
			continue
		}
		for i := range st.Outlook.Stages {
			x := &st.Outlook.Stages[i]
			d, _ := x.On(forecast.DateOf(now))
			best[x.Group] = max(best[x.Group], d.P)
		}
	}
	for key, p := range best {
		all = append(all, ranked{choice{Key: key, Name: groupName(key)}, p})
	}
	if len(all) == 0 {
		for key := range s.groups {
			all = append(all, ranked{choice{Key: key, Name: groupName(key)}, 0})
		}
	}
	sort.Slice(all, func(i, j int) bool {
		a, b := all[i], all[j]
		return cmp.Or(cmp.Compare(b.p, a.p), strings.Compare(a.Name, b.Name)) < 0
	})
	for i, x := range all {
		x.On = x.Key == p.Group
		if i < likelyShown || x.On {
			p.Likely = append(p.Likely, x.choice)
		} else {
			p.Others = append(p.Others, x.choice)
		}
	}
	sort.Slice(p.Others, func(i, j int) bool { return p.Others[i].Name < p.Others[j].Name })
	return &answer{name: "sighting", title: "Record a sighting", here: "diary", form: true, code: code, body: p}, nil
}

func (s *site) diaryPost(r *http.Request) (*answer, error) {
	f := r.PostForm
	group := f.Get("group")
	if other := f.Get("other"); other != "" {
		group = other
	}
	p := sightingPage{Date: f.Get("date"), River: f.Get("river"), Group: cutTo(group, 80), Stage: f.Get("stage"), Hours: f.Get("hours"),
		Water: f.Get("water"), Notes: f.Get("notes"), Observer: f.Get("observer"), Nonce: f.Get("nonce")}
	x := diary.Sighting{River: p.River, Group: p.Group, Stage: p.Stage, Amount: diary.Amount(f.Get("amount")), Notes: strings.TrimSpace(p.Notes), Observer: strings.TrimSpace(p.Observer)}
	// The same form sent twice, as from a phone that lost its net, is one sighting.
	sum := sha256.Sum256([]byte("form\x00" + p.Nonce))
	x.ID = hex.EncodeToString(sum[:8])
	if len(p.Nonce) < 16 {
		p.Faults = append(p.Faults, "The form was incomplete. Reload the page and try again.")
	}
	var err error
	if x.Day, err = time.Parse(time.DateOnly, p.Date); err != nil {
		p.Faults = append(p.Faults, "Date: use year-month-day, e.g. 2026-06-30.")
	}
	if x.Hours, err = strconv.ParseFloat(strings.ReplaceAll(p.Hours, ",", "."), 64); err != nil {
		p.Faults = append(p.Faults, "Hours: enter a number, e.g. 1.5.")
	}
	if w := strings.TrimSpace(strings.ReplaceAll(p.Water, ",", ".")); w != "" {
		v, err := strconv.ParseFloat(w, 64)
		if err != nil {
			p.Faults = append(p.Faults, "Water temperature: enter a number.")
		}
		if f.Get("unit") == "°F" {
			v = (v - 32) / 1.8
		}
		x.WaterC = &v
	}
	if _, ok := s.river(p.River); !ok {
		p.Faults = append(p.Faults, "River: choose one from the list.")
	}
	if s.groups[p.Group] == nil {
		p.Faults = append(p.Faults, "Insect: choose one from the list.")
	}
	if len(p.Faults) == 0 {
		if err := x.Check(s.Now()); err != nil {
			for line := range strings.SplitSeq(err.Error(), "\n") {
				p.Faults = append(p.Faults, forecast.UpperFirst(line)+".")
			}
		}
	}
	if len(p.Faults) > 0 {
		return s.sighting(r, p, http.StatusUnprocessableEntity)
	}
	if _, err := s.Diary.Import(r.Context(), []diary.Sighting{x}); err != nil {
		return nil, err
	}
	s.changed(r, x.River)
	return &answer{to: "/diary?added=1"}, nil
}

// diaryHold keeps a sighting out of the forecast, or lets it in.
func (s *site) diaryHold(r *http.Request) (*answer, error) {
	if s.Reports == nil {
		return nil, errNotFound
	}
	err := s.Reports.Hold(r.Context(), cutTo(r.PostForm.Get("id"), 64), r.PostForm.Get("do") == "hold")
	if err != nil && !errors.Is(err, db.ErrNotFound) {
		return nil, err
	}
	s.changed(r, cutTo(r.PostForm.Get("river"), 80))
	return &answer{to: "/diary"}, nil
}

// diaryTrust says how all of one author's reports are treated.
func (s *site) diaryTrust(r *http.Request) (*answer, error) {
	author, trust := cutTo(r.PostForm.Get("author"), 80), diary.Trust(r.PostForm.Get("trust"))
	if s.Reports == nil || author == "" || trust != diary.DefaultTrust && trust != diary.Trusted && trust != diary.Blocked {
		return nil, errNotFound
	}
	if err := s.Reports.SetTrust(r.Context(), author, trust); err != nil {
		return nil, err
	}
	for _, river := range s.Data.Rivers() {
		s.changed(r, river.Slug)
	}
	return &answer{to: "/diary"}, nil
}

// changed tells those who show or learn from the diary.
func (s *site) changed(r *http.Request, river string) {
	s.written.Add(1)
	if s.Changed != nil {
		s.Changed(r.Context(), river)
	}
}

func (s *site) diaryWithdraw(r *http.Request) (*answer, error) {
	id := cutTo(r.PostForm.Get("id"), 64)
	list, err := s.Diary.List(r.Context(), diary.Filter{})
	if err != nil {
		return nil, err
	}
	for _, x := range list {
		if x.ID == id {
			if err := s.Diary.Withdraw(r.Context(), id); err != nil {
				return nil, err
			}
			s.changed(r, x.River)
		}
	}
	return &answer{to: "/diary"}, nil
}
