package page

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"io/fs"
	"net/http"
	"net/netip"
	"strings"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/health"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/diary"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/subscribe"
	"example.org/eclose/notify/syndicate"
)

// Data is what the pages show. Its methods are called at each request, by many
// at once, so they answer from memory.
type Data interface {
	// Rivers in the order of the config.
	Rivers() []forecast.River
	// State is the newest that is known of a river; nil if nothing is yet.
	State(ctx context.Context, slug string) (*State, error)
	// Feeds is how fresh each source is.
	Feeds(ctx context.Context) ([]Feed, error)
}

// State is what is known of a river. It is never changed: a newer one takes its
// place.
type State struct {
	Outlook *forecast.Outlook // as Load says; nil: none was issued
	// Load reads the whole forecast of which Outlook is the brief; nil: Outlook is whole.
	Load    func(context.Context) (*forecast.Outlook, error)
	Caution wading.Caution
	// CautionAt is when the caution was judged; its readings were as old then as
	// they say.
	CautionAt time.Time
	Flows     *trip.Flows // nil: none known
	// Warnings are the official warnings as the caution knew them.
	Warnings wading.Warnings
	Problem  string // why there is no newer one; empty: none
}

// Judged is the caution as it stands at a moment: one whose readings have grown too
// old, or that nobody has judged for a while, is unknown.
func (st *State) Judged(now time.Time) wading.Caution {
	if st.Caution.Known && now.After(st.Caution.Until) || now.Sub(st.CautionAt) > judgedFor {
		return st.Caution.Expired()
	}
	return st.Caution
}

// Feed is one source of one river.
type Feed struct {
	River, Feed, Site string
	What              string    // its variables, in words
	Newest            time.Time // of the readings; zero: none
	Retrieved         time.Time // last asked with success; zero: never
	Problem           string    // of the last request; empty: none
}

// Subscriptions is the part of subscribe.Store that the pages need.
type Subscriptions interface {
	Ask(context.Context, subscribe.Request) (*subscribe.Invitation, error)
	Peek(ctx context.Context, token string) (subscribe.Request, error)
	Confirm(ctx context.Context, token, network string) (subscribe.Person, error)
	Unsubscribe(ctx context.Context, token string) error
	Managed(ctx context.Context, token string) (subscribe.Person, error)
	Pause(ctx context.Context, address string, until time.Time) error
	Delete(ctx context.Context, address string) (bool, error)
	Export(ctx context.Context, address string) ([]byte, error)
	Remove(ctx context.Context, address string) error
	Manage(person string) string
	Never(ctx context.Context, token string) error
}

// Diary is the part of diary.Store that the pages need.
type Diary interface {
	List(context.Context, diary.Filter) ([]diary.Sighting, error)
	Import(context.Context, []diary.Sighting) (diary.Imported, error)
	Withdraw(ctx context.Context, id string) error
}

// Options of the pages. Data, Catalogue and Now are needed, the rest may be
// left out together with what it serves.
type Options struct {
	Data      Data
	Catalogue *insects.Catalogue
	Now       func() time.Time
	// OwnClock reports that Now is not the time of readers, as in a demo: their browsers
	// cannot tell whether a caution has run out.
	OwnClock bool

	Diary   Diary                                   // nil: no diary
	Changed func(ctx context.Context, river string) // after the diary changed

	Reports Reports     // readers' reports; nil: none are taken
	Links   ReportLinks // signs their links; nil: none are taken

	Subscribe Subscriptions                                      // nil: no subscriptions
	Invite    func(context.Context, *subscribe.Invitation) error // hands the confirmation mail over

	// Windows are the windows of a river as calendars and feeds last showed them; nil, or
	// none of a river: those of its newest outlook.
	Windows func(ctx context.Context, river string) ([]syndicate.PublishedWindow, error)

	BacktestFiles fs.FS // files of the backtest, backtest.txt with its plain sentence first; nil: none

	PublicURL string // root of the pages as others see it; https makes cookies secure
	Secret    string // lets a browser that is not on this machine write the diary; empty: none may
	Key       []byte // signs forms and cookies; empty: a new one, so that a restart ends them
	US        bool   // first choice of units
	Notice    string // at the head of every page; empty: none
	// Owners tell whose data a feed has, where that is not the agency.
	Owners map[string]string
	// Checks are what the operator's page shows; nil: there is none.
	Checks func(context.Context) []health.Check
	// SignInFailed is called at each wrong secret; may be nil.
	SignInFailed func()
	// PerSecond is how many requests a second one network may make over a while;
	// 0: DefaultPerSecond.
	PerSecond float64
	// Timeout is how long a page may take; 0: DefaultTimeout.
	Timeout time.Duration
	// ClientOf tells whose request it is, where a proxy stands in front.
	ClientOf func(*http.Request) netip.Addr
	Log      *zerolog.Logger // nil: none
}

// Bounds of what one request may cost; our own.
const (
	DefaultPerSecond = 20
	burst            = 5 // times PerSecond
	maxBody          = 64 << 10
	maxURL           = 4 << 10
	defaultTimeout   = 10 * time.Second
)

// site is the pages at work.
type site struct {
	Options
	groups   map[string]*insects.Group
	limits   *Limiter
	posts    *Limiter
	pages    *cache
	written  counter // changes of the diary since the start
	drawings drawings
	assets   assets
	credits  string
	log      zerolog.Logger
}

// Pages handle all requests of readers.
type Pages struct {
	http.Handler
	site *site
}

// New returns the pages.
func New(o Options) (*Pages, error) {
	if o.Data == nil || o.Catalogue == nil || o.Now == nil {
		return nil, errors.New("pages: Data, Catalogue and Now are required")
	}
	if o.Subscribe != nil && o.Invite == nil {
		return nil, errors.New("pages: Subscribe needs Invite")
	}
	if len(o.Key) == 0 {
		o.Key = make([]byte, 32)
		_, _ = rand.Read(o.Key) // never fails: see crypto/rand
	}
	if o.PerSecond == 0 {
		o.PerSecond = DefaultPerSecond
	}
	if o.Timeout == 0 {
		o.Timeout = defaultTimeout
	}
	if o.ClientOf == nil {
		o.ClientOf = Remote
	}
	s := &site{Options: o, groups: map[string]*insects.Group{}, pages: newCache(maxCache), log: zerolog.Nop(),
		limits: NewLimiter(o.PerSecond, int(o.PerSecond*burst)+1), posts: NewLimiter(0.5, 20)}
	if o.Log != nil {
		s.log = *o.Log
	}
	s.credits = Credits(o.Data.Rivers(), o.Owners)
	all := o.Catalogue.Groups()
	for i := range all {
		s.groups[all[i].Key] = &all[i]
	}
	var err error
	if s.assets, err = loadAssets(); err != nil {
		return nil, fmt.Errorf("pages: %w", err)
	}
	return &Pages{Handler: s.guard(s.routes()), site: s}, nil
}

func (s *site) routes() http.Handler {
	mux := http.NewServeMux()
	mux.HandleFunc("GET /{$}", s.kept(s.home))
	mux.HandleFunc("GET /river/{slug}", s.kept(s.riverPage))
	mux.HandleFunc("GET /river/{slug}/season", s.kept(s.season))
	mux.HandleFunc("GET /river/{slug}/water", s.kept(s.water))
	mux.HandleFunc("GET /river/{slug}/day/{date}", s.kept(s.day))
	mux.HandleFunc("GET /river/{slug}/sheet.html", s.live(s.sheet))
	mux.HandleFunc("GET /river/{slug}/calendar.ics", s.keptFeed("text/calendar; charset=utf-8", s.riverCalendar))
	mux.HandleFunc("GET /river/{slug}/feed.atom", s.keptFeed("application/atom+xml", s.riverAtom))
	mux.HandleFunc("GET /river/{slug}/caution.xml", s.feed("application/cap+xml", s.riverCAP))
	mux.HandleFunc("GET /calendar.ics", s.keptFeed("text/calendar; charset=utf-8", s.wishCalendar))
	mux.HandleFunc("GET /cautions.atom", s.feed("application/atom+xml", s.cautionList))
	mux.HandleFunc("GET /trip", s.live(s.trip))
	mux.HandleFunc("GET /trip.ics", s.tripCalendar)
	mux.HandleFunc("GET /record", s.kept(s.record))
	mux.HandleFunc("GET /record/{file}", s.reportFile)
	mux.HandleFunc("GET /data", s.kept(s.data))
	mux.HandleFunc("GET /about", s.kept(s.about))
	mux.HandleFunc("GET /help", s.kept(s.about))
	mux.HandleFunc("GET /subscribe", s.live(s.subscribeForm))
	mux.HandleFunc("GET /subscribe/asked", s.live(s.asked))
	mux.HandleFunc("POST /subscribe", s.form(s.subscribePost))
	mux.HandleFunc("GET /confirm/{token}", s.live(s.confirmForm))
	mux.HandleFunc("POST /confirm/{token}", s.form(s.confirmPost))
	mux.HandleFunc("GET /unsubscribe/{token}", s.live(s.unsubscribeForm))
	mux.HandleFunc("POST /unsubscribe/{token}", s.live(s.unsubscribePost)) // RFC 8058: no cookie, the token is the key
	mux.HandleFunc("GET /never/{token}", s.live(s.neverForm))
	mux.HandleFunc("POST /never/{token}", s.live(s.neverPost)) // likewise
	mux.HandleFunc("GET /manage/{token}", s.live(s.manageForm))
	mux.HandleFunc("POST /manage/{token}", s.form(s.managePost))
	mux.HandleFunc("GET /diary", s.live(s.owner(s.diaryList)))
	mux.HandleFunc("GET /diary/new", s.live(s.owner(s.diaryForm)))
	mux.HandleFunc("POST /diary", s.form(s.owner(s.diaryPost)))
	mux.HandleFunc("POST /diary/withdraw", s.form(s.owner(s.diaryWithdraw)))
	mux.HandleFunc("POST /diary/hold", s.form(s.owner(s.diaryHold)))
	mux.HandleFunc("POST /diary/trust", s.form(s.owner(s.diaryTrust)))
	mux.HandleFunc("GET /saw", s.live(s.visit))
	mux.HandleFunc("GET /report/{token}", s.live(s.byLink(s.reportForm)))
	mux.HandleFunc("POST /report/{token}", s.live(s.byLink(s.reportPost))) // the token is the key
	mux.HandleFunc("GET /my/{token}", s.live(s.byLink(s.phone)))
	mux.HandleFunc("POST /my/{token}", s.live(s.byLink(s.phonePost))) // likewise
	mux.HandleFunc("GET /status", s.live(s.owner(s.status)))
	mux.HandleFunc("GET /enter", s.live(s.enterForm))
	mux.HandleFunc("POST /enter", s.form(s.enterPost))
	mux.HandleFunc("GET /assets/{name}", s.asset)
	mux.HandleFunc("GET /sw.js", s.worker)
	mux.HandleFunc("GET /app.webmanifest", s.manifest)
	mux.HandleFunc("GET /favicon.ico", s.icon)
	mux.HandleFunc("GET /robots.txt", func(w http.ResponseWriter, _ *http.Request) {
		w.Header().Set("Content-Type", "text/plain; charset=utf-8")
		fmt.Fprint(w, "User-agent: *\nDisallow: /confirm/\nDisallow: /unsubscribe/\nDisallow: /manage/\nDisallow: /report/\nDisallow: /my/\nDisallow: /saw\nDisallow: /diary\nDisallow: /status\n")
	})
	mux.HandleFunc("/", s.live(func(*http.Request) (*answer, error) { return nil, errNotFound }))
	return mux
}

// river finds a river by its short name.
func (s *site) river(slug string) (forecast.River, bool) {
	for _, r := range s.Data.Rivers() {
		if r.Slug == slug {
			return r, true
		}
	}
	return forecast.River{}, false
}

func (s *site) secure() bool { return strings.HasPrefix(s.PublicURL, "https://") }
