package page

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/base64"
	"sync"
	"sync/atomic"
)

// counter counts changes.
type counter struct{ atomic.Int64 }

// cache keeps finished pages under keys that change whenever their content
// would. It forgets all when it is full: the next readers fill it again.
type cache struct {
	mu    sync.Mutex
	pages map[string]*finished
	bytes int
}

// maxCache bounds the bytes of kept pages. Our own default.
const maxCache = 64 << 20

// finished is a page as it is sent.
type finished struct {
	once sync.Once
	body []byte
	gz   []byte
	tag  string
	err  error
}

func newCache() *cache { return &cache{pages: map[string]*finished{}} }

// get returns the page of a key, made once however many ask for it at once. A
// failure is not kept.
func (c *cache) get(key string, write func() ([]byte, error)) *finished {
	c.mu.Lock()
	f := c.pages[key]
	if f == nil {
		f = &finished{}
		c.pages[key] = f
	}
	c.mu.Unlock()
	f.once.Do(func() {
		if f.body, f.err = write(); f.err == nil {
			f.pack()
		}
		c.mu.Lock()
		defer c.mu.Unlock()
		if f.err != nil {
			delete(c.pages, key)
			return
		}
		c.bytes += len(f.body) + len(f.gz)
		if c.bytes > maxCache || len(c.pages) > 20000 {
			c.pages, c.bytes = map[string]*finished{}, 0
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
