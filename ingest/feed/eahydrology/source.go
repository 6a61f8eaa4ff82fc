package eahydrology

import (
	"cmp"
	"context"
	"fmt"
	"net/url"
	"regexp"
	"slices"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/response"
)

// LiveURL is where both APIs answer.
const LiveURL = "https://environment.data.gov.uk"

// Source fetches one station: by the 36 characters of its Hydrology API id its
// whole record, by its flood-monitoring reference the last four weeks. The
// service is slow; the client's timeout should be two minutes.
type Source struct {
	Client  *client.Client
	BaseURL string // "": LiveURL
	Now     func() time.Time
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Source.
func (Source) Name() string { return FeedName }

var reference = regexp.MustCompile(`^[A-Za-z0-9_]{1,40}$`)

// Fetch implements ingest.Source.
func (s Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	base := cmp.Or(strings.TrimRight(s.BaseURL, "/"), LiveURL)
	if !stationID.MatchString(req.Site) {
		if !reference.MatchString(req.Site) {
			return feed.Fault("request", fmt.Sprintf("%q is neither a station id of the Hydrology API nor a reference of flood-monitoring", ingest.Clip(req.Site)), "check site in the config", nil)
		}
		q := url.Values{"_limit": {"10000"}, "_sorted": {""}}
		if !req.From.IsZero() {
			q.Set("since", req.From.UTC().Format("2006-01-02T15:04:05Z"))
		}
		return s.readings(ctx, base+"/flood-monitoring/id/stations/"+req.Site+"/readings?"+q.Encode(), req, yield)
	}
	names, err := s.measures(ctx, base, req)
	if err != nil {
		return err
	}
	from, to := req.From, req.Until(s.Now())
	if from.IsZero() {
		from = to.AddDate(-1, 0, 0)
	}
	span := 1 // years a request: 35,000 quarter hours are about 10 MB
	if req.Period == ingest.Daily {
		span = 20
	}
	for _, name := range names {
		for d, e := range response.Days(from, to, span, 0) {
			q := url.Values{"mineq-date": {d.Format(time.DateOnly)}, "maxeq-date": {e.Format(time.DateOnly)}, "_limit": {"2000000"}}
			if err := s.readings(ctx, base+"/hydrology/id/measures/"+url.PathEscape(name)+"/readings.json?"+q.Encode(), req, yield); err != nil {
				return err
			}
		}
	}
	return nil
}

// measures asks which measures the station has and picks those wanted.
func (s Source) measures(ctx context.Context, base string, req ingest.Request) ([]string, error) {
	resp, err := s.Client.Get(ctx, client.Request{Feed: FeedName, URL: base + "/hydrology/id/measures.json?station=" + req.Site, Types: []string{"application/json"}})
	if err != nil {
		return nil, err
	}
	var body struct {
		Items *[]struct {
			ID string `json:"@id"`
		} `json:"items"`
	}
	if err := feed.JSON(resp.Body, &body); err != nil {
		return nil, err
	}
	if body.Items == nil {
		return nil, feed.Fault("list of measures", "has no member \"items\"", "report it with the answer of "+base+"/hydrology/id/measures.json?station="+req.Site, nil)
	}
	var out []string
	for _, x := range *body.Items {
		m, err := parseMeasure(x.ID)
		if err != nil || m.why != "" || m.key.Site != req.Site || !slices.Contains(req.Variables, m.key.Variable) {
			continue
		}
		if (req.Period == ingest.Daily) == (m.key.Period == ingest.Daily) {
			out = append(out, x.ID[strings.LastIndexByte(x.ID, '/')+1:])
		}
	}
	return out, nil
}

func (s Source) readings(ctx context.Context, u string, req ingest.Request, yield func(ingest.Series) error) error {
	resp, err := s.Client.Get(ctx, client.Request{Feed: FeedName, URL: u, Types: []string{"application/json"}})
	if err != nil {
		return err
	}
	series, err := Parser{Skipped: s.Skipped}.Parse(resp.Body)
	if err != nil {
		return err
	}
	return response.Deliver(series, req, s.Now(), yield)
}
