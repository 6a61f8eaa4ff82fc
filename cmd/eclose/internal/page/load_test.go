package page

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// The size that the load is tried at.
const (
	manyRivers = 50
	manyGroups = 40
	perSecond  = 200
)

// crowd is a memory of many rivers with many groups each: the groups of several
// regions at invented rivers.
func crowd(tb testing.TB, c *insects.Catalogue, many int) *Memory {
	tb.Helper()
	rec := inventRecord(1)
	var all []forecast.StageOutlook
	var base *forecast.Outlook
	groups := map[string]bool{}
	for _, region := range []insects.Region{insects.Rockies, insects.PacificNWCA, insects.Northeast} {
		o, err := rec.Outlook(forecast.River{Slug: "crowd", Name: "Crowd", Region: string(region), Zone: "America/Los_Angeles", Lat: 45.2, Lon: -131.4}, c, forecast.Options{Members: 60})
		if err != nil {
			tb.Fatal(err)
		}
		if base == nil {
			base = o
		}
		taken := map[string]bool{}
		for i := range o.Stages {
			g := o.Stages[i].Group
			if !groups[g] && len(groups) < manyGroups {
				groups[g], taken[g] = true, true
			}
			if taken[g] {
				all = append(all, o.Stages[i])
			}
		}
	}
	if len(groups) < manyGroups {
		tb.Fatalf("only %d groups", len(groups))
	}
	var rivers []forecast.River
	for i := range many {
		rivers = append(rivers, forecast.River{Slug: fmt.Sprintf("river-%02d", i), Name: fmt.Sprintf("River %d", i), Region: "rockies", Zone: "America/Los_Angeles", Lat: 45.2 + 0.01*float64(i), Lon: -131.4})
	}
	memory := NewMemory(rivers)
	for i, r := range rivers {
		o := *base
		o.River, o.RiverName, o.Stages = r.Slug, r.Name, later(all, forecast.Date(i%11))
		memory.Put(r.Slug, &State{Outlook: &o, Caution: wading.Assess(wading.Input{At: noon, Flow: wading.Reading{Value: 9 + 0.37*float64(i), Age: time.Hour, Present: true}}), CautionAt: noon,
			Flows: &trip.Flows{Day0: rec.Day0, M3s: rec.Flow}})
	}
	return memory
}

// later are stages some days later, so that rivers differ: a hundred alike would
// compress to next to nothing.
func later(stages []forecast.StageOutlook, by forecast.Date) []forecast.StageOutlook {
	out := slices.Clone(stages)
	for i := range out {
		s := &out[i]
		s.Days.From += by
		for _, w := range []*forecast.Window{&s.Window, &s.Calendar} {
			for _, x := range []*forecast.Range{&w.Start, &w.Peak, &w.End} {
				if x.P50 != 0 {
					x.P10, x.P50, x.P90 = x.P10+by, x.P50+by, x.P90+by
				}
			}
		}
	}
	return out
}

// running is a clock that starts at noon.
func running() func() time.Time {
	began := time.Now()
	return func() time.Time { return noon.Add(time.Since(began)) }
}

func crowdPages(tb testing.TB, n int, now func() time.Time) *Pages {
	tb.Helper()
	c, err := insects.Load()
	if err != nil {
		tb.Fatal(err)
	}
	h, err := New(Options{Data: crowd(tb, c, n), Catalogue: c, Now: now, PerSecond: 1e9})
	if err != nil {
		tb.Fatal(err)
	}
	return h
}

// BenchmarkRiverPageMade is a river's page with 40 groups made anew, as happens
// once a minute and river.
func BenchmarkRiverPageMade(b *testing.B) {
	c, err := insects.Load()
	if err != nil {
		b.Fatal(err)
	}
	at := noon
	h, err := New(Options{Data: crowd(b, c, manyRivers), Catalogue: c, Now: func() time.Time { return at }, PerSecond: 1e9})
	if err != nil {
		b.Fatal(err)
	}
	w := &world{handler: h}
	b.ReportAllocs()
	size := 0
	for b.Loop() {
		at = at.Add(time.Minute)
		size = w.get("/river/river-07").Body.Len()
	}
	b.ReportMetric(float64(size), "page-bytes")
}

// BenchmarkHomePageMade is the front page of a hundred rivers with 40 groups each made
// anew, as happens once a minute.
func BenchmarkHomePageMade(b *testing.B) {
	at := noon
	h := crowdPages(b, 100, func() time.Time { return at })
	w := &world{handler: h}
	b.ReportAllocs()
	size := 0
	for b.Loop() {
		at = at.Add(time.Minute)
		size = w.get("/").Body.Len()
	}
	b.ReportMetric(float64(size), "page-bytes")
}

// BenchmarkSeasonDrawn is a season of 40 groups drawn, as happens once an
// outlook and river.
func BenchmarkSeasonDrawn(b *testing.B) {
	c, err := insects.Load()
	if err != nil {
		b.Fatal(err)
	}
	memory := crowd(b, c, manyRivers)
	st, _ := memory.State(b.Context(), "river-07")
	today := forecast.DateOf(noon)
	b.ReportAllocs()
	for b.Loop() {
		seasonOf(st.Outlook, c, insects.Rockies, today-seasonBack, seasonDays, today, nil)
	}
}

const serveOnly = "ECLOSE_PAGE_SERVE_ONLY"

// BenchmarkTwoHundredASecond asks a server in a process of its own, on one
// processor, for river pages at 200 requests a second, whether or not it keeps
// up, and reports how long after its due time each answer was there. Nobody asked
// before: the seasons are drawn ahead, as eclose serve does at its start, and no
// page is made. -benchtime 13000x is a minute, in which each is made once more.
// One operation is one request. BenchmarkPagesOfAHundred asks a hundred rivers
// for a mix of pages, each of which was asked for once before.
func BenchmarkTwoHundredASecond(b *testing.B) {
	load(b, manyRivers, []string{"/river/river-%02d"})
}

func BenchmarkPagesOfAHundred(b *testing.B) {
	load(b, 100, []string{"/river/river-%02d", "/river/river-%02d/season", "/river/river-%02d", "/river/river-%02d/water", "/river/river-%02d",
		fmt.Sprintf("/river/river-%%02d/day/%s", forecast.DateOf(noon)+3), "/", "/river/river-%02d/calendar.ics", "/river/river-%02d/feed.atom", "/river/river-%02d/caution.xml"})
}

func load(b *testing.B, rivers int, paths []string) {
	if os.Getenv(serveOnly) != "" {
		serveCrowd(b, rivers)
		return
	}
	if b.N == 1 { // the round in which a benchmark tries itself
		return
	}
	server := exec.Command("taskset", "-c", "0", os.Args[0], "-test.run=^$", "-test.bench=^"+b.Name()+"$", "-test.benchtime=1x")
	server.Env = append(os.Environ(), serveOnly+"=1", "GOMAXPROCS=1")
	stdin, err := server.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	stdout, err := server.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	server.Stderr = os.Stderr
	if err := server.Start(); err != nil {
		b.Skipf("no taskset here: %v", err)
	}
	defer server.Process.Kill() // in vain if it has ended
	root := ""
	for lines := bufio.NewScanner(stdout); root == "" && lines.Scan(); {
		if strings.HasPrefix(lines.Text(), "drawn in ") {
			b.Logf("the seasons of %d rivers were %s", rivers, lines.Text())
		}
		if _, after, ok := strings.Cut(lines.Text(), "pages at "); ok {
			root = after
		}
	}
	if root == "" {
		b.Fatal("the server did not start")
	}
	go io.Copy(io.Discard, stdout)
	path := func(i int) string {
		if p := paths[i%len(paths)]; strings.Contains(p, "%") {
			return fmt.Sprintf(p, (i/len(paths)*7+i)%rivers) // in time, each river on each path
		}
		return paths[i%len(paths)]
	}
	client := &http.Client{Timeout: 10 * time.Second, Transport: &http.Transport{MaxIdleConnsPerHost: 64, DisableCompression: true}}
	late := make([]time.Duration, b.N)
	size := make([]int64, b.N)
	if len(paths) > 1 {
		for i := range rivers * len(paths) {
			if res, err := client.Get(root + path(i)); err != nil || res.StatusCode != http.StatusOK || res.Body.Close() != nil {
				b.Fatalf("%s: %v", path(i), err)
			}
		}
	}
	var wg sync.WaitGroup
	b.ResetTimer()
	began := time.Now()
	for i := range b.N {
		due := began.Add(time.Duration(i) * time.Second / perSecond)
		time.Sleep(time.Until(due))
		wg.Go(func() {
			req, err := http.NewRequestWithContext(context.Background(), http.MethodGet, root+path(i), nil)
			if err != nil {
				b.Error(err)
				return
			}
			req.Header.Set("Accept-Encoding", "gzip")
			res, err := client.Do(req)
			if err != nil {
				b.Error(err)
				return
			}
			size[i], err = io.Copy(io.Discard, res.Body)
			if err != nil || res.Body.Close() != nil || res.StatusCode != http.StatusOK {
				b.Errorf("%s: %s, %v", path(i), res.Status, err)
			}
			late[i] = time.Since(due)
		})
	}
	wg.Wait()
	b.StopTimer()
	stdin.Close()
	server.Wait()
	cpu := server.ProcessState.UserTime() + server.ProcessState.SystemTime()
	slices.Sort(late)
	ms := func(q float64) float64 { return float64(late[int(q*float64(len(late)-1))].Microseconds()) / 1000 }
	b.ReportMetric(float64(cpu.Microseconds())/1000/float64(b.N), "server-cpu-ms/op") // its start included
	b.ReportMetric(ms(0.5), "p50-ms")
	b.ReportMetric(ms(0.99), "p99-ms")
	b.ReportMetric(ms(1), "worst-ms")
	b.ReportMetric(float64(slices.Max(size)), "gzip-bytes")
}

// serveCrowd is the server's side: it serves until its standard input ends.
func serveCrowd(b *testing.B, rivers int) {
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	h := crowdPages(b, rivers, running())
	began := time.Now()
	if err := h.DrawAhead(b.Context()); err != nil {
		b.Fatal(err)
	}
	fmt.Printf("\ndrawn in %v\n", time.Since(began).Round(time.Millisecond))
	s := &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second}
	go s.Serve(ln)
	fmt.Printf("\npages at http://%s\n", ln.Addr())
	io.Copy(io.Discard, os.Stdin)
}
