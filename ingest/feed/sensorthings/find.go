package sensorthings

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"
	"time"

	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
)

// No list of things was recorded: the query and the members are those of the
// standard (OGC 18-088, 9.3.3: $expand, $filter with st_within, $top). Servers
// need not know the filter by place; then the whole list is asked for, and the
// circle drawn here.

// mostPages is how much of a list is read: servers that heed no filter may
// have hundreds of thousands of things.
const mostPages = 100

// listed is a thing with what it measures.
type listed struct {
	thing
	Streams []struct {
		datastream
		Span string `json:"phenomenonTime"`
	} `json:"Datastreams"`
}

// Find implements ingest.GaugeFinder on the server that the user names. It has
// no states or provinces to search by.
func (s Source) Find(ctx context.Context, f ingest.GaugeSearch) ([]ingest.Gauge, error) {
	if err := f.Check(FeedName); err != nil {
		return nil, err
	}
	if f.Region != "" {
		return nil, feed.Fault("search", "this service cannot be searched by state or province", "use --near", nil)
	}
	if s.BaseURL == "" {
		return nil, feed.Fault("config", "names no server", "set base-url in [feeds.sensorthings]", nil)
	}
	base := strings.TrimRight(s.BaseURL, "/") + "/Things?"
	west, south, east, north := f.Box()
	q := url.Values{"$expand": {"Locations,Datastreams($expand=ObservedProperty)"}, "$top": {perPage}}
	inside := url.Values{"$filter": {fmt.Sprintf("st_within(Locations/location,geography'POLYGON((%[1]f %[2]f,%[3]f %[2]f,%[3]f %[4]f,%[1]f %[4]f,%[1]f %[2]f))')", west, south, east, north)}}
	out, err := s.things(ctx, base+q.Encode()+"&"+inside.Encode())
	if refused(err) {
		out, err = s.things(ctx, base+q.Encode())
	}
	if err != nil {
		return nil, err
	}
	return f.Narrow(out), nil
}

// refused says that the server does not know the filter: 400 by the standard,
// 501 where it says that it has not been built.
func refused(err error) bool {
	st, ok := errors.AsType[*client.StatusError](err)
	return ok && (st.Code == http.StatusBadRequest || st.Code == http.StatusNotImplemented)
}

func (s Source) things(ctx context.Context, u string) (out []ingest.Gauge, err error) {
	n := 0
	err = s.pages(ctx, u, func(resp *client.Response) (string, int, error) {
		if n++; n > mostPages {
			return "", 0, feed.Fault("list of things", fmt.Sprintf("does not end after %d pages", mostPages), "name the thing in the config; the server's own pages show its @iot.id", nil)
		}
		a, _, err := readAnswer(resp.Body)
		if err != nil {
			return "", 0, err
		}
		if a.Value == nil {
			return "", 0, feed.Fault("response", "is not a list of things", "check base-url in the config", nil)
		}
		list, err := readThings(*a.Value)
		out = append(out, list...)
		return a.Next, len(*a.Value), err
	})
	return out, err
}

func readThings(list []jsontext.Value) ([]ingest.Gauge, error) {
	var out []ingest.Gauge
	for i, raw := range list {
		var t listed
		if err := unmarshal(fmt.Sprintf("value[%d]", i), raw, &t); err != nil {
			return nil, err
		}
		if _, err := address(string(t.ID)); err != nil {
			continue // it could not be asked for
		}
		g := ingest.Gauge{Feed: FeedName, Site: string(t.ID), SiteInfo: placeOf(t.thing)}
		g.Name = ingest.Clip(g.Name)
		for j := range t.Streams {
			d := &t.Streams[j]
			v, ok := variableOf(&d.datastream)
			if !ok {
				continue
			}
			x := ingest.GaugeSeries{ID: string(d.ID), Variable: v, Statistic: ingest.Instant}
			// A span that cannot be read counts as missing.
			if begin, end, err := phenomenon(d.Span); err == nil {
				x.Begin, x.End = begin.In(time.UTC), end.In(time.UTC)
			}
			g.Series = append(g.Series, x)
		}
		if len(g.Series) > 0 {
			out = append(out, g)
		}
	}
	return out, nil
}
