package series

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// Store keeps series under one URL. All methods may be called at once from
// several goroutines; changes to one bundle follow one another.
type Store struct {
	url      string
	bucket   bucket
	readOnly bool
	sole     bool // no other process can write

	mu      sync.Mutex
	indexes map[string]*index // the newest ones, if sole
	writers map[string]*sync.Mutex
}

// ErrInUse is wrapped by the error of Open when another process writes to the store.
var ErrInUse = errors.New("series store in use")

// ErrNotFound is wrapped by errors about a series that the store does not hold.
var ErrNotFound = errors.New("no such series")

// DamagedError says that a file of the store is not as it was written.
type DamagedError struct {
	File    string // path or URL
	Series  string // which series it belongs to, if known
	Problem string

	bundle string // its path, if the file is an index
}

func (e *DamagedError) Error() string {
	text := e.File + " is damaged: " + e.Problem
	if e.Series != "" {
		text += " (it holds part of " + e.Series + ")"
	}
	return text + "; restore it from a backup, or download the series again into a new store"
}

// Option changes how a store is opened.
type Option func(*options)

type options struct {
	readOnly bool
	wait     time.Duration
}

// ReadOnly opens a store without taking the writer's lock, so that it can be
// looked at while another process fills it. All changes are refused.
func ReadOnly() Option { return func(o *options) { o.readOnly = true } }

// WaitForWriter makes Open wait that long for another process to end its
// writing; without it Open refuses at once.
func WaitForWriter(d time.Duration) Option { return func(o *options) { o.wait = d } }

// Open opens the store at a URL, or in the folder of a plain path. A folder
// that does not exist is made, unless the store is opened to read. A bucket must
// exist: see openBucket for its URL.
func Open(ctx context.Context, storeURL string, opts ...Option) (*Store, error) {
	var o options
	for _, opt := range opts {
		opt(&o)
	}
	s := &Store{url: storeURL, readOnly: o.readOnly, indexes: map[string]*index{}, writers: map[string]*sync.Mutex{}}
	folder, local, err := folderOf(storeURL)
	if err != nil {
		return nil, err
	}
	if !local {
		if s.bucket, err = openBucket(ctx, storeURL); err != nil {
			return nil, fmt.Errorf("opening series store %s: %w", storeURL, err)
		}
		return s, nil
	}
	s.url = folder
	d := newDirBucket(folder)
	s.bucket = d
	if o.readOnly {
		info, err := os.Stat(folder)
		if err == nil && !info.IsDir() {
			err = errors.New("it is not a folder")
		}
		if errors.Is(err, fs.ErrNotExist) {
			err = errors.New("the folder does not exist")
		}
		if err != nil {
			return nil, fmt.Errorf("opening series store %s: %w", folder, err)
		}
		return s, nil
	}
	if err := d.makeFolder(folder); err != nil {
		return nil, fmt.Errorf("making the folder of series store %s: %w", folder, err)
	}
	if d.lock, err = lockFolder(ctx, folder, o.wait); err != nil {
		return nil, err
	}
	s.sole = true
	return s, nil
}

// folderOf tells a folder of the local disk from a URL of anything else.
func folderOf(storeURL string) (folder string, local bool, err error) {
	if storeURL == "" {
		return "", false, errors.New("opening series store: no URL given; use file:///a/folder")
	}
	if !strings.Contains(storeURL, "://") {
		folder, err = filepath.Abs(storeURL)
		return folder, true, err
	}
	u, err := url.Parse(storeURL)
	if err != nil {
		return "", false, fmt.Errorf("opening series store: %w", err)
	}
	if u.User != nil {
		return "", false, fmt.Errorf("opening series store %s://…: do not put keys in the URL; set AWS_ACCESS_KEY_ID and AWS_SECRET_ACCESS_KEY", u.Scheme)
	}
	if u.Scheme != "file" {
		return "", false, nil
	}
	path := u.Path
	switch {
	case u.Host == ".": // file://./a/folder is relative
		path = "." + path
	case u.Host != "" && u.Host != "localhost":
		return "", false, fmt.Errorf("opening series store %s: a file URL has no host; write file:///a/folder", storeURL)
	case os.PathSeparator != '/':
		path = strings.TrimPrefix(path, "/")
	}
	folder, err = filepath.Abs(filepath.FromSlash(path))
	return folder, true, err
}

// Close gives up the writer's lock. The store must not be used afterwards.
func (s *Store) Close() error {
	if err := s.bucket.close(); err != nil {
		return fmt.Errorf("closing series store %s: %w", s.url, err)
	}
	return nil
}

// locate names a file of the store in a way the reader can find it.
func (s *Store) locate(name string) string {
	if d, ok := s.bucket.(*dirBucket); ok {
		return d.path(name)
	}
	place, _, _ := strings.Cut(s.url, "?")
	return strings.TrimSuffix(place, "/") + "/" + name
}

// writer returns the mutex of a bundle: one change at a time.
func (s *Store) writer(bundlePath string) *sync.Mutex {
	s.mu.Lock()
	defer s.mu.Unlock()
	m := s.writers[bundlePath]
	if m == nil {
		m = new(sync.Mutex)
		s.writers[bundlePath] = m
	}
	return m
}

func (s *Store) mayWrite() error {
	if s.readOnly {
		return fmt.Errorf("series store %s is open read-only", s.url)
	}
	return nil
}
