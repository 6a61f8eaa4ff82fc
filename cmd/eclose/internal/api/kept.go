package api

import (
	"fmt"
	"net/http"
	"strings"
	"sync"

	"github.com/hashicorp/golang-lru/v2/simplelru"

	pages "example.org/eclose/cmd/eclose/internal/page"
)

// Bounds of what is kept: bytes and number of answers. Our own defaults.
const (
	maxKept    = 16 << 20
	maxAnswers = 20000
)

// kept are answers that were given, packed, under keys that change with all that they
// are made of. When it is full it forgets those that were asked for longest ago.
type kept struct {
	mu      sync.Mutex
	answers *simplelru.LRU[string, *answer]
	bytes   int
	most    int
}

func newKept(most int) *kept {
	k := &kept{most: most}
	k.answers, _ = simplelru.NewLRU(maxAnswers, func(key string, a *answer) { k.bytes -= a.size(key) }) // fails for no number only
	return k
}

func (k *kept) get(key string) *answer {
	k.mu.Lock()
	defer k.mu.Unlock()
	a, _ := k.answers.Get(key)
	return a
}

func (k *kept) put(key string, a *answer) {
	if a.gz != nil { // the plain one is many times as large, and rarely asked for
		packed := *a
		packed.body, a = nil, &packed
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	k.answers.Remove(key) // two may have made it
	k.answers.Add(key, a)
	for k.bytes += a.size(key); k.bytes > k.most; {
		k.answers.RemoveOldest()
	}
}

func (a *answer) size(key string) int { return len(a.body) + len(a.gz) + len(key) }

// plain is the answer as it was written.
func (a *answer) plain() []byte {
	if a.body != nil || a.gz == nil {
		return a.body
	}
	return pages.Unpacked(a.gz)
}

// key names what an answer is made of: what is asked for, in which format, in which
// minute, and of each river that it speaks of the forecast and the caution, also whether
// that still counts. Empty: the answer is not kept.
func (s *service) key(r *http.Request) string {
	if r.Method != http.MethodGet {
		return ""
	}
	one := ""
	if rest, ok := strings.CutPrefix(r.URL.Path, Root+"/rivers/"); ok {
		one, _, _ = strings.Cut(rest, "/")
	}
	now := s.Now()
	var b strings.Builder
	fmt.Fprintf(&b, "%s %s %d", r.RequestURI, r.Header.Get("Accept"), now.Unix()/60)
	for _, river := range s.Data.Rivers() {
		if one != "" && river.Slug != one {
			continue
		}
		st, err := s.Data.State(r.Context(), river.Slug)
		if err != nil {
			return ""
		}
		if st == nil || st.Outlook == nil {
			b.WriteString(" -")
			continue
		}
		fmt.Fprintf(&b, " %d %d %t", st.Outlook.IssuedAt.UnixNano(), st.CautionAt.UnixNano(), st.Judged(now).Known)
	}
	return pages.Digest(b.String())
}
