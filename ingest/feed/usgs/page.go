package usgs

import (
	"fmt"
	"io"
	"net/url"
	"strings"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest/feed/response"
)

// page is what an answer says beside its rows.
type page struct {
	next  string     // link to the next page, word for word; "" at the end
	token string     // the statistics API's own way of paging
	self  url.Values // the request, as the answer's links repeat it
	rows  int
	empty bool // the agency answered, with nothing in it
}

// readPage hands every row of an answer to each, in the answer's order. The
// row is used again for the next one.
func readPage(r io.Reader, each func(i int, where string, r *row) error) (page, error) {
	br, first, err := feed.Begin(r)
	if err != nil {
		return page{}, err
	}
	if first == '{' {
		return readJSON(br, each)
	}
	return readCSV(br, each)
}

type feature struct {
	ID         text           `json:"id"`
	Properties jsontext.Value `json:"properties"`
	Geometry   jsontext.Value `json:"geometry"`
}

func readJSON(r io.Reader, each func(int, string, *row) error) (pg page, _ error) {
	dec := jsontext.NewDecoder(r, response.Lax)
	var code, description string
	var sawFeatures bool
	err := response.Object(dec, func(name string) error {
		switch name {
		case "features":
			sawFeatures = true
			return features(dec, &pg, each)
		case "links":
			var links []struct {
				Rel  text `json:"rel"`
				Href text `json:"href"`
			}
			if err := jsonv2.UnmarshalDecode(dec, &links); err != nil {
				return err
			}
			for _, l := range links {
				if l.Rel == "next" {
					pg.next = string(l.Href)
				}
				// Every link but the one to the collection repeats the request.
				if u, err := url.Parse(string(l.Href)); err == nil && len(pg.self) == 0 && l.Rel != "collection" {
					pg.self = u.Query()
				}
			}
		case "next":
			var t text
			err := jsonv2.UnmarshalDecode(dec, &t)
			pg.token = string(t)
			return err
		case "code", "description":
			var t text
			if err := jsonv2.UnmarshalDecode(dec, &t); err != nil {
				return err
			}
			if name == "code" {
				code = string(t)
			} else {
				description = string(t)
			}
		case "error":
			var e struct {
				Code    text `json:"code"`
				Message text `json:"message"`
			}
			if dec.PeekKind() != '{' {
				return dec.SkipValue()
			}
			err := jsonv2.UnmarshalDecode(dec, &e)
			code, description = string(e.Code), string(e.Message)
			return err
		default:
			return dec.SkipValue()
		}
		return nil
	})
	if err != nil {
		return pg, feed.JSONFault(err)
	}
	switch {
	case sawFeatures:
		pg.empty = pg.rows == 0
		return pg, nil
	case code != "" || description != "":
		e := feed.Fault("response", fmt.Sprintf("is an error from the agency: %s: %s", oneLine(code), oneLine(description)), "", nil)
		if code == "OVER_RATE_LIMIT" {
			e.Retryable = true
		}
		switch {
		case strings.HasPrefix(code, "API_KEY"):
			e.Hint = "check the key in the config"
		case strings.HasPrefix(code, "Invalid"):
			e.Hint = "the request asks for what this version of the service does not offer; report it"
		}
		return pg, e
	}
	return pg, feed.Fault("response", "has no member \"features\"", "this is not an answer of an items request; save one of /collections/.../items", nil)
}

func features(dec *jsontext.Decoder, pg *page, each func(int, string, *row) error) error {
	if dec.PeekKind() == 'n' {
		return dec.SkipValue()
	}
	var has map[string]bool
	return response.Array(dec, func() error {
		var f feature
		if err := jsonv2.UnmarshalDecode(dec, &f); err != nil {
			return err
		}
		where := fmt.Sprintf("feature %d", pg.rows+1)
		if len(f.Properties) == 0 || f.Properties.Kind() != '{' {
			return feed.Unexpected(where, "has no properties", nil)
		}
		r := row{ID: f.ID}
		if err := response.Unmarshal(f.Properties, &r); err != nil {
			return feed.Unexpected(where, "its properties cannot be read", err)
		}
		if has == nil {
			var names map[string]jsontext.Value
			if err := response.Unmarshal(f.Properties, &names); err != nil {
				return err
			}
			has = map[string]bool{}
			for n := range names {
				has[n] = true
			}
		}
		r.has = has
		r.geometry = f.Geometry
		pg.rows++
		return each(pg.rows, where, &r)
	})
}

func readCSV(r io.Reader, each func(int, string, *row) error) (pg page, _ error) {
	t, err := feed.Table(r)
	if err != nil {
		return pg, err
	}
	head := t.Header
	var out row
	cols := out.columns()
	dest := make([]*text, len(head))
	out.has = map[string]bool{}
	known := 0
	for i, h := range head {
		dest[i] = cols[h]
		if dest[i] != nil {
			known++
			out.has[h] = true
		}
	}
	if known < 3 {
		return pg, feed.Fault("line 1", fmt.Sprintf("has only %d of the column names of this service", known), "save an answer of the Water Data API with f=csv; for other tables use the feed csv", nil)
	}
	for {
		more, err := t.Next()
		if err != nil {
			return pg, err
		}
		if !more {
			pg.empty = pg.rows == 0
			return pg, nil
		}
		for i, d := range dest {
			if d != nil {
				*d = text(strings.Clone(t.Cells[i]))
			}
		}
		pg.rows++
		if err := each(pg.rows, t.Where(), &out); err != nil {
			return pg, err
		}
	}
}

// oneLine makes foreign text fit for a message.
func oneLine(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if len(s) > 300 {
		s = strings.ToValidUTF8(s[:300], "") + "..."
	}
	return s
}
