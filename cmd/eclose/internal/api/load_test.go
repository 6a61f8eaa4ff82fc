package api

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

	pages "example.org/eclose/cmd/eclose/internal/page"
	"example.org/eclose/cmd/eclose/internal/page/pagetest"
	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
)

// The size that the load is tried at.
const (
	manyRivers = 100
	perSecond  = 200
	serveOnly  = "ECLOSE_API_SERVE_ONLY"
)

// crowd is the API over a hundred rivers with the forecast of one.
func crowd(b *testing.B) http.Handler {
	b.Helper()
	c, err := insects.Load()
	if err != nil {
		b.Fatal(err)
	}
	all, flows := pagetest.Outlooks(b, c)
	base := all["wend"]
	var rivers []forecast.River
	for i := range manyRivers {
		r := pagetest.Rivers[0]
		r.Slug, r.Name, r.Lat = fmt.Sprintf("river-%02d", i), fmt.Sprintf("River %d", i), 45.2+0.01*float64(i)
		rivers = append(rivers, r)
	}
	memory := pages.NewMemory(rivers)
	for _, r := range rivers {
		o := *base
		o.River, o.RiverName, o.Lat = r.Slug, r.Name, r.Lat
		memory.Put(r.Slug, &pages.State{Outlook: &o, Caution: wading.Assess(wading.Input{At: noon, Flow: wading.Reading{Value: 9, Age: time.Hour, Present: true}}), CautionAt: noon,
			Flows: flows["wend"]})
	}
	began := time.Now()
	h, err := New(Options{Data: memory, Catalogue: c, Now: func() time.Time { return noon.Add(time.Since(began)) }, PerSecond: 1e6})
	if err != nil {
		b.Fatal(err)
	}
	return h
}

// asked are the requests of a mixed day: a club's page, a script, a map.
var asked = []string{
	Root + "/rivers/river-%02d", Root + "/rivers/river-%02d/caution", Root + "/rivers/river-%02d/forecasts/latest/windows", Root + "/rivers/river-%02d/forecasts/latest/water",
	Root + "/rivers/river-%02d/forecasts/latest/flow.csv", Root + "/rivers/river-%02d/verdict", Root + "/collections/series/locations/river-%02d", Root + "/rivers?offset=%d", Root + "/collections/rivers/items?offset=%d",
}

// BenchmarkTwoHundredASecond asks a server in a process of its own, on one processor,
// for a mix of answers at 200 requests a second, whether or not it keeps up, and
// reports how long after its due time each was there. The baseline in the same run
// is the landing page, which costs what the transport costs. -benchtime 6000x is half
// a minute.
func BenchmarkTwoHundredASecond(b *testing.B) {
	if os.Getenv(serveOnly) != "" {
		serveCrowd(b)
		return
	}
	b.Run("landing", func(b *testing.B) { load(b, []string{Root}) })
	b.Run("mix", func(b *testing.B) { load(b, asked) })
}

func load(b *testing.B, paths []string) {
	if b.N == 1 { // the round in which a benchmark tries itself
		return
	}
	server := exec.Command("taskset", "-c", "0", os.Args[0], "-test.run=^$", "-test.bench=TwoHundredASecond", "-test.benchtime=1x")
	server.Env = append(os.Environ(), serveOnly+"=1", "GOMAXPROCS=1")
	stdin, err := server.StdinPipe()
	if err != nil {
		b.Fatal(err)
	}
	stdout, err := server.StdoutPipe()
	if err != nil {
		b.Fatal(err)
	}
	if err := server.Start(); err != nil {
		b.Skipf("no taskset here: %v", err)
	}
	defer server.Process.Kill() // in vain if it has ended
	root := ""
	for lines := bufio.NewScanner(stdout); root == "" && lines.Scan(); {
		_, root, _ = strings.Cut(lines.Text(), "answers at ")
	}
	if root == "" {
		b.Fatal("the server did not start")
	}
	go io.Copy(io.Discard, stdout)
	client := &http.Client{Timeout: 10 * time.Second, Transport: &http.Transport{MaxIdleConnsPerHost: 64, DisableCompression: true}}
	late, size := make([]time.Duration, b.N), make([]int64, b.N)
	var wg sync.WaitGroup
	b.ResetTimer()
	began := time.Now()
	for i := range b.N {
		due := began.Add(time.Duration(i) * time.Second / perSecond)
		time.Sleep(time.Until(due))
		wg.Go(func() {
			path := paths[i%len(paths)]
			if strings.Contains(path, "%") {
				path = fmt.Sprintf(path, (i*7)%manyRivers)
			}
			req, err := http.NewRequestWithContext(context.Background(), http.MethodGet, root+path, nil)
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
				b.Errorf("%s: %s, %v", path, res.Status, err)
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
func serveCrowd(b *testing.B) {
	h := crowd(b)
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		b.Fatal(err)
	}
	s := &http.Server{Handler: h, ReadHeaderTimeout: 5 * time.Second}
	go s.Serve(ln)
	fmt.Printf("\nanswers at http://%s\n", ln.Addr())
	io.Copy(io.Discard, os.Stdin)
}
