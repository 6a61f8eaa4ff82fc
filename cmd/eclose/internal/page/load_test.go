package page

import (
	"bufio"
	"context"
	"errors"
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

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

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
	for _, r := range rivers {
		o := *base
		o.River, o.RiverName, o.Stages = r.Slug, r.Name, all
		memory.Put(r.Slug, &State{Outlook: &o, Caution: wading.Assess(wading.Input{At: noon, Flow: wading.Reading{Value: 9, Age: time.Hour, Present: true}}), CautionAt: noon,
			Flows: &trip.Flows{Day0: rec.Day0, M3s: rec.Flow}})
	}
	return memory
}

func crowdPages(tb testing.TB, n int) *Pages {
	tb.Helper()
	c, err := insects.Load()
	if err != nil {
		tb.Fatal(err)
	}
	began := time.Now()
	h, err := New(Options{Data: crowd(tb, c, n), Catalogue: c, Now: func() time.Time { return noon.Add(time.Since(began)) }, PerSecond: 1e5})
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
	h := crowdPages(b, rivers)
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

// BenchmarkFirstContentfulPaint loads the page of a river with 40 groups as on a
// phone of the middle class: four times slower than this processor, 150 ms to
// the server and back, 1.6 Mbit/s, nothing kept from before. Those are the
// figures that Lighthouse's mobile setting uses (from memory).
func BenchmarkFirstContentfulPaint(b *testing.B) {
	firstPaint(b, manyRivers, func(i int) string { return fmt.Sprintf("/river/river-%02d", i%manyRivers) })
}

// BenchmarkFirstPaintOfAHundredRivers is the same for the front page of a hundred rivers.
func BenchmarkFirstPaintOfAHundredRivers(b *testing.B) {
	firstPaint(b, 100, func(int) string { return "/" })
}

func firstPaint(b *testing.B, rivers int, address func(int) string) {
	path, err := exec.LookPath("chromium")
	if err != nil {
		b.Skip("no chromium here")
	}
	br := &browser{}
	br.open(b, path, crowdPages(b, rivers))
	mbit := 1.6e6 / 8
	br.do(b, as(360, "light"), chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err1 := chromedp.Call(ctx, network.Enable, network.EnableParams{})
		_, err2 := chromedp.Call(ctx, network.SetCacheDisabled, network.SetCacheDisabledParams{CacheDisabled: true})
		_, err3 := chromedp.Call(ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: []*network.Conditions{{Latency: 150, DownloadThroughput: mbit, UploadThroughput: mbit / 2}}})
		_, err4 := chromedp.Call(ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: 4})
		return errors.Join(err1, err2, err3, err4)
	}))
	paint := func(path string) float64 {
		br.do(b, chromedp.Navigate(br.root+path))
		return eval[float64](b, br, `new Promise(done => new PerformanceObserver(l => { const e = l.getEntriesByName("first-contentful-paint")[0]; if (e) { done(e.startTime) } }).observe({type: "paint", buffered: true}))`)
	}
	// What a browser that has only just started needs for a line of text is its
	// own, not the page's.
	start := paint("/robots.txt")
	var paints []float64
	weight := 0.0
	for i := 0; b.Loop(); i++ {
		paints = append(paints, paint(address(i)))
		weight = max(weight, eval[float64](b, br, `[...performance.getEntriesByType("resource"), ...performance.getEntriesByType("navigation")].reduce((n, e) => n + e.transferSize, 0)`))
	}
	b.Logf("first contentful paints in their order, ms: %.0f", paints)
	slices.Sort(paints)
	b.ReportMetric(start, "browser-start-ms")
	b.ReportMetric(paints[len(paints)/2], "fcp-p50-ms")
	b.ReportMetric(paints[len(paints)-1], "fcp-worst-ms")
	b.ReportMetric(weight, "sent-bytes")
}
