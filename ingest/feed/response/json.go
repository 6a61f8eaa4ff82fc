package response

import (
	"errors"
	"fmt"
	"io"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
)

// Lax accepts what agencies send and the JSON standard advises against:
// repeated names and invalid UTF-8.
var Lax = jsonv2.JoinOptions(jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))

// JSON decodes a whole response into v, a pointer.
func (f Feed) JSON(r io.Reader, v any) error {
	br, _, err := f.Begin(r)
	if err != nil {
		return err
	}
	return f.JSONFault(jsonv2.UnmarshalRead(br, v, Lax))
}

// Unmarshal decodes a part of a response into v, a pointer.
func Unmarshal(part jsontext.Value, v any) error { return jsonv2.Unmarshal(part, v, Lax) }

// JSONFault turns an error of package json or of Object and Array into a
// fault; nil and an *ingest.Error stay as they are. JSON that just stops is
// truncated.
func (f Feed) JSONFault(err error) error {
	if err == nil {
		return nil
	}
	if e, ok := errors.AsType[*ingest.Error](err); ok {
		return e
	}
	where := "response"
	if e, ok := errors.AsType[*jsontext.SyntacticError](err); ok {
		where = fmt.Sprintf("byte %d", e.ByteOffset)
	} else if e, ok := errors.AsType[*jsonv2.SemanticError](err); ok {
		where = fmt.Sprintf("byte %d", e.ByteOffset)
	}
	if errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF) {
		return f.Truncated(where)
	}
	return f.Fault(where, "is not the expected JSON", refetch, err)
}

// Object calls member with each name of the object that comes next; member
// consumes the value.
func Object(dec *jsontext.Decoder, member func(name string) error) error {
	if err := open(dec, '{', "an object"); err != nil {
		return err
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

// Array calls element for each element of the array that comes next; element
// consumes it.
func Array(dec *jsontext.Decoder, element func() error) error {
	if err := open(dec, '[', "a list"); err != nil {
		return err
	}
	for dec.PeekKind() != ']' {
		if err := element(); err != nil {
			return err
		}
	}
	_, err := dec.ReadToken()
	return err
}

func open(dec *jsontext.Decoder, want jsontext.Kind, name string) error {
	t, err := dec.ReadToken()
	if err == nil && t.Kind() != want {
		err = fmt.Errorf("byte %d: %s was expected, not %s", dec.InputOffset(), name, t.Kind())
	}
	return err
}
