package ghcn

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

// LiveURL is where NCEI's access data service answers.
const LiveURL = "https://www.ncei.noaa.gov"

// Source fetches daily summaries of one station.
type Source struct {
	Client  *client.Client
	BaseURL string // "": LiveURL
	Now     func() time.Time
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Source.
func (Source) Name() string { return FeedName }

var stationID = regexp.MustCompile(`^[A-Z0-9_-]{11}$`)

// years is the span of one request; ten years of a station are about 1 MB.
const years = 10

// Fetch implements ingest.Source. It always asks for units=metric, because
// without it temperatures come in tenths of a degree.
func (s Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	if !stationID.MatchString(req.Site) {
		return feed.Fault("request", fmt.Sprintf("%q is not a station such as USW00024233", ingest.Clip(req.Site)), "check site in the config", nil)
	}
	if req.From.IsZero() {
		return feed.Fault("request", "names no first day", "", nil)
	}
	var types []string
	for name, e := range elements {
		if slices.Contains(req.Variables, e.variable) {
			types = append(types, name)
		}
	}
	if len(types) == 0 {
		return nil
	}
	slices.Sort(types)
	base := cmp.Or(strings.TrimRight(s.BaseURL, "/"), LiveURL)
	for d, e := range response.Days(req.From, req.Until(s.Now()), years, 0) {
		q := url.Values{"dataset": {"daily-summaries"}, "stations": {req.Site}, "startDate": {d.Format(time.DateOnly)}, "endDate": {e.Format(time.DateOnly)},
			"dataTypes": {strings.Join(types, ",")}, "format": {"csv"}, "units": {Metric}, "includeAttributes": {"true"}, "includeStationName": {"true"}, "includeStationLocation": {"1"}}
		if err := s.part(ctx, base+"/access/services/data/v1?"+q.Encode(), req, yield); err != nil {
			return err
		}
	}
	return nil
}

func (s Source) part(ctx context.Context, u string, req ingest.Request, yield func(ingest.Series) error) error {
	resp, err := s.Client.Get(ctx, client.Request{Feed: FeedName, URL: u, Types: []string{"text/csv", "text/plain"}})
	if err != nil {
		return err
	}
	if resp.Size == 0 {
		return nil // a decade without observations
	}
	series, err := Parser{Units: Metric, Skipped: s.Skipped}.Parse(resp.Body)
	if err != nil {
		return err
	}
	return response.Deliver(series, req, s.Now(), yield)
}
