package waterml2

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"net/url"
	"slices"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/response"
)

// Config says how a server that speaks the standard is asked. There is no
// default one.
type Config struct {
	Client *client.Client
	// URL is the server's request with {site}, {from} and {to} in it. The
	// times are written 2026-05-01T00:00:00Z. A Sensor Observation Service 2.0
	// is asked by (KVP binding of OGC 12-006, recalled and not looked up; only
	// answers were recorded)
	//
	//	https://example.org/sos?service=SOS&version=2.0.0&request=GetObservation&featureOfInterest={site}&temporalFilter=om:phenomenonTime,{from}/{to}&responseFormat=http://www.opengis.net/waterml/2.0
	URL     string
	Now     func() time.Time
	Skipped func(ingest.Skipped)
}

// Source asks one server.
type Source struct{ c Config }

// New checks the configuration.
func New(c Config) (*Source, error) {
	if c.Client == nil || c.Now == nil {
		return nil, errors.New("WaterML 2.0 source: client and clock are required")
	}
	head, _, _ := strings.Cut(c.URL, "{")
	u, err := url.Parse(head)
	// The placeholders stand behind the host, so that no site leads elsewhere.
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" || u.User != nil || u.Path == "" {
		return nil, feed.Fault("base-url", "does not begin with http or https, a host and a path", "write the request of your server, such as https://example.org/sos?...&featureOfInterest={site}&temporalFilter=om:phenomenonTime,{from}/{to}", nil)
	}
	for _, p := range []string{"{site}", "{from}", "{to}"} {
		if !strings.Contains(c.URL, p) {
			return nil, feed.Fault("base-url", "has no "+p+" in it", "write it where the server's request has that part", nil)
		}
	}
	return &Source{c}, nil
}

// Name implements ingest.Source.
func (*Source) Name() string { return FeedName }

// spanAsked keeps an answer below some 10 MB: a quarter hour's reading takes
// about 250 bytes.
const spanAsked = 365 * 24 * time.Hour

// Fetch implements ingest.Source. Req.Site is the feature of interest, or the
// last part of its address; series keep the name by which they were asked for.
func (s *Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	if req.Site == "" {
		return feed.Fault("request", "names no site", "check site in the config", nil)
	}
	to := req.Until(s.c.Now())
	from := req.From
	if from.IsZero() {
		from = to.AddDate(-1, 0, 0)
	}
	for a := from; a.Before(to); a = a.Add(spanAsked) {
		b := a.Add(spanAsked)
		if b.After(to) {
			b = to
		}
		if err := s.part(ctx, s.request(req.Site, a, b), req, yield); err != nil {
			return err
		}
	}
	return nil
}

// request fills in the parts, escaped for the path or the query they stand in.
func (s *Source) request(site string, from, to time.Time) string {
	fill := func(text string, escape func(string) string) string {
		return strings.NewReplacer("{site}", escape(site), "{from}", escape(from.UTC().Format(time.RFC3339)), "{to}", escape(to.UTC().Format(time.RFC3339))).Replace(text)
	}
	path, query, has := strings.Cut(s.c.URL, "?")
	if path = fill(path, url.PathEscape); !has {
		return path
	}
	return path + "?" + fill(query, url.QueryEscape)
}

func (s *Source) part(ctx context.Context, u string, req ingest.Request, yield func(ingest.Series) error) error {
	resp, err := s.c.Client.Get(ctx, client.Request{Feed: FeedName, URL: u, Types: []string{"application/xml", "text/xml", "application/gml+xml"}})
	if err != nil {
		return err
	}
	list, err := Parser{Site: req.Site, Skipped: s.c.Skipped}.Parse(resp.Body)
	if err != nil {
		return err
	}
	other := ""
	list = slices.DeleteFunc(list, func(x ingest.Series) bool {
		if x.Site == req.Site || strings.HasSuffix(x.Site, "/"+req.Site) || x.Site == address(req.Site) {
			return false
		}
		other = cmp.Or(other, x.Site)
		return true
	})
	if len(list) == 0 && other != "" { // it would look like a gauge that has fallen silent
		return feed.Fault("response", fmt.Sprintf("holds no series of site %s, but of %s", ingest.Clip(req.Site), ingest.Clip(other)), "check site and base-url in the config", nil)
	}
	list = slices.DeleteFunc(list, func(x ingest.Series) bool { return (x.Period == ingest.Daily) != (req.Period == ingest.Daily) })
	for i := range list {
		list[i].Site = req.Site
	}
	return response.Deliver(list, req, s.c.Now(), yield)
}
