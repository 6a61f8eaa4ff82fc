package gbif

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

// Query chooses occurrences.
type Query struct {
	South, North, West, East float64   // degrees
	Taxa                     []int     // keys of the backbone taxonomy; any of them
	From, To                 time.Time // days, inclusive
	Datasets                 []string  // "": all
}

// The most that one answer may hold, and that paging reaches, by the service's
// rules.
const (
	perPage = 300
	deepest = 100_000
)

func (q Query) values(from, to time.Time) url.Values {
	v := url.Values{
		"decimalLatitude":  {float(q.South) + "," + float(q.North)},
		"decimalLongitude": {float(q.West) + "," + float(q.East)},
		"eventDate":        {from.Format(time.DateOnly) + "," + to.Format(time.DateOnly)},
		"hasCoordinate":    {"true"},
	}
	for _, t := range q.Taxa {
		v.Add("taxonKey", strconv.Itoa(t))
	}
	return v
}

func float(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }

// Fetch asks for all that fits, year by year, since paging by offset goes only
// so deep and shifts when records are added. yield gets each page once. A page
// that repeats the one before is a fault; one record twice is the caller's to
// see by its key.
func (s Source) Fetch(ctx context.Context, q Query, yield func([]occurrence.Record) error) error {
	for from := q.From; !from.After(q.To); {
		to := time.Date(from.Year(), 12, 31, 0, 0, 0, 0, time.UTC)
		if to.After(q.To) {
			to = q.To
		}
		if err := s.span(ctx, q.values(from, to), yield); err != nil {
			return err
		}
		from = to.AddDate(0, 0, 1)
	}
	return nil
}

func (s Source) span(ctx context.Context, v url.Values, yield func([]occurrence.Record) error) error {
	before := ""
	for offset := 0; ; {
		where := fmt.Sprintf("%s, offset %d", v.Get("eventDate"), offset)
		if offset+perPage > deepest {
			return feed.Fault(where, "there is more than paging reaches", "choose a smaller radius", nil)
		}
		v.Set("limit", strconv.Itoa(perPage))
		v.Set("offset", strconv.Itoa(offset))
		page, err := s.page(ctx, v)
		if err != nil {
			return err
		}
		if len(page.Records) == 0 {
			if !page.End && page.Count > offset {
				return feed.Unexpected(where, fmt.Sprintf("has no results, though %d are announced", page.Count), nil)
			}
			return nil
		}
		if first := page.Records[0].Key + " " + page.Records[len(page.Records)-1].Key; first == before || page.Offset != offset {
			return feed.Unexpected(where, "repeats records already sent", nil)
		} else {
			before = first
		}
		if err := yield(page.Records); err != nil {
			return err
		}
		if page.End {
			return nil
		}
		offset += len(page.Records) // an answer may hold fewer than asked for
	}
}

func (s Source) page(ctx context.Context, v url.Values) (Page, error) {
	base := cmp.Or(strings.TrimRight(s.BaseURL, "/"), LiveURL)
	resp, err := s.Client.Get(ctx, client.Request{Feed: FeedName, URL: base + "/occurrence/search?" + v.Encode(), Types: []string{"application/json"}})
	if err != nil {
		return Page{}, err
	}
	return ParsePage(resp.Body)
}
