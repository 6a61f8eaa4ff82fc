package inaturalist

import (
	"cmp"
	"context"
	"fmt"
	"net/url"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/occurrence"
)

// Source asks the service.
type Source struct {
	Client  *client.Client
	BaseURL string // "": LiveURL
}

// Query chooses observations.
type Query struct {
	LatDeg, LonDeg, RadiusKm float64
	Taxa                     []int     // ids of the service; any of them
	From, To                 time.Time // days observed, inclusive; zero: open
	IDAbove                  int64     // only later entries
	UpdatedSince             time.Time // only what changed since; zero: all
}

// perPage is the most that one answer may hold, by the service's rules.
const perPage = 200

func (q Query) values() url.Values {
	v := url.Values{
		"lat": {float(q.LatDeg)}, "lng": {float(q.LonDeg)}, "radius": {float(q.RadiusKm)},
	}
	for _, t := range q.Taxa {
		v.Add("taxon_id", strconv.Itoa(t))
	}
	if len(q.Taxa) > 1 {
		v.Set("taxon_id", strings.Join(v["taxon_id"], ","))
	}
	if !q.From.IsZero() {
		v.Set("d1", q.From.Format(time.DateOnly))
	}
	if !q.To.IsZero() {
		v.Set("d2", q.To.Format(time.DateOnly))
	}
	return v
}

func float(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Fetch asks for every observation that fits, in the order of their ids, page by
// page: an id is a place in the list that no later entry moves. yield gets each
// page once; IDAbove of the next call is the id it last got.
//
// A page that repeats ids, or has none above the last, would never end: it is a
// fault, and what came before it is already with yield.
func (s Source) Fetch(ctx context.Context, q Query, yield func([]occurrence.Record, int64) error) error {
	v := q.values()
	v.Set("per_page", strconv.Itoa(perPage))
	v.Set("order_by", "id")
	v.Set("order", "asc")
	if !q.UpdatedSince.IsZero() {
		v.Set("updated_since", q.UpdatedSince.UTC().Format(time.RFC3339))
	}
	for last := q.IDAbove; ; {
		v.Set("id_above", strconv.FormatInt(last, 10))
		page, err := s.page(ctx, v)
		if err != nil {
			return err
		}
		if len(page.Records) == 0 {
			if page.Total > 0 {
				return feed.Unexpected(fmt.Sprintf("id_above %d", last), fmt.Sprintf("has no results, though %d are announced", page.Total), nil)
			}
			return nil
		}
		if page.LastID <= last {
			return feed.Unexpected(fmt.Sprintf("id_above %d", last), "repeats observations already sent", nil)
		}
		last = page.LastID
		if err := yield(page.Records, last); err != nil {
			return err
		}
		if page.Total <= len(page.Records) {
			return nil
		}
	}
}

func (s Source) page(ctx context.Context, v url.Values) (Page, error) {
	resp, err := s.get(ctx, "/observations", v)
	if err != nil {
		return Page{}, err
	}
	return ParsePage(resp.Body)
}

// Effort asks how many observations of the taxa were made on each day: how much
// people looked.
func (s Source) Effort(ctx context.Context, q Query) (map[time.Time]int, error) {
	v := q.values()
	v.Set("interval", "day")
	v.Set("date_field", "observed")
	resp, err := s.get(ctx, "/observations/histogram", v)
	if err != nil {
		return nil, err
	}
	return parseHistogram(resp.Body)
}

func (s Source) get(ctx context.Context, path string, v url.Values) (*client.Response, error) {
	base := cmp.Or(strings.TrimRight(s.BaseURL, "/"), LiveURL)
	return s.Client.Get(ctx, client.Request{Feed: FeedName, URL: base + path + "?" + v.Encode(), Types: []string{"application/json"}})
}
