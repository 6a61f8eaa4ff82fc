package client

import "sync"

// Validators are what a server gives to recognise an answer by.
type Validators struct{ ETag, LastModified string }

// Cache remembers validators by URL.
type Cache interface {
	Get(url string) (Validators, bool)
	Put(url string, v Validators)
}

// Memory is a Cache that lasts as long as the process.
type Memory struct {
	mu sync.Mutex
	m  map[string]Validators
}

// NewMemory is an empty Memory.
func NewMemory() *Memory { return &Memory{m: map[string]Validators{}} }

// Get implements Cache.
func (m *Memory) Get(url string) (Validators, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	v, ok := m.m[url]
	return v, ok
}

// Put implements Cache.
func (m *Memory) Put(url string, v Validators) {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.m[url] = v
}
