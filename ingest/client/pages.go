package client

import (
	"context"

	"example.org/eclose/ingest"
)

// mostPages stops a server whose list never ends. Our own default.
const mostPages = 1000

// Pages fetches a list page by page. It follows each page's link to the next one as
// written, on the same host only. It stops at a page without a link or without rows, and
// at a link that it has followed before.
func (c *Client) Pages(ctx context.Context, req Request, page func(*Response) (link string, rows int, err error)) error {
	for seen := map[string]bool{}; !seen[req.URL]; {
		if seen[req.URL] = true; len(seen) > mostPages {
			return &ingest.Error{Feed: req.Feed, Where: redact(req.URL, req.Secret.Value), Problem: "the list does not end", Hint: "report it to the agency"}
		}
		resp, err := c.Get(ctx, req)
		if err != nil {
			return err
		}
		link, rows, err := page(resp)
		if err != nil || link == "" || rows == 0 {
			return err
		}
		if req.URL, err = Next(req.Feed, req.URL, link); err != nil {
			return err
		}
	}
	return nil
}
