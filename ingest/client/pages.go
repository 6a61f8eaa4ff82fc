package client

import "context"

// Pages fetches a list page by page. It follows each page's link to the next word for
// word, on the same host only, until there is none, a page has no rows, or a link comes
// again.
func (c *Client) Pages(ctx context.Context, req Request, page func(*Response) (link string, rows int, err error)) error {
	for seen := map[string]bool{}; !seen[req.URL]; {
		seen[req.URL] = true
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
