package site

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"example.org/eclose/forecast/export"
)

// Options of a copy.
type Options struct {
	Pages http.Handler
	Live  string    // address of a running server, for forms; empty: they are left out
	Now   time.Time // of the copy
	Days  int       // day pages ahead of each river; 0: fourteen
}

// Result is what was written.
type Result struct{ Files, Removed int }

// listName is the file that lists what the last copy wrote.
const listName = ".eclose-site"

// begin is where the links are followed from.
var begin = []string{"/", "/calendar.ics", "/cautions.atom", "/assets/icon.svg"}

// Write makes the copy in a folder, or brings an older one up to date. Each file
// appears whole; what an older copy wrote and this one does not is removed.
func Write(ctx context.Context, dir string, o Options) (Result, error) {
	if o.Days == 0 {
		o.Days = 14
	}
	var r Result
	c := &copier{Options: o, dir: dir}
	if err := c.crawl(ctx); err != nil {
		return r, err
	}
	old, err := os.ReadFile(filepath.Join(dir, listName))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return r, fmt.Errorf("reading what the last copy wrote: %w", err)
	}
	slices.Sort(c.written)
	if err := c.write(listName, []byte(strings.Join(c.written, "\n")+"\n")); err != nil {
		return r, err
	}
	r.Files = len(c.written)
	for name := range strings.FieldsSeq(string(old)) {
		if _, kept := slices.BinarySearch(c.written, name); kept || !filepath.IsLocal(name) {
			continue
		}
		switch err := os.Remove(filepath.Join(dir, name)); {
		case err == nil:
			r.Removed++
			_ = os.Remove(filepath.Join(dir, path.Dir(name))) // the folder of a day; one that holds more stays
		case !errors.Is(err, fs.ErrNotExist):
			return r, fmt.Errorf("removing a page of the last copy: %w", err)
		}
	}
	return r, nil
}

type copier struct {
	Options
	dir     string
	queue   []string
	seen    map[string]bool
	written []string
}

// crawl writes every page that can be reached.
func (c *copier) crawl(ctx context.Context) error {
	c.seen = map[string]bool{}
	for _, p := range begin {
		c.want(p)
	}
	for len(c.queue) > 0 {
		p := c.queue[0]
		c.queue = c.queue[1:]
		body, kind, err := c.fetch(ctx, p)
		if err != nil {
			return err
		}
		if strings.HasPrefix(kind, "text/html") {
			if body, err = c.rewrite(p, body); err != nil {
				return fmt.Errorf("copying %s: %w", p, err)
			}
		}
		name := fileOf(p)
		if err := c.write(name, body); err != nil {
			return err
		}
		c.written = append(c.written, name)
	}
	return nil
}

// want queues a page once.
func (c *copier) want(p string) {
	if !c.seen[p] {
		c.seen[p] = true
		c.queue = append(c.queue, p)
	}
}

func (c *copier) write(name string, b []byte) error {
	full := filepath.Join(c.dir, filepath.FromSlash(name))
	if err := os.MkdirAll(filepath.Dir(full), 0o755); err != nil {
		return fmt.Errorf("making the folder of %s: %w", name, err)
	}
	return export.File(full, func(w io.Writer) error { _, err := w.Write(b); return err })
}

// copied tells of a path of the pages whether the copy has it: what is the same for
// all readers and is made without a form.
func (c *copier) copied(p string) bool {
	parts := strings.Split(strings.Trim(p, "/"), "/")
	switch parts[0] {
	case "", "about", "data", "record", "assets", "calendar.ics", "cautions.atom":
		return true
	case "river":
		if len(parts) == 4 && parts[2] == "day" {
			d, err := time.Parse(time.DateOnly, parts[3])
			ahead := d.Sub(c.Now.UTC().Truncate(24 * time.Hour))
			return err == nil && ahead >= -24*time.Hour && ahead <= time.Duration(c.Days)*24*time.Hour
		}
		return true
	}
	return false
}

// fileOf is the file of a page: one without an ending is a folder with an index.
func fileOf(p string) string {
	p = strings.TrimPrefix(p, "/")
	if path.Ext(p) == "" {
		return path.Join(p, "index.html")
	}
	return p
}

// response takes what the pages answer.
type response struct {
	header http.Header
	code   int
	body   bytes.Buffer
}

func (r *response) Header() http.Header         { return r.header }
func (r *response) Write(b []byte) (int, error) { return r.body.Write(b) }
func (r *response) WriteHeader(code int)        { r.code = code }

func (c *copier) fetch(ctx context.Context, p string) (body []byte, kind string, err error) {
	req, err := http.NewRequestWithContext(ctx, http.MethodGet, p, nil)
	if err != nil {
		return nil, "", fmt.Errorf("copying %s: %w", p, err)
	}
	req.RequestURI = p
	r := &response{header: http.Header{}, code: http.StatusOK}
	c.Pages.ServeHTTP(r, req)
	if r.code != http.StatusOK {
		return nil, "", fmt.Errorf("copying %s: the page answers %d", p, r.code)
	}
	return r.body.Bytes(), r.header.Get("Content-Type"), nil
}
