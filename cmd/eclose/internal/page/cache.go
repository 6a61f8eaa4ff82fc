package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"net/http"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"

	"github.com/hashicorp/golang-lru/v2/simplelru"
)

// counter counts changes.
type counter struct{ atomic.Int64 }

// cache keeps finished pages under keys that change whenever their content
// would. When it is full it forgets those that were asked for longest ago.
type cache struct {
	mu    sync.Mutex
	pages *simplelru.LRU[string, *finished]
	bytes int // of the finished ones that are kept
	most  int
}

// The most bytes and number of kept pages. Our own defaults.
const (
	maxCache = 64 << 20
	maxPages = 20000
)

// finished is a page as it is sent.
type finished struct {
	once sync.Once
	body []byte
	gz   []byte
	tag  string
	err  error
	size int // as counted in cache.bytes
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
		f.size = len(f.body) + len(f.gz)
		c.bytes += f.size
		for c.bytes > c.most {
			c.pages.RemoveOldest()
		}
	})
	return f
}

func (f *finished) pack() {
	var b bytes.Buffer
	z, _ := gzip.NewWriterLevel(&b, gzip.BestSpeed) // the level is a valid one
	z.Write(f.body)                                 //nolint:errcheck // a buffer takes all
	z.Close()                                       //nolint:errcheck // likewise
	f.gz = b.Bytes()
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
	body := f.body
	if TakesGzip(r) {
		h.Set("Content-Encoding", "gzip")
		body = f.gz
	}
	if r.Method != http.MethodHead {
		_, _ = w.Write(body) // a reader that went away is no fault
	}
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
