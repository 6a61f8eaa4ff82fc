package page

import (
	"bytes"
	"crypto/rand"
	"errors"
	"fmt"
	"sync"
	"testing"
)

// The pages that readers ask for stay while others come and go, and the bytes that
// are kept never pass the bound.
func TestACacheForgetsWhatNobodyAsksFor(t *testing.T) {
	const size = 1000
	c := newCache(20 * (size + 50)) // packed, each is a little larger
	made, bodies := map[string]int{}, map[string][]byte{}
	page := func(key string) {
		t.Helper()
		body := make([]byte, size)
		if _, err := rand.Read(body); err != nil { // gzip makes it no smaller
			t.Fatal(err)
		}
		f := c.get(key, func() ([]byte, error) { made[key]++; bodies[key] = body; return body, nil })
		if !bytes.Equal(f.plain(), bodies[key]) || f.tag == "" {
			t.Fatalf("%s: %d bytes, not those that were written", key, len(f.plain()))
		}
		if c.bytes > c.most {
			t.Fatalf("%d bytes are kept, %d allowed", c.bytes, c.most)
		}
	}
	for i := range 200 {
		page("home")
		page(fmt.Sprint(i))
	}
	page("199")
	page("0")
	if made["home"] != 1 || made["199"] != 1 || made["0"] != 2 {
		t.Errorf("home made %d times, the last page %d, the first %d; want 1, 1, 2", made["home"], made["199"], made["0"])
	}
	sum := 0
	for _, f := range c.pages.Values() {
		sum += f.size
	}
	if sum != c.bytes || sum == 0 {
		t.Errorf("%d bytes are counted, %d kept", c.bytes, sum)
	}
}

func TestAFailedPageIsMadeAgain(t *testing.T) {
	c := newCache(1 << 20)
	fail := errors.New("not now")
	if f := c.get("a", func() ([]byte, error) { return nil, fail }); !errors.Is(f.err, fail) {
		t.Errorf("%v", f.err)
	}
	if f := c.get("a", func() ([]byte, error) { return []byte("here"), nil }); f.err != nil || !bytes.Equal(f.plain(), []byte("here")) {
		t.Errorf("%q, %v", f.plain(), f.err)
	}
	// A page larger than the bound is given, and not kept.
	small := newCache(10)
	if f := small.get("big", func() ([]byte, error) { return make([]byte, 1000), nil }); len(f.plain()) != 1000 || small.bytes != 0 {
		t.Errorf("%d bytes, %d kept", len(f.plain()), small.bytes)
	}
	// Many at once wait for one.
	var made sync.Map
	var wait sync.WaitGroup
	for range 8 {
		wait.Go(func() { c.get("b", func() ([]byte, error) { made.Store(new(int), true); return []byte("b"), nil }) })
	}
	wait.Wait()
	n := 0
	made.Range(func(any, any) bool { n++; return true })
	if n != 1 {
		t.Errorf("made %d times", n)
	}
}
