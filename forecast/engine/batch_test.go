package engine

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash"
	"hash/fnv"
	"os"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// digest takes in every bit of a result.
func digest(h hash.Hash64, r *Result) error {
	for k := range r.Groups {
		for s := range r.Groups[k] {
			g := &r.Groups[k][s]
			for _, v := range []any{g.P, g.PCalendar} {
				if err := binary.Write(h, binary.LittleEndian, v); err != nil {
					return err
				}
			}
			if _, err := fmt.Fprintln(h, g.Window, g.WindowCalendar); err != nil {
				return err
			}
		}
	}
	return nil
}

func TestTheSameBytesForAnyNumberOfWorkers(t *testing.T) {
	const n = 40
	var want uint64
	for _, workers := range []int{1, 2, 3, 8, 100} {
		h := fnv.New64a()
		due := 0
		err := Batch(context.Background(), n, workers,
			func(i int, r *River) error {
				if i%7 == 3 {
					runtime.Gosched() // let others overtake
				}
				*r = *invent(uint64(i), 12, 120, 4, 40)
				return nil
			},
			func(i int, r *Result) error {
				if i != due {
					t.Errorf("river %d came when %d was due", i, due)
				}
				due++
				return digest(h, r)
			})
		if err != nil || due != n {
			t.Fatalf("%d workers: %d rivers, %v", workers, due, err)
		}
		if want == 0 {
			want = h.Sum64()
		}
		if h.Sum64() != want {
			t.Errorf("%d workers gave other bytes than one", workers)
		}
	}
}

func TestABatchStopsAtItsFirstError(t *testing.T) {
	broken := errors.New("gauge 7 has no water")
	for _, workers := range []int{1, 4} {
		emitted := 0
		load := func(i int, r *River) error {
			if i >= 7 {
				return fmt.Errorf("%d: %w", i, broken)
			}
			*r = *invent(uint64(i), 3, 60, 1, 20)
			return nil
		}
		err := Batch(context.Background(), 30, workers, load, func(int, *Result) error { emitted++; return nil })
		if !errors.Is(err, broken) || !strings.Contains(err.Error(), "river 8 of 30: 7") || emitted != 7 {
			t.Errorf("%d workers: %d rivers, %v", workers, emitted, err)
		}
		full := errors.New("disk full")
		err = Batch(context.Background(), 30, workers, load, func(i int, _ *Result) error {
			if i == 2 {
				return full
			}
			return nil
		})
		if !errors.Is(err, full) {
			t.Errorf("%d workers: %v, want the error of emit", workers, err)
		}
		ctx, cancel := context.WithCancel(context.Background())
		err = Batch(ctx, 1000, workers, func(i int, r *River) error { *r = *invent(1, 3, 60, 1, 20); return nil },
			func(i int, _ *Result) error {
				if i == 5 {
					cancel()
				}
				return nil
			})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("%d workers: %v, want canceled", workers, err)
		}
		cancel()
	}
	if err := Batch(context.Background(), 0, 4, nil, nil); err != nil {
		t.Errorf("no rivers: %v", err)
	}
}

// nation makes invented gauges: ten regions whose groups share their draws, and
// for each gauge the region's water moved and stretched by its own amount. With
// apart, each gauge has calendar draws of its own as well.
func nation(members, days, groups int, apart bool) func(i int, r *River) error {
	const regions = 10
	base := make([]*River, regions)
	for k := range base {
		base[k] = invent(uint64(k), members, days, groups, 120)
	}
	return func(i int, r *River) error {
		b := base[i%regions]
		r.Members, r.Days = members, days
		r.TempC = grow(r.TempC, len(b.TempC))
		shift := float32(i%101)/50 - 1
		stretch := 1 + float32(i%37)/370
		for k, t := range b.TempC {
			r.TempC[k] = max(t*stretch+shift, 0)
		}
		if !apart {
			r.Groups = b.Groups
			return nil
		}
		r.Groups = grow(r.Groups, groups)
		for k, g := range b.Groups {
			own := r.Groups[k].Calendar
			r.Groups[k] = g
			r.Groups[k].Calendar = grow(own, members)
			for m, c := range g.Calendar {
				r.Groups[k].Calendar[m] = c + float64(shift)
			}
		}
		return nil
	}
}

// BenchmarkNational runs ECLOSE_GAUGES gauges (250 unless told) x 40 groups x 2
// stages x 200 members x 240 days with two workers. One process measures one
// size, since the peak of memory is that of the process.
func BenchmarkNational(b *testing.B) {
	n := 250
	if s := os.Getenv("ECLOSE_GAUGES"); s != "" {
		var err error
		if n, err = strconv.Atoi(s); err != nil {
			b.Fatal(err)
		}
	}
	for _, apart := range []bool{false, true} {
		b.Run(map[bool]string{false: "regional-calendars", true: "own-calendars"}[apart], func(b *testing.B) {
			load := nation(200, 240, 40, apart)
			for b.Loop() {
				h := fnv.New64a()
				cpu, start := processorTime(b), time.Now()
				if err := Batch(b.Context(), n, 2, load, func(_ int, r *Result) error { return digest(h, r) }); err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(time.Since(start).Seconds(), "s")
				b.ReportMetric(processorTime(b)-cpu, "cpu-s")
				b.ReportMetric(1e3*(processorTime(b)-cpu)/float64(n), "cpu-ms/gauge")
				b.ReportMetric(peakMiB(b), "peak-MiB")
			}
		})
	}
}

func processorTime(t testing.TB) float64 {
	u := usage(t)
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}

func peakMiB(t testing.TB) float64 { return float64(usage(t).Maxrss) / 1024 }

func usage(t testing.TB) (u syscall.Rusage) {
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		t.Fatal(err)
	}
	return u
}
