package page

import (
	"crypto/hmac"
	"crypto/rand"
	"crypto/sha256"
	"encoding/base64"
	"net"
	"net/http"
	"net/netip"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"example.org/eclose/notify/subscribe"
)

// policy lets a page load its own files and nothing else. Inside the page it
// allows one thing: the one style sheet whose hash it names.
func policy(style string) string {
	return "default-src 'none'; style-src '" + style + "'; script-src 'self'; img-src 'self'; connect-src 'self'; worker-src 'self'; manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
}

// guard stands before every page: headers, sizes, rates, time.
func (s *site) guard(next http.Handler) http.Handler {
	slow := http.TimeoutHandler(next, s.Timeout, "This took too long. Try again in a few minutes.\n")
	cross := http.NewCrossOriginProtection()
	allowed := policy(s.assets.hash)
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", allowed)
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer") // links of mails hold tokens
		h.Set("Permissions-Policy", "camera=(), microphone=(), geolocation=(), payment=()")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		if s.secure() {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		refuse := func(code int, why string) { http.Error(w, why, code) }
		network := subscribe.NetworkOf(s.ClientOf(r))
		switch {
		case len(r.URL.RequestURI()) > maxURL:
			refuse(http.StatusRequestURITooLong, "This address is too long.")
			return
		case r.Method != http.MethodGet && r.Method != http.MethodHead && r.Method != http.MethodPost:
			h.Set("Allow", "GET, HEAD, POST")
			refuse(http.StatusMethodNotAllowed, "Only GET and POST are served.")
			return
		case !s.limits.Allow(network), r.Method == http.MethodPost && !s.posts.Allow(network):
			h.Set("Retry-After", "10")
			refuse(http.StatusTooManyRequests, "Too many requests. Wait ten seconds and reload.")
			return
		}
		if r.Method == http.MethodPost && !strings.HasPrefix(r.URL.Path, "/unsubscribe/") && !strings.HasPrefix(r.URL.Path, "/never/") {
			if err := cross.Check(r); err != nil {
				refuse(http.StatusForbidden, "This form was submitted from another site and was rejected.")
				return
			}
		}
		r.Body = http.MaxBytesReader(w, r.Body, maxBody)
		slow.ServeHTTP(w, r)
	})
}

// Remote is the address at the other end of the connection.
func Remote(r *http.Request) netip.Addr {
	a, err := netip.ParseAddrPort(r.RemoteAddr)
	if err != nil {
		return netip.Addr{}
	}
	return a.Addr().Unmap()
}

// A Limiter counts requests by network. It forgets all when too many networks
// were seen: memory is bounded, and whoever floods it gains one more burst.
type Limiter struct {
	mu    sync.Mutex
	each  rate.Limit
	burst int
	by    map[string]*rate.Limiter
}

const maxNetworks = 20000

// NewLimiter lets each network make so many requests a second over a while, and a
// burst at once.
func NewLimiter(perSecond float64, burst int) *Limiter {
	return &Limiter{each: rate.Limit(perSecond), burst: burst, by: map[string]*rate.Limiter{}}
}

// Allow reports whether a network may make one more request now.
func (l *Limiter) Allow(network string) bool {
	l.mu.Lock()
	x := l.by[network]
	if x == nil {
		if len(l.by) >= maxNetworks {
			clear(l.by)
		}
		x = rate.NewLimiter(l.each, l.burst)
		l.by[network] = x
	}
	l.mu.Unlock()
	return x.Allow()
}

// Forms carry a mark made from a random cookie under our key: another site can
// neither read the cookie nor make the mark.
const (
	formCookie  = "eclose_form"
	ownerCookie = "eclose_owner"
	formField   = "mark"
	cookieLife  = 60 * 24 * time.Hour
)

// mark returns the mark for a browser's forms, and gives it a cookie if it has
// none.
func (s *site) mark(w http.ResponseWriter, r *http.Request) string {
	if c, err := r.Cookie(formCookie); err == nil && len(c.Value) == 22 {
		return s.sign("form", c.Value)
	}
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails: see crypto/rand
	v := base64.RawURLEncoding.EncodeToString(b[:])
	s.setCookie(w, formCookie, v)
	return s.sign("form", v)
}

func (s *site) marked(r *http.Request) bool {
	c, err := r.Cookie(formCookie)
	return err == nil && hmac.Equal([]byte(r.PostFormValue(formField)), []byte(s.sign("form", c.Value)))
}

func (s *site) sign(what, v string) string {
	h := hmac.New(sha256.New, s.Key)
	h.Write([]byte(what + "\x00" + v))
	return base64.RawURLEncoding.EncodeToString(h.Sum(nil)[:18])
}

func (s *site) setCookie(w http.ResponseWriter, name, value string) {
	http.SetCookie(w, &http.Cookie{Name: name, Value: value, Path: "/", MaxAge: int(cookieLife.Seconds()), HttpOnly: true, Secure: s.secure(), SameSite: http.SameSiteStrictMode})
}

// mayWrite says whether the diary may be read and written by this request: with
// the secret; or from a browser on this machine, asked for by its own name so
// that no other site's name can lead here, with no proxy between. Pages that are
// offered to others always ask for the secret: a proxy need not say that it is
// one.
func (s *site) mayWrite(r *http.Request) bool {
	if c, err := r.Cookie(ownerCookie); err == nil && s.Secret != "" {
		until, sig, ok := strings.Cut(c.Value, ".")
		at, err := strconv.ParseInt(until, 10, 64)
		if ok && err == nil && time.Unix(at, 0).After(s.Now()) && hmac.Equal([]byte(sig), []byte(s.sign("owner "+s.Secret, until))) {
			return true
		}
	}
	if !s.here() {
		return false
	}
	for _, h := range []string{"Forwarded", "X-Forwarded-For", "X-Real-Ip", "Via"} {
		if r.Header.Get(h) != "" {
			return false
		}
	}
	host := r.Host
	if h, _, err := net.SplitHostPort(host); err == nil {
		host = h
	}
	ip, err := netip.ParseAddr(strings.Trim(host, "[]"))
	named := host == "localhost" || err == nil && ip.IsLoopback()
	return named && Remote(r).IsLoopback()
}

// here says whether the pages are offered to this machine alone.
func (s *site) here() bool {
	u, err := url.Parse(s.PublicURL)
	if err != nil || s.PublicURL == "" {
		return err == nil
	}
	ip, err := netip.ParseAddr(u.Hostname())
	return u.Hostname() == "localhost" || err == nil && ip.IsLoopback()
}

// enter gives a browser the owner's cookie.
func (s *site) enter(w http.ResponseWriter) {
	until := strconv.FormatInt(s.Now().Add(cookieLife).Unix(), 10)
	s.setCookie(w, ownerCookie, until+"."+s.sign("owner "+s.Secret, until))
}

// within returns p if it is a path of this site, and "/" otherwise: a form must
// not lead anybody elsewhere.
func within(p string) string {
	u, err := url.Parse(p)
	if err != nil || u.IsAbs() || u.Host != "" || u.User != nil || !strings.HasPrefix(p, "/") || strings.HasPrefix(p, "//") || strings.ContainsAny(p, "\\\r\n\t") {
		return "/"
	}
	return p
}
