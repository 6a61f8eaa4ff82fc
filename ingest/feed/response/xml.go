package response

import (
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"strings"

	"example.org/eclose/ingest"
)

// XML gives walk a decoder of the response and turns its error into a fault;
// an *ingest.Error of walk stays as it is.
func (f Feed) XML(r io.Reader, walk func(*xml.Decoder) error) error {
	br, first, err := f.begin(r)
	if err != nil {
		return err
	}
	if first != '<' {
		return f.Fault("response", "is not XML", refetch, nil)
	}
	head, _ := br.Peek(len("<!DOCTYPE html"))
	if low := strings.ToLower(string(head)); strings.HasPrefix(low, "<html") || low == "<!doctype html" {
		return f.Fault("response", "is a web page, not data", "the service may be down; open the URL in a browser", nil)
	}
	dec := xml.NewDecoder(br)
	if err = walk(dec); err == nil {
		return nil
	}
	if e, ok := errors.AsType[*ingest.Error](err); ok {
		return e
	}
	line, _ := dec.InputPos()
	where := fmt.Sprintf("line %d", line)
	syntax, ok := errors.AsType[*xml.SyntaxError](err)
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) || ok && strings.Contains(syntax.Msg, "unexpected EOF") {
		return f.Truncated(where)
	}
	return f.Fault(where, "is not XML", refetch, err)
}
