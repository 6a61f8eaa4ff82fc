package schedule

import (
	"sync"

	"example.org/eclose/ingest"
)

// LeftOut gathers what parsers left out of their answers, by site, until it is
// taken. The zero value is ready; it is safe for concurrent use.
type LeftOut struct {
	mu sync.Mutex
	by map[string][]ingest.Skipped
}

// Add counts one part that was left out. The pages of one answer repeat
// themselves: they are summed up.
func (l *LeftOut) Add(s ingest.Skipped) {
	l.mu.Lock()
	defer l.mu.Unlock()
	if l.by == nil {
		l.by = map[string][]ingest.Skipped{}
	}
	for i, x := range l.by[s.Site] {
		if x.What == s.What && x.Why == s.Why {
			l.by[s.Site][i].Readings += s.Readings
			return
		}
	}
	l.by[s.Site] = append(l.by[s.Site], s)
}

// Take returns what was left out of the answers of a site since the last call.
// A nil LeftOut gathers nothing.
func (l *LeftOut) Take(site string) []ingest.Skipped {
	if l == nil {
		return nil
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	out := l.by[site]
	delete(l.by, site)
	return out
}
