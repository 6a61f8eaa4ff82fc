package page

import (
	"bytes"
	"fmt"
	"io"
	"net/http"
	"slices"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/forecast/verdict"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/syndicate"
)

// feed serves what programs fetch again and again: with a tag, packed, for any site.
func (s *site) feed(kind string, write func(io.Writer, *http.Request) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		r = s.withUnits(w, r)
		var b bytes.Buffer
		if err := write(&b, r); err != nil {
			s.fail(w, r, err)
			return
		}
		f := &finished{body: b.Bytes()}
		f.pack()
		f.sendTo(w, r, kind)
	}
}

// keptFeed is feed for what is judged anew no more often than a page: a hundred
// calendars that are fetched each quarter of an hour would be most of a server's work.
func (s *site) keptFeed(kind string, write func(io.Writer, *http.Request) error) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		r = s.withUnits(w, r)
		key, err := s.key(r)
		if err != nil {
			s.fail(w, r, err)
			return
		}
		f := s.pages.get(key+" "+r.URL.RawQuery, func() ([]byte, error) {
			var b bytes.Buffer
			err := write(&b, r)
			return b.Bytes(), err
		})
		if f.err != nil {
			s.fail(w, r, f.err)
			return
		}
		f.sendTo(w, r, kind)
	}
}

// sendTo sends to programs of any site.
func (f *finished) sendTo(w http.ResponseWriter, r *http.Request, kind string) {
	h := w.Header()
	h.Set("Access-Control-Allow-Origin", "*")
	h.Set("Cross-Origin-Resource-Policy", "cross-origin")
	f.send(w, r, kind, "Accept-Encoding, Cookie") // the cookie has the units
}

// root is the address of the pages without a slash at its end.
func (s *site) root() string { return strings.TrimSuffix(s.PublicURL, "/") }

// news is what calendars and feeds tell of a river.
func (s *site) news(r *http.Request, river forecast.River, groups []string) (syndicate.RiverNews, error) {
	n := syndicate.RiverNews{River: river, URL: s.root() + "/river/" + river.Slug}
	h, st, err := s.head(r, river)
	if err != nil || st == nil {
		return n, err
	}
	n.Outlook = st.Outlook
	if s.Windows != nil {
		if n.Windows, err = s.Windows(r.Context(), river.Slug); err != nil {
			return n, fmt.Errorf("reading the published windows of %s: %w", river.Slug, err)
		}
	}
	if len(n.Windows) == 0 {
		n.Windows = syndicate.WindowsOf(st.Outlook, syndicate.Matters(st.Outlook, s.Catalogue.Group))
	}
	n.Windows = syndicate.Listed(n.Windows, groups, h.Today)
	v := verdict.Of(verdict.Question{Now: s.Now(), Units: unitsOf(r.Context())}, []trip.River{{Outlook: st.Outlook, Flows: st.Flows, Caution: &h.judged}}, s.Catalogue.Group)
	n.Answer, n.Caution = v.Rivers[0].Heading(), h.judged.Format(unitsOf(r.Context()))
	return n, nil
}

// asksForRiver is the river of the address.
func (s *site) asksForRiver(r *http.Request) (forecast.River, error) {
	river, ok := s.river(r.PathValue("slug"))
	if !ok {
		return river, errNotFound
	}
	return river, nil
}

func (s *site) riverCalendar(w io.Writer, r *http.Request) error {
	river, err := s.asksForRiver(r)
	if err != nil {
		return err
	}
	n, err := s.news(r, river, nil)
	if err != nil {
		return err
	}
	return syndicate.WriteCalendar(w, river.Name+": hatches and egg-laying", s.root()+r.URL.Path, []syndicate.RiverNews{n})
}

// wishCalendar has the rivers and the insects that the address names, or all rivers and
// the few insects that matter.
func (s *site) wishCalendar(w io.Writer, r *http.Request) error {
	q := r.URL.Query()
	var all []syndicate.RiverNews
	for _, river := range s.Data.Rivers() {
		if len(q["river"]) > 0 && !slices.Contains(q["river"], river.Slug) {
			continue
		}
		n, err := s.news(r, river, q["group"])
		if err != nil {
			return err
		}
		all = append(all, n)
	}
	var names []string
	for _, key := range q["group"] {
		if s.groups[key] == nil {
			return errNotFound
		}
		names = append(names, groupName(key))
	}
	title := "Hatches and egg-laying"
	if len(names) > 0 {
		title += ": " + strings.Join(names[:min(3, len(names))], ", ")
	}
	return syndicate.WriteCalendar(w, title, s.root()+r.URL.RequestURI(), all)
}

func (s *site) riverAtom(w io.Writer, r *http.Request) error {
	river, err := s.asksForRiver(r)
	if err != nil {
		return err
	}
	n, err := s.news(r, river, nil)
	if err != nil {
		return err
	}
	return syndicate.WriteAtom(w, s.root()+r.URL.Path, s.credits, n, s.Now())
}

// message is a river's caution in CAP. That of a river of which nothing is known is
// unknown, and published like any other.
func (s *site) message(r *http.Request, river forecast.River) (syndicate.CAPMessage, error) {
	h, st, err := s.head(r, river)
	if err != nil {
		return syndicate.CAPMessage{}, err
	}
	c := h.judged
	if st == nil {
		c = wading.Assess(wading.Input{At: s.Now(), Zone: forecast.ZoneOf(river.Zone), Regulated: river.Regulated})
	}
	return syndicate.CAPOf(syndicate.CAPSender{Address: s.root() + "/", Invented: s.OwnClock}, river, c, s.root()+"/river/"+river.Slug, s.Now()), nil
}

func (s *site) riverCAP(w io.Writer, r *http.Request) error {
	river, err := s.asksForRiver(r)
	if err != nil {
		return err
	}
	m, err := s.message(r, river)
	if err != nil {
		return err
	}
	return syndicate.WriteCAP(w, m)
}

func (s *site) cautionList(w io.Writer, r *http.Request) error {
	var all []syndicate.CautionLink
	for _, river := range s.Data.Rivers() {
		m, err := s.message(r, river)
		if err != nil {
			return err
		}
		all = append(all, syndicate.CautionLink{Address: s.root() + "/river/" + river.Slug + "/caution.xml", Message: m})
	}
	return syndicate.WriteCautionList(w, s.root()+r.URL.Path, all, s.Now())
}
