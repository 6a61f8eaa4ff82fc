package series

import (
	"context"
	"fmt"
	"io/fs"
	"maps"
	"slices"
	"strings"
	"sync"
	"time"
)

// memBucket stands for shared storage: any number of stores may write to it.
type memBucket struct {
	mu  sync.Mutex
	all map[string][]byte
}

func newMemBucket() *memBucket { return &memBucket{all: map[string][]byte{}} }

func newMemStore() *Store {
	return &Store{url: "mem://", bucket: newMemBucket(), indexes: map[string]*index{}, writers: map[string]*sync.Mutex{}}
}

func (b *memBucket) read(_ context.Context, name string, limit int64) ([]byte, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	data, ok := b.all[name]
	switch {
	case !ok:
		return nil, fmt.Errorf("%s: %w", name, fs.ErrNotExist)
	case int64(len(data)) > limit:
		return nil, errTooLong
	}
	return slices.Clone(data), nil
}

func (b *memBucket) write(_ context.Context, name string, data []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.all[name] = slices.Clone(data)
	return nil
}

func (b *memBucket) create(_ context.Context, name string, data []byte) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, ok := b.all[name]; ok {
		return fmt.Errorf("%s: %w", name, fs.ErrExist)
	}
	b.all[name] = slices.Clone(data)
	return nil
}

func (b *memBucket) flush(context.Context) error { return nil }

func (b *memBucket) remove(_ context.Context, name string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if _, ok := b.all[name]; !ok {
		return fmt.Errorf("%s: %w", name, fs.ErrNotExist)
	}
	delete(b.all, name)
	return nil
}

func (b *memBucket) list(_ context.Context, folder string, yield func(object) error) error {
	b.mu.Lock()
	names := slices.Sorted(maps.Keys(b.all))
	sizes := map[string]int64{}
	for _, n := range names {
		sizes[n] = int64(len(b.all[n]))
	}
	b.mu.Unlock()
	for _, n := range names {
		if strings.HasPrefix(n, folder+"/") {
			if err := yield(object{n, sizes[n], time.Time{}}); err != nil {
				return err
			}
		}
	}
	return nil
}

func (b *memBucket) close() error { return nil }
