package sensorthings

import (
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

// Source fetches the datastreams of one thing from a server that the user
// names; there is no default one.
type Source struct {
	Client  *client.Client
	BaseURL string // of the service, with its version: "https://example.org/v1.1"
	Now     func() time.Time
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Source.
func (Source) Name() string { return FeedName }

var types = []string{"application/json"}

// perPage is what is asked for; servers cap it as they like, and the link to
// the next page is what ends the paging.
const perPage = "1000"

var (
	digits = regexp.MustCompile(`^[0-9]{1,18}$`)
	plain  = regexp.MustCompile(`^[A-Za-z0-9._:-]{1,100}$`)
)

// address is an id as it stands in a path. Ids come out of answers too, so
// nothing that could lead elsewhere passes.
func address(id string) (string, error) {
	switch {
	case digits.MatchString(id):
		return "(" + id + ")", nil
	case plain.MatchString(id):
		return "('" + url.PathEscape(id) + "')", nil
	}
	return "", feed.Fault("request", fmt.Sprintf("%q is not an id", ingest.Clip(id)), "check site in the config; it is the @iot.id of a Thing", nil)
}

// Fetch implements ingest.Source. Req.Site is the @iot.id of the thing. Values
// of whole days are precipitation only, so Req.Period does not matter.
func (s Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	if s.BaseURL == "" {
		return feed.Fault("config", "names no server", "set base-url in [feeds.sensorthings]", nil)
	}
	base := strings.TrimRight(s.BaseURL, "/")
	site, err := address(req.Site)
	if err != nil {
		return err
	}
	streams, err := s.streams(ctx, base+"/Things"+site+"/Datastreams?"+url.Values{"$expand": {"ObservedProperty,Thing/Locations"}, "$top": {perPage}}.Encode())
	if err != nil {
		return err
	}
	for i := range streams {
		d := &streams[i]
		v, ok := variableOf(d)
		if !ok || !slices.Contains(req.Variables, v) {
			continue
		}
		at, err := address(string(d.ID))
		if err != nil {
			return err
		}
		if err := s.stream(ctx, base+"/Datastreams"+at+"/Observations", d, req, yield); err != nil {
			return err
		}
	}
	return nil
}

// pages follows the links of a list, word for word, until none is left.
func (s Source) pages(ctx context.Context, next string, page func(*client.Response) (link string, rows int, err error)) error {
	return s.Client.Pages(ctx, client.Request{Feed: FeedName, URL: next, Types: types}, page)
}

func (s Source) streams(ctx context.Context, u string) (out []datastream, err error) {
	err = s.pages(ctx, u, func(resp *client.Response) (string, int, error) {
		a, _, err := readAnswer(resp.Body)
		if err != nil {
			return "", 0, err
		}
		if a.Value == nil {
			return "", 0, feed.Fault("response", "is not a list of datastreams", "check base-url in the config", nil)
		}
		for i, raw := range *a.Value {
			var d datastream
			if err := unmarshal(fmt.Sprintf("value[%d]", i), raw, &d); err != nil {
				return "", 0, err
			}
			out = append(out, d)
		}
		return a.Next, len(*a.Value), nil
	})
	return out, err
}

func (s Source) stream(ctx context.Context, u string, d *datastream, req ingest.Request, yield func(ingest.Series) error) error {
	var filter []string
	if !req.From.IsZero() {
		filter = append(filter, "phenomenonTime ge "+req.From.UTC().Format(time.RFC3339))
	}
	if !req.To.IsZero() {
		filter = append(filter, "phenomenonTime lt "+req.To.UTC().Format(time.RFC3339))
	}
	q := url.Values{"$orderby": {"phenomenonTime asc"}, "$top": {perPage}}
	if len(filter) > 0 {
		q.Set("$filter", strings.Join(filter, " and "))
	}
	p := Parser{Site: req.Site, Skipped: s.Skipped}
	return s.pages(ctx, u+"?"+q.Encode(), func(resp *client.Response) (string, int, error) {
		series, next, rows, err := p.parse(resp.Body, d)
		if err != nil {
			return "", 0, err
		}
		return next, rows, response.Deliver(series, req, s.Now(), yield)
	})
}
