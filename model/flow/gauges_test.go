package flow

import (
	"compress/gzip"
	"encoding/csv"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"sync"
	"testing"
	"time"
)

func long() bool { return os.Getenv("ECLOSE_LONG") == "1" }

// shared is a file of the published tables; a test skips without it, and fails in CI.
func shared(t testing.TB, elem ...string) string {
	t.Helper()
	root := os.Getenv("ECLOSE_SHARED")
	if root == "" {
		root = filepath.Join("..", "..", "..", "shared")
	}
	path := filepath.Join(append([]string{root}, elem...)...)
	if _, err := os.Stat(path); err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf("check data: %v", err)
		}
		t.Skipf("no check data: %v", err)
	}
	return path
}

// gauge is one of the check set's gauges of the United States.
type gauge struct {
	id string
	in Input
}

func dayOf(y, m, d int) int {
	return int(time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// waterYears are the first days of the four water years of the gauges, and the end.
var waterYears = []int{dayOf(2016, 10, 1), dayOf(2017, 10, 1), dayOf(2018, 10, 1), dayOf(2019, 10, 1), dayOf(2020, 10, 1)}

// wide reads a table of days by gauges.
func wide(t testing.TB, name string) (ids []string, columns map[string][]float64) {
	t.Helper()
	f, err := os.Open(shared(t, "streamtemp", "usgs410", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	z, err := gzip.NewReader(f)
	if err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(z).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	ids, columns = rows[0][2:], map[string][]float64{}
	for i, r := range rows[1:] {
		d, err := time.Parse("1/2/2006", r[0])
		if err != nil {
			t.Fatal(err)
		}
		if int(d.Unix()/86400) != waterYears[0]+i {
			t.Fatalf("%s: row %d is out of order", name, i+2)
		}
		for j, s := range r[2:] {
			v, err := strconv.ParseFloat(s, 64)
			if err != nil {
				v = math.NaN()
			}
			columns[ids[j]] = append(columns[ids[j]], v)
		}
	}
	return ids, columns
}

const footToMetre3 = 0.028316846592

// readGauges returns the gauges with at least 95 % of their flow and none that runs
// backwards. The air of a calendar day is the mean of two PRISM days, which end at
// 12 UTC.
func readGauges(t testing.TB) []gauge {
	t.Helper()
	ids, flow := wide(t, "Discharge_2016_2020.csv.gz")
	_, air := wide(t, "PRISM_tmean_2016_2020.csv.gz")
	var out []gauge
	for _, id := range ids {
		q, a := flow[id], air[id]
		if a == nil || known(q) < len(q)*95/100 || slices.ContainsFunc(q, func(v float64) bool { return v < 0 }) {
			continue
		}
		in := Input{Day0: waterYears[0], Air: make([]float64, len(q)), Flow: make([]float64, len(q))}
		for i := range q {
			in.Air[i] = (a[i] + a[min(i+1, len(a)-1)]) / 2
			in.Flow[i] = q[i] * footToMetre3
		}
		out = append(out, gauge{id, in})
	}
	return out
}

// rotated puts one of the four water years last, so that three years are the past
// and the fourth the future. It returns the history and the index of its last year.
func rotated(in Input, last int) (out Input, cut int) {
	out.Day0 = in.Day0
	add := func(y int) {
		from, to := waterYears[y]-in.Day0, waterYears[y+1]-in.Day0
		out.Air = append(out.Air, in.Air[from:to]...)
		out.Flow = append(out.Flow, in.Flow[from:to]...)
	}
	for y := range 4 {
		if y != last {
			add(y)
		}
	}
	cut = len(out.Flow)
	add(last)
	return out, cut
}

func (in Input) slice(from, to int) Input {
	out := Input{Day0: in.Day0 + from, Flow: in.Flow[from:to]}
	if in.Air != nil {
		out.Air = in.Air[from:to]
	}
	if in.Rain != nil {
		out.Rain = in.Rain[from:to]
	}
	return out
}

// each calls work for every number below n, on all cores.
func each(n int, work func(int)) {
	var wg sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range next {
				work(i)
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	wg.Wait()
}

// crps is the continuous ranked probability score of sorted members, in their unit.
func crps(y float64, sorted []float64) float64 {
	m := float64(len(sorted))
	err, spread := 0.0, 0.0
	for i, v := range sorted {
		err += math.Abs(v - y)
		spread += v * (2*float64(i) + 1 - m)
	}
	return err/m - spread/(m*m)
}
