package api

import (
	"bytes"
	"fmt"
	"net/http"
	"testing"
)

// Answers that are asked for stay while others come and go, what is kept never passes
// the bound, and a reader without gzip gets the bytes that were written.
func TestKeptAnswersAreBounded(t *testing.T) {
	one := func(n int) *answer {
		a := &answer{header: http.Header{}, body: bytes.Repeat(fmt.Appendf(nil, "answer %06d\n", n), 500)}
		a.finish()
		return a
	}
	k := newKept(20 * (len(one(1).gz) + len("000000")))
	k.put("asked ", one(0))
	for i := range 200 {
		k.put(fmt.Sprintf("%06d", i), one(i))
		if k.get("asked ") == nil {
			t.Fatalf("after %d others the one that is asked for is gone", i+1)
		}
		sum := 0
		for _, key := range k.answers.Keys() {
			a, _ := k.answers.Peek(key)
			sum += a.size(key)
		}
		if sum != k.bytes || sum > k.most {
			t.Fatalf("%d bytes are kept, %d counted, %d allowed", sum, k.bytes, k.most)
		}
	}
	if k.get("000000") != nil {
		t.Error("the oldest is still there")
	}
	last := k.get("000199")
	if last == nil || last.body != nil || !bytes.Equal(last.plain(), one(199).body) {
		t.Errorf("%+v is not the last answer, packed", last)
	}
	k.put("000199", one(198)) // made twice at once
	k.put("small", &answer{body: []byte("{}")})
	if a := k.get("small"); a == nil || string(a.plain()) != "{}" {
		t.Errorf("%+v", a)
	}
	k.put("large", &answer{body: make([]byte, k.most+1)})
	if k.bytes != 0 || k.answers.Len() != 0 {
		t.Errorf("an answer larger than the bound is kept: %d bytes", k.bytes)
	}
}
