package nws

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"net/url"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/response"
)

// LiveURL is where the service answers.
const LiveURL = "https://api.weather.gov"

// Source fetches the forecast of the grid cell around a place or, if the
// request names a station, its observations. The client must send a User-Agent
// with a contact: the service refuses to answer without.
type Source struct {
	Client  *client.Client
	BaseURL string // "": LiveURL
	Now     func() time.Time
	Skipped func(ingest.Skipped)

	mu    sync.Mutex
	cells map[string]string // point -> path of its cell; it changes only now and then
}

// Name implements ingest.Source.
func (*Source) Name() string { return FeedName }

var types = []string{"application/geo+json", "application/json", "application/ld+json"}

func (s *Source) base() string {
	return cmp.Or(strings.TrimRight(s.BaseURL, "/"), LiveURL)
}

var stationID = regexp.MustCompile(`^[A-Za-z0-9_-]{1,20}$`)

// Fetch implements ingest.Source.
func (s *Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	if req.Site == "" {
		return s.forecast(ctx, req, yield)
	}
	if !stationID.MatchString(req.Site) {
		return feed.Fault("request", fmt.Sprintf("%q is not a station such as KBDN", ingest.Clip(req.Site)), "check site in the config", nil)
	}
	q := url.Values{"limit": {"500"}}
	if !req.From.IsZero() {
		q.Set("start", req.From.UTC().Format(time.RFC3339))
	}
	if !req.To.IsZero() {
		q.Set("end", req.To.UTC().Format(time.RFC3339))
	}
	next := s.base() + "/stations/" + req.Site + "/observations?" + q.Encode()
	p := Parser{Site: req.Site, Skipped: s.Skipped}
	return say(s.Client.Pages(ctx, client.Request{Feed: FeedName, URL: next, Types: types}, func(resp *client.Response) (string, int, error) {
		series, link, err := p.parse(resp.Body)
		if err != nil {
			return "", 0, err
		}
		rows := 0
		for _, x := range series {
			rows += x.Len()
		}
		return link, rows, response.Deliver(series, req, s.Now(), yield)
	}))
}

func (s *Source) forecast(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	if math.IsNaN(req.Lat) || math.IsNaN(req.Lon) || math.Abs(req.Lat) > 90 || math.Abs(req.Lon) > 180 {
		return feed.Fault("request", fmt.Sprintf("latitude %g, longitude %g is out of range", req.Lat, req.Lon), "check the weather coordinates in the config", nil)
	}
	point := degrees(req.Lat) + "," + degrees(req.Lon)
	p := Parser{Site: point, Skipped: s.Skipped}
	for try := 0; ; try++ {
		cell, known, err := s.cell(ctx, point)
		if err != nil {
			return err
		}
		series, _, err := s.get(ctx, s.base()+cell, p)
		var status *client.StatusError
		if known && try == 0 && errors.As(err, &status) && status.Code == 404 {
			s.forget(point) // offices redraw their grids
			continue
		}
		if err != nil {
			return err
		}
		return response.Deliver(series, req, s.Now(), yield)
	}
}

// degrees writes at most four decimals and no trailing zeros: the service
// redirects anything else.
func degrees(x float64) string {
	out := strings.TrimRight(strings.TrimRight(strconv.FormatFloat(x, 'f', 4, 64), "0"), ".")
	if out == "-0" {
		return "0"
	}
	return out
}

var (
	office = regexp.MustCompile(`^[A-Z]{3}$`)
	index  = regexp.MustCompile(`^[0-9]{1,4}$`)
)

// cell finds the path of the grid cell around a point, asking the service once
// for each point.
func (s *Source) cell(ctx context.Context, point string) (cell string, known bool, err error) {
	s.mu.Lock()
	cell, known = s.cells[point]
	s.mu.Unlock()
	if known {
		return cell, true, nil
	}
	u := s.base() + "/points/" + point
	resp, err := s.Client.Get(ctx, client.Request{Feed: FeedName, URL: u, Types: types})
	if err != nil {
		return "", false, say(err)
	}
	b, err := readBody(resp.Body)
	if err != nil {
		return "", false, err
	}
	cell, err = cellOf(b)
	if err != nil {
		return "", false, err
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.cells == nil {
		s.cells = map[string]string{}
	}
	s.cells[point] = cell
	return cell, false, nil
}

func (s *Source) forget(point string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.cells, point)
}

// get fetches and parses one answer.
func (s *Source) get(ctx context.Context, u string, p Parser) ([]ingest.Series, string, error) {
	resp, err := s.Client.Get(ctx, client.Request{Feed: FeedName, URL: u, Types: types})
	if err != nil {
		return nil, "", say(err)
	}
	return p.parse(resp.Body)
}

// say replaces the raw text of a refusal by what the problem+json body says.
func say(err error) error {
	var status *client.StatusError
	var e *ingest.Error
	if !errors.As(err, &status) || !errors.As(err, &e) {
		return err
	}
	b, perr := readBody(bytes.NewReader(status.Body))
	var reported *ingest.Error
	if b.refuses() && errors.As(perr, &reported) {
		e.Problem = reported.Problem
		if reported.Hint != "" {
			e.Hint = reported.Hint
		}
	}
	return err
}
