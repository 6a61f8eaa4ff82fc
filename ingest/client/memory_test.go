package client

import (
	"bytes"
	"compress/gzip"
	"net/http"
	"os"
	"runtime"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"
)

// residentPeak is the most memory the process ever held, in MiB, as the Linux
// kernel counts it (VmHWM of /proc/self/status).
func residentPeak(t *testing.T) int {
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Skip("no /proc here: the peak of memory cannot be read")
	}
	for l := range strings.SplitSeq(string(b), "\n") {
		if v, ok := strings.CutPrefix(l, "VmHWM:"); ok {
			kb, err := strconv.Atoi(strings.Fields(v)[0])
			if err != nil {
				t.Fatal(err)
			}
			return kb / 1024
		}
	}
	t.Skip("no VmHWM here")
	return 0
}

// TestEndlessBodiesKeepMemoryBounded serves 10 GB to a client at its default
// cap, plain and as a small packed body that swells, two hosts at a time.
func TestEndlessBodiesKeepMemoryBounded(t *testing.T) {
	var bomb bytes.Buffer
	z, _ := gzip.NewWriterLevel(&bomb, gzip.BestSpeed)
	zeros := make([]byte, 1<<20)
	for range 128 {
		_, _ = z.Write(zeros)
	}
	_ = z.Close()
	handler := func(w http.ResponseWriter, r *http.Request) {
		if r.URL.Path == "/packed" {
			w.Header().Set("Content-Encoding", "gzip")
			_, _ = w.Write(bomb.Bytes())
			return
		}
		for range 10 << 10 { // 10 GB
			if _, err := w.Write(zeros); err != nil {
				return
			}
		}
	}
	a, b := serve(t, handler), serve(t, handler)
	c, _ := patient(t, Options{})
	start := time.Now()
	var wg sync.WaitGroup
	for _, u := range []string{a.URL + "/plain", b.URL + "/packed"} {
		wg.Go(func() {
			_, err := c.Get(t.Context(), Request{Feed: "f", URL: u})
			if err == nil || !strings.Contains(err.Error(), "larger than 64 MiB") {
				t.Errorf("%s: %v", u, err)
			}
		})
	}
	wg.Wait()
	peak := residentPeak(t)
	t.Logf("peak of resident memory %d MiB after %v (%s)", peak, time.Since(start).Round(time.Millisecond), runtime.Version())
	if peak > 300 && !raceEnabled {
		t.Errorf("the process held %d MiB", peak)
	}
}
