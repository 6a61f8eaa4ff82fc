package api

import (
	"fmt"
	"net/http"
	"strings"
	"sync"
)

// maxKept bounds the bytes of kept answers. Our own default, that of the pages.
const maxKept = 64 << 20

// kept are answers that were given, under keys that change with all that they are made
// of. It forgets all when it is full.
type kept struct {
	mu      sync.Mutex
	answers map[string]*answer
	bytes   int
}

func (k *kept) get(key string) *answer {
	k.mu.Lock()
	defer k.mu.Unlock()
	return k.answers[key]
}

func (k *kept) put(key string, a *answer) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.answers == nil || k.bytes > maxKept {
		k.answers, k.bytes = map[string]*answer{}, 0
	}
	k.answers[key] = a
	k.bytes += len(a.body) + len(a.gz) + len(key)
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
	return b.String()
}
