package replay

import (
	"bytes"
	"errors"
	"testing"

	"example.org/eclose/ingest"
)

// KeepsTheRules reads b with a parser and holds what it does to the rules of
// every parser: whatever the bytes, either series that are in order and whole,
// or one *ingest.Error and no series.
func KeepsTheRules(t *testing.T, p ingest.Parser, b []byte) {
	t.Helper()
	list, err := p.Parse(bytes.NewReader(b))
	if err != nil {
		if e := (*ingest.Error)(nil); !errors.As(err, &e) {
			t.Fatalf("the error %T %v is no *ingest.Error", err, err)
		}
		if list != nil {
			t.Fatalf("%d series beside the error %v", len(list), err)
		}
	}
	for i := range list {
		if err := list[i].Check(); err != nil {
			t.Fatal(err)
		}
	}
}
