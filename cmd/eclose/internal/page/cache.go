package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"io"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/hashicorp/golang-lru/v2/simplelru"
)

// counter counts changes.
type counter struct{ atomic.Int64 }

// cache keeps finished pages, packed, under keys that change whenever their content
// would. When it is full it forgets those that were asked for longest ago.
type cache struct {
	mu    sync.Mutex
	pages *simplelru.LRU[string, *finished]
	bytes int // of the finished ones that are kept
	most  int
}

// The most bytes and number of kept pages: at 25 kB a page, those of six hundred rivers.
// Our own defaults.
const (
	maxCache = 16 << 20
	maxPages = 20000
)

// finished is a page as it is sent. What is kept of it is packed only: nearly every
// browser asks for that, and the page is four times as large.
type finished struct {
	once sync.Once
	body []byte // nil where only gz is kept
	gz   []byte
	tag  string
	err  error
	size int // as counted in cache.bytes
}

// Digest is a key of 32 bytes that stands for a long one: that of a page of a thousand
// rivers is twice as long as the page is packed.
func Digest(key string) string {
	sum := sha256.Sum256([]byte(key))
	return string(sum[:])
}

func newCache(mostBytes int) *cache {
	c := &cache{most: mostBytes}
	c.pages, _ = simplelru.NewLRU(maxPages, func(_ string, f *finished) { c.bytes -= f.size }) // fails for no number only
	return c
}

// get returns the page of a key, made once however many ask for it at once. A
// failure is not kept.
func (c *cache) get(key string, write func() ([]byte, error)) *finished {
	c.mu.Lock()
	f, ok := c.pages.Get(key)
	if !ok {
		f = &finished{}
		c.pages.Add(key, f)
	}
	c.mu.Unlock()
	f.once.Do(func() {
		if f.body, f.err = write(); f.err == nil {
			f.pack()
			f.body = nil
		}
		c.mu.Lock()
		defer c.mu.Unlock()
		if now, ok := c.pages.Peek(key); !ok || now != f {
			return // forgotten while it was made
		}
		if f.err != nil {
			c.pages.Remove(key)
			return
		}
		f.size = len(f.gz)
		c.bytes += f.size
		for c.bytes > c.most {
			c.pages.RemoveOldest()
		}
	})
	return f
}

// packed is a body as it goes to a reader. At the fastest level the page of a river is
// a seventh larger and no longer fits the ten packets that a server sends before it
// hears from a phone.
func packed(body []byte) []byte {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	z.Write(body)                 //nolint:errcheck // a buffer takes all
	z.Close()                     //nolint:errcheck // likewise
	return bytes.Clone(b.Bytes()) // without the room that it grew by
}

func (f *finished) pack() {
	f.gz = packed(f.body)
	sum := sha256.Sum256(f.body)
	f.tag = `"` + base64.RawURLEncoding.EncodeToString(sum[:12]) + `"`
}

// send answers with a finished page, or says that the reader has it.
func (f *finished) send(w http.ResponseWriter, r *http.Request, kind, vary string) {
	h := w.Header()
	h.Set("Content-Type", kind)
	h.Set("Cache-Control", "private, no-cache") // ask again, by the tag
	h.Set("ETag", "W/"+f.tag)                   // weak: the same for packed and plain
	h.Set("Vary", vary)
	if Has(r, f.tag) {
		w.WriteHeader(http.StatusNotModified)
		return
	}
	body := f.gz
	if TakesGzip(r) {
		h.Set("Content-Encoding", "gzip")
	} else {
		body = f.plain()
	}
	if r.Method != http.MethodHead {
		_, _ = w.Write(body) // a reader that went away is no fault
	}
}

// plain is the page as it was written.
func (f *finished) plain() []byte {
	if f.body != nil {
		return f.body
	}
	return Unpacked(f.gz)
}

// Unpacked is what was packed by gzip here.
func Unpacked(gz []byte) []byte {
	z, err := gzip.NewReader(bytes.NewReader(gz))
	if err != nil {
		panic(err) // we packed it
	}
	body, err := io.ReadAll(z)
	if err != nil {
		panic(err) // likewise
	}
	return body
}

// Has tells whether a reader has what a tag names (RFC 9110, section 13.1.2): tags are
// compared weakly, since proxies that pack make them weak.
func Has(r *http.Request, tag string) bool {
	for t := range strings.SplitSeq(strings.Join(r.Header.Values("If-None-Match"), ","), ",") {
		if t = strings.TrimSpace(t); t == "*" || strings.TrimPrefix(t, "W/") == tag {
			return true
		}
	}
	return false
}

// TakesGzip reads Accept-Encoding (RFC 9110, section 12.5.3).
func TakesGzip(r *http.Request) bool {
	for x := range strings.SplitSeq(strings.Join(r.Header.Values("Accept-Encoding"), ","), ",") {
		name, q, weighed := strings.Cut(strings.ToLower(strings.Join(strings.Fields(x), "")), ";")
		if name == "gzip" || name == "x-gzip" {
			weight, err := strconv.ParseFloat(strings.TrimPrefix(q, "q="), 64)
			return !weighed || err == nil && weight > 0
		}
	}
	return false
}
