package usgs

import (
	"bufio"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"net/url"
	"strings"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
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
	br := bufio.NewReaderSize(r, 64<<10)
	if b, _ := br.Peek(3); string(b) == "\xef\xbb\xbf" {
		_, _ = br.Discard(3)
	}
	for {
		b, err := br.ReadByte()
		if err != nil {
			return page{}, bad("answer", "is empty", "try again; if still empty, open the URL in a browser", ifNot(err, io.EOF))
		}
		if b == ' ' || b == '\n' || b == '\r' || b == '\t' {
			continue
		}
		_ = br.UnreadByte()
		switch b {
		case '{':
			return readJSON(br, each)
		case '<':
			return page{}, bad("answer", "is a web page or XML, not data", "the service may be down; open the URL in a browser", nil)
		}
		return readCSV(br, each)
	}
}

func ifNot(err, not error) error {
	if errors.Is(err, not) {
		return nil
	}
	return err
}

func bad(where, problem, hint string, err error) *ingest.Error {
	return &ingest.Error{Feed: FeedName, Where: where, Problem: problem, Hint: hint, Err: err}
}

// broken says where the JSON ends to be JSON. A text that just stops was cut
// on its way, so asking again may help.
func broken(dec *jsontext.Decoder, err error) *ingest.Error {
	if already, ok := errors.AsType[*ingest.Error](err); ok {
		return already
	}
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		e := bad(fmt.Sprintf("byte %d", dec.InputOffset()), "the response ends early", "the download was cut short; fetch it again", nil)
		e.Retryable = true
		return e
	}
	return bad(fmt.Sprintf("byte %d, %s", dec.InputOffset(), dec.StackPointer()), "the answer is not valid JSON", "fetch it again; if it persists, report it with the saved response", err)
}

var lax = jsonv2.JoinOptions(jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))

type feature struct {
	ID         text           `json:"id"`
	Properties jsontext.Value `json:"properties"`
	Geometry   jsontext.Value `json:"geometry"`
}

func readJSON(r io.Reader, each func(int, string, *row) error) (pg page, _ error) {
	dec := jsontext.NewDecoder(r, lax)
	var code, description string
	var sawFeatures bool
	err := object(dec, func(name string) error {
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
		return pg, broken(dec, err)
	}
	switch {
	case sawFeatures:
		pg.empty = pg.rows == 0
		return pg, nil
	case code != "" || description != "":
		e := bad("answer", fmt.Sprintf("is an error from the agency: %s: %s", oneLine(code), oneLine(description)), "", nil)
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
	return pg, bad("answer", "has no member \"features\"", "this is not an answer of an items request; save one of /collections/.../items", nil)
}

// object walks the members of the object that comes next.
func object(dec *jsontext.Decoder, member func(name string) error) error {
	if t, err := dec.ReadToken(); err != nil {
		return err
	} else if t.Kind() != '{' {
		return fmt.Errorf("an object was expected, not %s", t.Kind())
	}
	for dec.PeekKind() != '}' {
		t, err := dec.ReadToken()
		if err != nil {
			return err
		}
		if err := member(t.String()); err != nil {
			return err
		}
	}
	_, err := dec.ReadToken()
	return err
}

func features(dec *jsontext.Decoder, pg *page, each func(int, string, *row) error) error {
	if dec.PeekKind() == 'n' {
		return dec.SkipValue()
	}
	if t, err := dec.ReadToken(); err != nil {
		return err
	} else if t.Kind() != '[' {
		return fmt.Errorf("features is not a list")
	}
	var has map[string]bool
	for dec.PeekKind() != ']' {
		var f feature
		if err := jsonv2.UnmarshalDecode(dec, &f); err != nil {
			return err
		}
		where := fmt.Sprintf("feature %d", pg.rows+1)
		if len(f.Properties) == 0 || f.Properties.Kind() != '{' {
			return bad(where, "has no properties", "report it with the saved response", nil)
		}
		r := row{ID: f.ID}
		if err := jsonv2.Unmarshal(f.Properties, &r, lax); err != nil {
			return bad(where, "its properties cannot be read", "report it with the saved response", err)
		}
		if has == nil {
			var names map[string]jsontext.Value
			if err := jsonv2.Unmarshal(f.Properties, &names, lax); err != nil {
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
		if err := each(pg.rows, where, &r); err != nil {
			return err
		}
	}
	_, err := dec.ReadToken()
	return err
}

func readCSV(r io.Reader, each func(int, string, *row) error) (pg page, _ error) {
	cr := csv.NewReader(r)
	cr.ReuseRecord = true
	cr.FieldsPerRecord = 0 // every line must be as wide as the header: a shorter one was cut
	head, err := cr.Read()
	if err != nil {
		return pg, bad("line 1", "is neither JSON nor CSV", "save an answer with f=json or f=csv", err)
	}
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
		return pg, bad("line 1", fmt.Sprintf("has only %d of the column names of this service", known), "save an answer of the Water Data API with f=csv; for other tables use the feed csv", nil)
	}
	for {
		rec, err := cr.Read()
		if err == io.EOF {
			pg.empty = pg.rows == 0
			return pg, nil
		}
		if err != nil {
			line := 0 // where there is no field, FieldPos panics
			if pe, ok := errors.AsType[*csv.ParseError](err); ok {
				line = pe.Line
			}
			e := bad(fmt.Sprintf("line %d", line), "is not a CSV line as wide as the header", "the file may be cut; fetch it again", errors.Unwrap(err))
			e.Retryable = true
			return pg, e
		}
		line, _ := cr.FieldPos(0)
		for i, d := range dest {
			if d != nil {
				*d = text(strings.Clone(rec[i]))
			}
		}
		pg.rows++
		if err := each(pg.rows, fmt.Sprintf("line %d", line), &out); err != nil {
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
