package gbif

import (
	"cmp"
	"context"
	"net/url"
	"strings"

	"example.org/eclose/ingest/client"
)

// Match asks for the key of an order of insects in the backbone taxonomy. Its
// response is written from the service's documentation, from memory.
func (s Source) Match(ctx context.Context, order string) (int, error) {
	base := cmp.Or(strings.TrimRight(s.BaseURL, "/"), LiveURL)
	v := url.Values{"name": {order}, "rank": {"ORDER"}, "kingdom": {"Animalia"}, "strict": {"true"}}
	resp, err := s.Client.Get(ctx, client.Request{Feed: FeedName, URL: base + "/species/match?" + v.Encode(), Types: []string{"application/json"}})
	if err != nil {
		return 0, err
	}
	var body struct {
		Key  int    `json:"usageKey"`
		Type string `json:"matchType"`
	}
	if err := feed.JSON(resp.Body, &body); err != nil {
		return 0, err
	}
	if body.Key <= 0 || body.Type != "EXACT" {
		return 0, feed.Unexpected(order, "is not a known order there", nil)
	}
	return body.Key, nil
}
