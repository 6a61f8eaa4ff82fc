package page

import (
	"context"
	"sync"

	"example.org/eclose/forecast"
)

// Memory is Data in memory: whoever issues outlooks and judges cautions puts
// them there, and the pages take them from it.
type Memory struct {
	rivers []forecast.River
	mu     sync.RWMutex
	states map[string]*State
	feeds  []Feed
}

// NewMemory returns an empty cache for some rivers.
func NewMemory(rivers []forecast.River) *Memory {
	return &Memory{rivers: rivers, states: map[string]*State{}}
}

// Put replaces what is known of a river. The state must not be changed after.
func (s *Memory) Put(slug string, st *State) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.states[slug] = st
}

// PutFeeds replaces how fresh the sources are.
func (s *Memory) PutFeeds(feeds []Feed) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.feeds = feeds
}

// Rivers is part of Data.
func (s *Memory) Rivers() []forecast.River { return s.rivers }

// State is part of Data.
func (s *Memory) State(_ context.Context, slug string) (*State, error) {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.states[slug], nil
}

// Feeds is part of Data.
func (s *Memory) Feeds(context.Context) ([]Feed, error) {
	s.mu.RLock()
	defer s.mu.RUnlock()
	return s.feeds, nil
}
