package eccc

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

// Where the services answer.
const (
	LiveURL   = "https://wateroffice.ec.gc.ca"
	GeoMetURL = "https://api.weather.gc.ca"
)

// Source fetches one station: readings of the last 18 months from the
// wateroffice service, which alone has water temperature, and daily means of
// level and flow from GeoMet.
type Source struct {
	Client    *client.Client
	BaseURL   string // of wateroffice; "": LiveURL
	GeoMetURL string // of GeoMet; "": GeoMetURL
	Now       func() time.Time
	Skipped   func(ingest.Skipped)
}

// Name implements ingest.Source.
func (Source) Name() string { return FeedName }

var stationID = regexp.MustCompile(`^[0-9]{2}[A-Z]{2}[A-Z0-9]{1,4}$`)

const (
	months  = 18 // how far back wateroffice reaches
	perPage = 10000
)

// Fetch implements ingest.Source.
func (s Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	if !stationID.MatchString(req.Site) {
		return feed.Fault("request", fmt.Sprintf("%q is not a station such as 05BB001", ingest.Clip(req.Site)), "check site in the config", nil)
	}
	to := req.Until(s.Now())
	if req.Period == ingest.Daily {
		return s.daily(ctx, req, to, yield)
	}
	var codes []string
	for _, code := range []string{"5", "41", "46", "47"} {
		if slices.Contains(req.Variables, parameters[code].variable) {
			codes = append(codes, code)
		}
	}
	if len(codes) == 0 {
		return nil
	}
	from := req.From
	if first := s.Now().AddDate(0, -months, 0); from.Before(first) {
		from = first
	}
	// Two months of five-minute readings of four parameters are some 5 MB.
	for d := from; d.Before(to); d = d.AddDate(0, 2, 0) {
		e := d.AddDate(0, 2, 0)
		if e.After(to) {
			e = to
		}
		q := url.Values{"stations[]": {req.Site}, "parameters[]": codes, "start_date": {d.UTC().Format(time.DateTime)}, "end_date": {e.UTC().Format(time.DateTime)}}
		if err := s.realTime(ctx, q, req, yield); err != nil {
			return err
		}
	}
	return nil
}

func (s Source) daily(ctx context.Context, req ingest.Request, to time.Time, yield func(ingest.Series) error) error {
	span := ".."
	if !req.From.IsZero() {
		span = req.From.UTC().Format(time.DateOnly)
	}
	q := url.Values{"STATION_NUMBER": {req.Site}, "datetime": {span + "/" + to.Add(-time.Nanosecond).UTC().Format(time.DateOnly)}, "limit": {fmt.Sprint(perPage)}, "f": {"json"}, "sortby": {"DATE"}}
	return s.pages(ctx, s.geoMet()+"/collections/hydrometric-daily-mean/items?"+q.Encode(), jsonTypes, req, yield)
}

var (
	jsonTypes = []string{"application/json", "application/geo+json"}
	csvTypes  = []string{"text/csv", "text/plain", "application/csv"}
)

// realTime asks wateroffice for the readings of some stations.
func (s Source) realTime(ctx context.Context, q url.Values, req ingest.Request, yield func(ingest.Series) error) error {
	return s.pages(ctx, cmp.Or(strings.TrimRight(s.BaseURL, "/"), LiveURL)+"/services/real_time_data/csv/inline?"+q.Encode(), csvTypes, req, yield)
}

func (s Source) pages(ctx context.Context, first string, types []string, req ingest.Request, yield func(ingest.Series) error) error {
	return s.Client.Pages(ctx, client.Request{Feed: FeedName, URL: first, Types: types}, func(resp *client.Response) (string, int, error) {
		if resp.Size == 0 {
			return "", 0, nil
		}
		series, next, rows, err := Parser{Skipped: s.Skipped}.parse(resp.Body)
		if err != nil {
			return "", 0, err
		}
		return next, rows, response.Deliver(series, req, s.Now(), yield)
	})
}
