package usgs

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"sync"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/response"
)

// DefaultBaseURL is version 1 of the live service. Version 0 answers until
// June 2027 in a shape that the same parser reads.
const DefaultBaseURL = "https://api.waterdata.usgs.gov/ogcapi/v1"

// Getter is what the source needs of the polite client.
type Getter interface {
	Get(context.Context, client.Request) (*client.Response, error)
}

// Config is how the service is reached.
type Config struct {
	Client  Getter
	BaseURL string           // "" for DefaultBaseURL
	Key     string           // optional; sent as X-Api-Key, to the host of BaseURL only
	Limit   int              // features a page; 0 for 10,000
	Now     func() time.Time // compulsory
	Skipped func(ingest.Skipped)
}

// Source asks the live service, or a server that replays its answers.
type Source struct {
	c     Config
	base  *url.URL
	mu    sync.Mutex
	sites map[string]siteFacts
}

// siteFacts are asked for once a day: they hardly change.
type siteFacts struct {
	place  ingest.SiteInfo
	second map[string]bool // ids of series that are not primary where a primary one exists
	asked  time.Time
}

// New checks the configuration.
func New(c Config) (*Source, error) {
	if c.BaseURL == "" {
		c.BaseURL = DefaultBaseURL
	}
	if c.Limit == 0 {
		c.Limit = 10000
	}
	u, err := url.Parse(strings.TrimSuffix(c.BaseURL, "/"))
	if err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") || u.RawQuery != "" {
		return nil, feed.Fault("base-url", "is not an http or https URL without a query", "write for example "+DefaultBaseURL, nil)
	}
	if c.Client == nil || c.Now == nil {
		return nil, errors.New("USGS source: client and clock are required")
	}
	return &Source{c: c, base: u, sites: map[string]siteFacts{}}, nil
}

// Name implements ingest.Source.
func (*Source) Name() string { return FeedName }

// The members that readings need; without geometry and the rest an answer is
// less than half as long.
const readingMembers = "time_series_id,monitoring_location_id,parameter_code,statistic_id,time,value,unit_of_measure,approval_status,qualifier"

// continuousSpan keeps below the 1,100 days that one request for continuous
// values may span.
const continuousSpan = 1000 * 24 * time.Hour

// Fetch implements ingest.Source. Each page of the answer is handed over as it
// comes: pages may split a series.
func (s *Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	site, err := SiteID(req.Site)
	if err != nil {
		return err
	}
	to := req.Until(s.c.Now())
	if !req.From.Before(to) {
		return feed.Fault(site, fmt.Sprintf("the span of time from %s to %s is empty", req.From.Format(time.RFC3339), to.Format(time.RFC3339)), "", nil)
	}
	codes := codesFor(req.Variables)
	channels := wantsChannel(req.Variables)
	if len(codes) == 0 && !channels {
		return nil
	}
	facts, err := s.facts(ctx, site, codes)
	if err != nil {
		return err
	}
	span := ingest.Request{From: req.From, To: to}
	each := func(list []ingest.Series) error {
		var kept []ingest.Series
		for i := range list {
			x := &list[i]
			if facts.second[x.TimeSeries] {
				if s.c.Skipped != nil {
					s.c.Skipped(ingest.Skipped{Site: site, What: "time series " + x.TimeSeries, Why: "the site has a primary one for " + string(x.Variable), Readings: x.Len()})
				}
				continue
			}
			x.Place = facts.place
			kept = append(kept, *x)
		}
		return response.Deliver(kept, span, s.c.Now(), yield)
	}
	q := url.Values{"monitoring_location_id": {site}, "skipGeometry": {"true"}, "limit": {strconv.Itoa(s.c.Limit)}, "f": {"json"}}
	if len(codes) > 0 {
		q.Set("parameter_code", strings.Join(codes, ","))
		q.Set("properties", readingMembers)
		if req.Period == ingest.Daily {
			q.Set(s.timeName(), spanOf(req.From, to.Add(-time.Nanosecond), time.DateOnly))
			if err := s.series(ctx, "daily", q, each); err != nil {
				return err
			}
		} else if err := s.continuous(ctx, q, req.From, to, each); err != nil {
			return err
		}
	}
	if channels {
		q.Del("parameter_code")
		q.Del("properties")
		q.Set(s.timeName(), spanOf(req.From, to, time.RFC3339))
		return s.series(ctx, "channel-measurements", q, each)
	}
	return nil
}

func wantsChannel(vars []ingest.Variable) bool {
	for _, v := range vars {
		if v == ingest.ChannelWidth || v == ingest.ChannelArea || v == ingest.ChannelVelocity {
			return true
		}
	}
	return false
}

func (s *Source) continuous(ctx context.Context, q url.Values, from, to time.Time, each func([]ingest.Series) error) error {
	if from.IsZero() {
		from = to.AddDate(-1, 0, 0) // what the service does, said aloud
	}
	for a := from; a.Before(to); a = a.Add(continuousSpan) {
		b := a.Add(continuousSpan)
		if b.After(to) {
			b = to
		}
		q.Set(s.timeName(), spanOf(a, b, time.RFC3339))
		if err := s.series(ctx, "continuous", q, each); err != nil {
			return err
		}
	}
	return nil
}

// timeName is the name of the parameter for time, which version 0 called time.
func (s *Source) timeName() string {
	if strings.HasSuffix(s.base.Path, "/v0") {
		return "time"
	}
	return "datetime"
}

func spanOf(from, to time.Time, layout string) string {
	a := ".."
	if !from.IsZero() {
		a = from.UTC().Format(layout)
	}
	return a + "/" + to.UTC().Format(layout)
}

func (s *Source) series(ctx context.Context, collection string, q url.Values, each func([]ingest.Series) error) error {
	return s.walk(ctx, collection, q, func(r io.Reader) (page, error) {
		b := newBuilder(Parser{Skipped: s.c.Skipped})
		pg, err := b.read(r)
		if err != nil {
			return pg, err
		}
		list, err := b.finish()
		if err != nil {
			return pg, err
		}
		return pg, each(list)
	})
}

// mostPages stops a server that never says it is done.
const mostPages = 5000

// walk fetches a collection page by page. Every page is checked like the
// first: a later one that fails must not pass for the end. The link to the
// next page is followed word for word, but only on the configured host.
func (s *Source) walk(ctx context.Context, collection string, q url.Values, parse func(io.Reader) (page, error)) error {
	next := s.base.String() + "/collections/" + collection + "/items?" + q.Encode()
	seen := map[string]bool{}
	for n := 1; next != ""; n++ {
		if seen[next] || n > mostPages {
			return feed.Fault(collection, fmt.Sprintf("paging loops at page %d", n), "report it to the agency", nil)
		}
		seen[next] = true
		pg, err := s.get(ctx, next, func(r io.Reader) (page, error) {
			pg, err := parse(r)
			if e, ok := errors.AsType[*ingest.Error](err); ok {
				e.Where = fmt.Sprintf("%s of %s, page %d, %s", collection, s.base.Host, n, e.Where)
			}
			return pg, err
		})
		if err != nil {
			return err
		}
		if next = pg.next; next != "" {
			if next, err = client.Next(FeedName, s.base.String(), next); err != nil {
				return err
			}
		}
	}
	return nil
}

// get asks for one page. The key goes to the configured host only.
func (s *Source) get(ctx context.Context, address string, parse func(io.Reader) (page, error)) (page, error) {
	resp, err := s.c.Client.Get(ctx, client.Request{Feed: FeedName, URL: address,
		Secret: client.Secret{Host: s.base.Host, Header: "X-Api-Key", Value: s.c.Key},
		Types:  []string{"application/geo+json", "application/json"}})
	if err != nil {
		return page{}, err
	}
	return parse(resp.Body)
}

// facts asks where the site is and which of its series are second choice. A
// server that does not have these collections (a replay, a mirror) is no
// obstacle; one that knows no such site is.
func (s *Source) facts(ctx context.Context, site string, codes []string) (siteFacts, error) {
	key := site + " " + strings.Join(codes, ",")
	s.mu.Lock()
	f, ok := s.sites[key]
	s.mu.Unlock()
	if ok && s.c.Now().Sub(f.asked) < 24*time.Hour {
		return f, nil
	}
	f = siteFacts{place: ingest.SiteInfo{Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN()}, second: map[string]bool{}, asked: s.c.Now()}
	found := false
	err := s.walk(ctx, "monitoring-locations", url.Values{"id": {site}, "f": {"json"}}, func(r io.Reader) (page, error) {
		list, pg, err := readLocations(r)
		for _, l := range list {
			if l.ID == site {
				f.place, found = l.SiteInfo, true
			}
		}
		return pg, err
	})
	switch {
	case notThere(err):
	case err != nil:
		return f, err
	case !found:
		return f, feed.Fault(site, "site not found", "check the number; 'eclose gauges find' lists sites", nil)
	}
	var list []TimeSeries
	if len(codes) > 0 {
		q := url.Values{"monitoring_location_id": {site}, "parameter_code": {strings.Join(codes, ",")}, "limit": {"1000"}, "skipGeometry": {"true"}, "f": {"json"}}
		err = s.walk(ctx, "time-series-metadata", q, func(r io.Reader) (page, error) {
			part, pg, err := readTimeSeries(r)
			list = append(list, part...)
			return pg, err
		})
		if err != nil && !notThere(err) {
			return f, err
		}
	}
	f.second = secondChoice(list)
	s.mu.Lock()
	s.sites[key] = f
	s.mu.Unlock()
	return f, nil
}

// secondChoice lists the series that are not primary while another of the same
// parameter, statistic and period is.
func secondChoice(list []TimeSeries) map[string]bool {
	type group struct{ parameter, statistic, period string }
	primary := map[group]bool{}
	for _, t := range list {
		if t.Primary {
			primary[group{t.Parameter, t.Statistic, t.Period}] = true
		}
	}
	out := map[string]bool{}
	for _, t := range list {
		if !t.Primary && primary[group{t.Parameter, t.Statistic, t.Period}] {
			out[t.ID] = true
		}
	}
	return out
}

func notThere(err error) bool {
	var st *client.StatusError
	return errors.As(err, &st) && st.Code == http.StatusNotFound
}
