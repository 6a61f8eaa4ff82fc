package client

import (
	"context"
	"crypto/tls"
	"errors"
	"fmt"
	"io"
	"maps"
	"math/rand/v2"
	"net/http"
	"net/url"
	"strings"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"example.org/eclose/ingest"
)

// Options say how polite and how patient a Client is. Only UserAgent is
// compulsory; every other zero value stands for the default named beside it.
// The defaults are our own.
type Options struct {
	UserAgent string                                     // program and contact, as api.weather.gov demands
	PerSecond float64                                    // requests a second to one host; 1
	PerHost   map[string]float64                         // host (with port, if any) -> requests a second, where it differs
	MaxBody   int64                                      // bytes of one answer after unpacking; 64 MiB
	Timeout   time.Duration                              // for one try, body included; 60 s
	Deadline  time.Duration                              // for all tries of one Get; 5 min
	Retries   int                                        // tries after the first; 3. Negative: none
	Backoff   time.Duration                              // pause before the first retry, doubled each time; 2 s
	MaxWait   time.Duration                              // longest pause a server may ask for before we give up for now; 2 min
	Log       func(Event)                                // called for every try; nil: silent
	Transport http.RoundTripper                          // nil: the standard one, TLS verified
	Now       func() time.Time                           // nil: time.Now
	Sleep     func(context.Context, time.Duration) error // nil: a timer that ctx can cut short
	Jitter    func() float64                             // in [0,1); nil: math/rand
}

// Client fetches. It is safe for concurrent use; requests to one host go out
// one at a time.
type Client struct {
	o     Options
	http  *http.Client
	mu    sync.Mutex
	hosts map[string]*host
}

// host is what the client knows of one host.
type host struct {
	turn    chan struct{} // holds one token: one request at a time
	limiter *rate.Limiter
	mu      sync.Mutex
	until   time.Time // the host asked us to stay away until then
}

// Request is one GET.
type Request struct {
	Feed   string      // for messages
	URL    string      // from config, or a link of the same origin (see Next)
	Header http.Header // not secret
	Secret Secret      // sent if Host matches
	Types  []string    // accepted media types, such as "application/json"; empty: any. Also sent as Accept
}

// Secret is a header that goes to one host only and into no message.
type Secret struct {
	Host   string // host, with port if any, of the configured base URL
	Header string // "X-Api-Key"
	Value  string
}

// Response is a whole answer, already read, unpacked and within its limits.
type Response struct {
	Body   io.Reader // never nil
	Size   int64     // bytes of Body
	Header http.Header
	Status int
	URL    string
}

// Event is one try, for the log. It holds no secret.
type Event struct {
	Feed, URL string
	Try       int // from 1
	Status    int // 0 if none came
	Bytes     int64
	Took      time.Duration
	Wait      time.Duration // pause before the next try; 0 if there is none
	Err       error
}

// StatusError is the cause inside an *ingest.Error when the server answered
// with a status other than 200. Body is the start of the answer.
type StatusError struct {
	Code int
	Body []byte
}

func (e *StatusError) Error() string {
	return fmt.Sprintf("status %d %s", e.Code, http.StatusText(e.Code))
}

// New builds a Client.
func New(o Options) (*Client, error) {
	if strings.TrimSpace(o.UserAgent) == "" {
		return nil, errors.New("feed client: User-Agent is empty; agencies ask for a program name and contact")
	}
	def(&o.PerSecond, 1)
	def(&o.MaxBody, 64<<20)
	def(&o.Timeout, time.Minute)
	def(&o.Deadline, 5*time.Minute)
	def(&o.Retries, 3)
	def(&o.Backoff, 2*time.Second)
	def(&o.MaxWait, 2*time.Minute)
	if o.Now == nil {
		o.Now = time.Now
	}
	if o.Sleep == nil {
		o.Sleep = sleep
	}
	if o.Jitter == nil {
		o.Jitter = rand.Float64
	}
	if o.Log == nil {
		o.Log = func(Event) {}
	}
	if o.Transport == nil {
		t := http.DefaultTransport.(*http.Transport).Clone()
		t.DisableCompression = true // we unpack ourselves, under a cap
		t.MaxResponseHeaderBytes = 256 << 10
		t.TLSClientConfig = &tls.Config{MinVersion: tls.VersionTLS12}
		o.Transport = t
	}
	c := &Client{o: o, hosts: map[string]*host{}}
	c.http = &http.Client{Transport: o.Transport, CheckRedirect: stayHome}
	return c, nil
}

func def[T int | int64 | float64 | time.Duration](v *T, d T) {
	if *v == 0 {
		*v = d
	}
}

func sleep(ctx context.Context, d time.Duration) error {
	t := time.NewTimer(d)
	defer t.Stop()
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-t.C:
		return nil
	}
}

func (c *Client) host(name string) *host {
	c.mu.Lock()
	defer c.mu.Unlock()
	h := c.hosts[name]
	if h == nil {
		per := c.o.PerSecond
		if p, ok := c.o.PerHost[name]; ok {
			per = p
		}
		h = &host{turn: make(chan struct{}, 1), limiter: rate.NewLimiter(rate.Limit(per), 1)}
		h.turn <- struct{}{}
		c.hosts[name] = h
	}
	return h
}

// Get fetches one answer, trying again where that may help. Every error is an
// *ingest.Error; its cause may be a *StatusError.
func (c *Client) Get(ctx context.Context, req Request) (*Response, error) {
	where := redact(req.URL, req.Secret.Value)
	fail := func(problem, hint string, err error) *ingest.Error {
		return &ingest.Error{Feed: req.Feed, Where: where, Problem: problem, Hint: hint, Err: err}
	}
	u, err := url.Parse(req.URL)
	if err != nil || u.Host == "" || (u.Scheme != "https" && u.Scheme != "http") {
		return nil, fail("is not an http or https URL", "check base-url in the config", nil)
	}
	if u.User != nil {
		return nil, fail("carries a user name or password", "set keys in key-file, never in a URL", nil)
	}
	ctx, cancel := context.WithTimeout(ctx, c.o.Deadline)
	defer cancel()
	h := c.host(u.Host)
	select {
	case <-h.turn:
		defer func() { h.turn <- struct{}{} }()
	case <-ctx.Done():
		e := fail("timed out waiting for its turn", "", ctx.Err())
		e.Retryable = true
		return nil, e
	}
	deadline, _ := ctx.Deadline()
	for try := 1; ; try++ {
		if e := c.pause(ctx, h, fail); e != nil {
			return nil, e
		}
		start := c.o.Now()
		resp, again, fe := c.once(ctx, u, req, fail)
		ev := Event{Feed: req.Feed, URL: where, Try: try, Took: c.o.Now().Sub(start)}
		if fe == nil {
			ev.Status, ev.Bytes = resp.Status, resp.Size
			c.o.Log(ev)
			return resp, nil
		}
		if s := (*StatusError)(nil); errors.As(fe, &s) {
			ev.Status = s.Code
		}
		ev.Err = fe
		wait := c.backoff(try, fe.Wait)
		if fe.Wait > 0 {
			h.mu.Lock()
			h.until = c.o.Now().Add(fe.Wait)
			h.mu.Unlock()
		}
		if !again || try > c.o.Retries || fe.Wait > c.o.MaxWait || ctx.Err() != nil || time.Now().Add(wait).After(deadline) {
			c.o.Log(ev)
			return nil, fe
		}
		ev.Wait = wait
		c.o.Log(ev)
		if err := c.o.Sleep(ctx, wait); err != nil {
			return nil, fe
		}
	}
}

// backoff is the pause before try+1: doubled each time, spread over half to
// one and a half of that so that many clients do not return in step, and never
// shorter than the server asked for.
func (c *Client) backoff(try int, asked time.Duration) time.Duration {
	d := c.o.Backoff << min(try-1, 10)
	d = time.Duration(float64(d) * (0.5 + c.o.Jitter()))
	if asked > 0 {
		d = asked + time.Duration(c.o.Jitter()*float64(c.o.Backoff))
	}
	return d
}

// pause waits until the host's rate limit, and any Retry-After it sent to an
// earlier request, let us through.
func (c *Client) pause(ctx context.Context, h *host, fail func(string, string, error) *ingest.Error) *ingest.Error {
	now := c.o.Now()
	d := h.limiter.ReserveN(now, 1).DelayFrom(now)
	h.mu.Lock()
	rest := h.until.Sub(now)
	h.mu.Unlock()
	if rest > c.o.MaxWait {
		e := fail("the server asked us to wait "+rest.Round(time.Second).String(), "", nil)
		e.Retryable, e.Wait = true, rest
		return e
	}
	if d = max(d, rest); d <= 0 {
		return nil
	}
	if err := c.o.Sleep(ctx, d); err != nil {
		e := fail("timed out waiting for the rate limit", "", err)
		e.Retryable = true
		return e
	}
	return nil
}

// once is one try. again says whether another may follow at once; that is
// narrower than Retryable, which also covers the next scheduled run.
func (c *Client) once(ctx context.Context, u *url.URL, req Request, fail func(string, string, error) *ingest.Error) (resp *Response, again bool, e *ingest.Error) {
	ctx, cancel := context.WithTimeout(ctx, c.o.Timeout)
	defer cancel()
	r, err := http.NewRequestWithContext(ctx, http.MethodGet, u.String(), nil)
	if err != nil {
		return nil, false, fail("is not a URL", "check base-url in the config", nil)
	}
	maps.Copy(r.Header, req.Header)
	r.Header.Set("User-Agent", c.o.UserAgent)
	r.Header.Set("Accept-Encoding", "gzip")
	if len(req.Types) > 0 {
		r.Header.Set("Accept", strings.Join(req.Types, ", "))
	}
	if req.Secret.Value != "" && req.Secret.Host == u.Host {
		r.Header.Set(req.Secret.Header, req.Secret.Value)
	}
	hr, err := c.http.Do(r)
	if err != nil {
		if re := (*redirectError)(nil); errors.As(err, &re) {
			return nil, false, fail("redirects to "+redact(re.to, req.Secret.Value)+", which is not allowed", "if the agency moved, change base-url in the config", nil)
		}
		e = fail("no answer", "check the network and base-url", cause(err))
		e.Retryable = true
		return nil, true, e
	}
	defer hr.Body.Close() //nolint:errcheck // nothing is lost that read() did not see
	if hr.StatusCode != http.StatusOK {
		return c.refused(hr, req, fail)
	}
	if !typeFits(hr.Header.Get("Content-Type"), req.Types) {
		e = fail(fmt.Sprintf("got %q instead of %s", clean(hr.Header.Get("Content-Type"), 80), strings.Join(req.Types, " or ")), "it may be a maintenance page; open the URL in a browser", nil)
		e.Retryable = true
		return nil, false, e
	}
	b, err := c.read(hr)
	if errors.Is(err, errTooBig) {
		return nil, false, fail(fmt.Sprintf("the response is larger than %d MiB", c.o.MaxBody>>20), "request a shorter period, or raise max-body", nil)
	}
	if err != nil {
		e = fail(fmt.Sprintf("the response ended after %d bytes", b.size), "", cause(err))
		e.Retryable = true
		return nil, true, e
	}
	return &Response{Body: b.reader(), Size: b.size, Header: hr.Header, Status: hr.StatusCode, URL: req.URL}, false, nil
}

// refused turns a status other than 200 into an error that carries the
// server's own first words.
func (c *Client) refused(hr *http.Response, req Request, fail func(string, string, error) *ingest.Error) (*Response, bool, *ingest.Error) {
	b, _ := io.ReadAll(io.LimitReader(hr.Body, 16<<10))
	s := &StatusError{Code: hr.StatusCode, Body: b}
	e := fail("the server refused", "", s)
	if said := clean(hide(string(b), req.Secret.Value), 300); said != "" && !strings.HasPrefix(said, "<") && hr.Header.Get("Content-Encoding") == "" {
		e.Problem = "the server refused: " + said
	}
	switch code := hr.StatusCode; {
	case code == http.StatusTooManyRequests:
		e.Problem, e.Hint = "too many requests", "fetch less often, or use an agency key"
	case code == http.StatusUnauthorized, code == http.StatusForbidden:
		e.Hint = "check the key and the User-Agent in the config"
	case code == http.StatusNotFound:
		e.Hint = "check the site number and base-url"
	case code >= 500:
		e.Hint = "the agency's server failed; stored data are kept and the next run retries"
	}
	e.Retryable = hr.StatusCode == 408 || hr.StatusCode == 425 || hr.StatusCode == 429 || hr.StatusCode >= 500
	if e.Retryable {
		e.Wait = retryAfter(hr.Header.Get("Retry-After"), c.o.Now())
	}
	return nil, e.Retryable, e
}
