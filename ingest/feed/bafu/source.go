package bafu

import (
	"cmp"
	"context"
	"fmt"
	"regexp"
	"slices"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/response"
)

// LiveURL is the open file of all stations, renewed every ten minutes. The
// address is taken from public software that reads it (2023); no live response
// has been read by this package, only recorded ones of 2020 and 2021.
const LiveURL = "https://www.hydrodaten.admin.ch/lhg/az/xml/hydroweb.xml"

// Source fetches the newest readings of one station.
type Source struct {
	Client  *client.Client
	BaseURL string // of the file; "": LiveURL
	Now     func() time.Time
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Source.
func (Source) Name() string { return FeedName }

var stationNumber = regexp.MustCompile(`^[0-9]{1,6}$`)

// Fetch implements ingest.Source. There are no daily values. A station that
// the file does not name is a fault: it would look like a gauge that has
// fallen silent.
func (s Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	if !stationNumber.MatchString(req.Site) {
		return feed.Fault("request", fmt.Sprintf("%q is not a station such as 2009", ingest.Clip(req.Site)), "check site in the config", nil)
	}
	if req.Period == ingest.Daily {
		return feed.Fault("request", "the service has no daily values", "leave out period in the config", nil)
	}
	resp, err := s.Client.Get(ctx, client.Request{Feed: FeedName, URL: cmp.Or(s.BaseURL, LiveURL), Types: []string{"application/xml", "text/xml"}})
	if err != nil {
		return err
	}
	var skipped []ingest.Skipped
	list, err := Parser{Skipped: func(x ingest.Skipped) { skipped = append(skipped, x) }}.Parse(resp.Body)
	if err != nil {
		return err
	}
	known := false
	for _, x := range skipped {
		if x.Site == req.Site {
			known = true
			if s.Skipped != nil {
				s.Skipped(x)
			}
		}
	}
	list = slices.DeleteFunc(list, func(x ingest.Series) bool { return x.Site != req.Site })
	if len(list) == 0 && !known {
		return feed.Fault("response", "does not name station "+req.Site, "check site in the config", nil)
	}
	return response.Deliver(list, req, s.Now(), yield)
}
