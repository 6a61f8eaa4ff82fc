package app

import (
	"context"
	"fmt"
	"sync"
	"time"

	"github.com/hashicorp/golang-lru/v2/simplelru"
	"golang.org/x/sync/singleflight"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
)

// Bounds of what a server keeps of whole forecasts: bytes, some 75 rivers of 90 stages, and
// their number. Lists of rivers do without them; see forecast.Outlook.Brief. Our own
// defaults.
const (
	maxOpened     = 32 << 20
	mostForecasts = 20000
)

// openFor is how long a forecast may take to be read. Our own default; a page may take ten
// seconds.
const openFor = 20 * time.Second

// opened are the whole forecasts that were asked for last. Whoever asks for one that is being
// read waits for that reading.
type opened struct {
	load  func(context.Context, archive.Issue) (*forecast.Outlook, error)
	most  int // bytes
	under singleflight.Group

	mu    sync.Mutex
	kept  *simplelru.LRU[string, *forecast.Outlook]
	bytes int
}

func newOpened(most int, load func(context.Context, archive.Issue) (*forecast.Outlook, error)) *opened {
	k := &opened{load: load, most: most}
	k.kept, _ = simplelru.NewLRU(mostForecasts, func(_ string, o *forecast.Outlook) { k.bytes -= o.Size() }) // fails for no number only
	return k
}

// get returns an issued forecast, which must not be changed. A reading that fails is tried
// again by the next who asks.
func (k *opened) get(ctx context.Context, i archive.Issue) (*forecast.Outlook, error) {
	key := fmt.Sprintf("%s %d %s", i.River, i.Issued.UnixNano(), i.ModelVersion)
	if o := k.have(key); o != nil {
		return o, nil
	}
	read := k.under.DoChan(key, func() (any, error) {
		if o := k.have(key); o != nil { // it came while we looked
			return o, nil
		}
		// Others may wait for it when the first who asked has left.
		ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), openFor)
		defer cancel()
		o, err := k.load(ctx, i)
		if err == nil {
			k.keep(key, o)
		}
		return o, err
	})
	select {
	case x := <-read:
		if x.Err != nil {
			return nil, x.Err
		}
		return x.Val.(*forecast.Outlook), nil //nolint:forcetypeassert // the function above returns no other
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

func (k *opened) have(key string) *forecast.Outlook {
	k.mu.Lock()
	defer k.mu.Unlock()
	o, _ := k.kept.Get(key)
	return o
}

func (k *opened) keep(key string, o *forecast.Outlook) {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.kept.Add(key, o)
	for k.bytes += o.Size(); k.bytes > k.most; {
		k.kept.RemoveOldest()
	}
}
