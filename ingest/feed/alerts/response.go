package alerts

import (
	"bytes"
	"context"
	"errors"
	"io"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/warning"
)

var lax = jsonv2.JoinOptions(jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))

func bad(feed, problem, hint string, err error) *ingest.Error {
	return &ingest.Error{Feed: feed, Where: "warnings", Problem: problem, Hint: hint, Err: err}
}

// decode reads a JSON response into out.
func decode(feed string, r io.Reader, out any) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return bad(feed, "could not be read", "", err)
	}
	raw = bytes.TrimSpace(bytes.TrimPrefix(raw, []byte("\xef\xbb\xbf")))
	switch {
	case len(raw) == 0:
		e := bad(feed, "the response is empty", "the next fetch tries again", nil)
		e.Retryable = true
		return e
	case raw[0] == '<':
		e := bad(feed, "the response is a web page or XML, not data", "the service may be down; open the URL in a browser", nil)
		e.Retryable = true
		return e
	}
	if err := jsonv2.Unmarshal(raw, out, lax); err != nil {
		e := bad(feed, "the response is not the expected JSON", "fetch it again; if it persists, report it with the saved response", err)
		e.Retryable = errors.Is(err, io.ErrUnexpectedEOF)
		return e
	}
	return nil
}

// get fetches and parses one response.
func get(ctx context.Context, c *client.Client, feed, url string, parse func(io.Reader) ([]warning.Warning, error)) ([]warning.Warning, error) {
	resp, err := c.Get(ctx, client.Request{Feed: feed, URL: url, Types: []string{"application/geo+json", "application/json", "application/ld+json"}})
	if err != nil {
		return nil, err
	}
	return parse(resp.Body)
}

// complete fills in what a feed leaves out and sets what all share.
func complete(feed string, list []warning.Warning) []warning.Warning {
	for i := range list {
		list[i].Feed = feed
		list[i].Web = warning.WebLink(list[i].Web)
		list[i].Complete()
	}
	return list
}

// text is a string that may come as a number, a yes or no, or null.
type text string

// UnmarshalJSONFrom implements json.UnmarshalerFrom.
func (t *text) UnmarshalJSONFrom(dec *jsontext.Decoder) error {
	v, err := dec.ReadValue()
	if err != nil {
		return err
	}
	switch v.Kind() {
	case '"':
		var s string
		if err := jsonv2.Unmarshal(v, &s, lax); err != nil {
			return err
		}
		*t = text(s)
	case '0', 't', 'f':
		*t = text(v)
	}
	return nil
}

// list is zero, one or many texts: an empty list may come as null or "".
type list []string

// UnmarshalJSONFrom implements json.UnmarshalerFrom.
func (l *list) UnmarshalJSONFrom(dec *jsontext.Decoder) error {
	v, err := dec.ReadValue()
	if err != nil {
		return err
	}
	*l = nil
	switch v.Kind() {
	case '[':
		var all []text
		if err := jsonv2.Unmarshal(v, &all, lax); err != nil {
			return err
		}
		for _, t := range all {
			*l = append(*l, string(t))
		}
	case '"':
		var t text
		if err := jsonv2.Unmarshal(v, &t, lax); err != nil {
			return err
		}
		if t != "" {
			*l = list{string(t)}
		}
	}
	return nil
}
