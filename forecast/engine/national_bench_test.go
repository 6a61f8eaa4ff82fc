//go:build unix

package engine

import (
	"encoding/binary"
	"fmt"
	"hash"
	"hash/fnv"
	"os"
	"strconv"
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
// stages x 200 members x 240 days, one after the other. One process measures one
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
				var (
					e   Engine
					in  River
					out Result
				)
				for i := range n {
					if err := load(i, &in); err != nil {
						b.Fatal(err)
					}
					if err := e.Forecast(&in, &out); err != nil {
						b.Fatal(err)
					}
					if err := digest(h, &out); err != nil {
						b.Fatal(err)
					}
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
