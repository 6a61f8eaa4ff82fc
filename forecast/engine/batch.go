package engine

import (
	"context"
	"fmt"
	"sync"
)

// Batch runs rivers 0..n-1 over a number of workers. load fills the river that
// it is given, whose buffers it may use again; it is called by several workers
// at once, each for another i. emit gets the results one at a time, in order of
// i, and must not keep them. What emit sees does not depend on the number of
// workers: a river is done by one of them, from start to end, in one order.
//
// The first error, in order of i, ends the batch, as does ctx; whatever came
// before has then been emitted. Memory is that of one river for each worker.
func Batch(ctx context.Context, n, workers int, load func(i int, r *River) error, emit func(i int, r *Result) error) error {
	workers = max(1, min(workers, n))
	var (
		mu   sync.Mutex
		turn = sync.NewCond(&mu)
		next int // to be taken
		due  int // to be emitted
		fail error
	)
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			var (
				e   Engine
				in  River
				out Result
			)
			for {
				mu.Lock()
				i := next
				next++
				stop := fail != nil || i >= n
				mu.Unlock()
				if stop {
					return
				}
				err := ctx.Err()
				if err == nil {
					if err = load(i, &in); err == nil {
						err = e.Forecast(&in, &out)
					}
				}
				mu.Lock()
				for due != i && fail == nil {
					turn.Wait()
				}
				if fail == nil {
					if err == nil {
						err = emit(i, &out)
					}
					if err != nil {
						fail = fmt.Errorf("river %d of %d: %w", i+1, n, err)
					}
					due++
				}
				turn.Broadcast()
				mu.Unlock()
			}
		})
	}
	wg.Wait()
	return fail
}
