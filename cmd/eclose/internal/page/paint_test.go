package page

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os/exec"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/tracing"
	"github.com/chromedp/chromedp"
)

// The slow phone: the figures of Lighthouse's mobile setting (from memory), known as
// slow 4G.
const (
	phoneSlower  = 4         // times slower than this processor
	phoneLatency = 150       // ms to the server and back
	phoneDown    = 1.6e6 / 8 // bytes a second
	phoneUp      = phoneDown / 2
)

// BenchmarkFirstContentfulPaint loads the page of a river with 40 groups on the slow
// phone, with nothing kept from before.
func BenchmarkFirstContentfulPaint(b *testing.B) {
	firstPaint(b, manyRivers, 0, func(i int) string { return fmt.Sprintf("/river/river-%02d", i%manyRivers) })
}

// BenchmarkFirstPaintOfAHundredRivers is the same for the front page of a hundred
// rivers. Each load is of another minute, so that each waits for the page to be made.
func BenchmarkFirstPaintOfAHundredRivers(b *testing.B) {
	firstPaint(b, 100, time.Minute, func(int) string { return "/" })
}

// paint is one load, in ms: what a reader waits, and which part is whose.
type paint struct {
	First    float64 // from the start to the first contentful paint
	Server   float64 // from the request to the first byte, less the latency
	Transfer float64 // from the first to the last byte
	CPU      float64 // time of the page's main thread up to the paint, slowed as the phone's
	Sent     float64 // bytes
	Nodes    float64 // of the document
	Parts    string  // of CPU, by what the trace calls them
}

func firstPaint(b *testing.B, rivers int, step time.Duration, address func(int) string) {
	path, err := exec.LookPath("chromium")
	if err != nil {
		b.Skip("no chromium here")
	}
	var shift atomic.Int64
	clock := running()
	br := &browser{}
	br.open(b, path, crowdPages(b, rivers, func() time.Time { return clock().Add(time.Duration(shift.Load())) }))
	br.do(b, as(360, "light"), chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err1 := chromedp.Call(ctx, network.Enable, network.EnableParams{})
		_, err2 := chromedp.Call(ctx, network.SetCacheDisabled, network.SetCacheDisabledParams{CacheDisabled: true})
		_, err5 := chromedp.Call(ctx, network.SetBypassServiceWorker, network.SetBypassServiceWorkerParams{Bypass: true})
		_, err3 := chromedp.Call(ctx, network.EmulateNetworkConditionsByRule, network.EmulateNetworkConditionsByRuleParams{MatchedNetworkConditions: []*network.Conditions{{Latency: phoneLatency, DownloadThroughput: phoneDown, UploadThroughput: phoneUp}}})
		_, err4 := chromedp.Call(ctx, emulation.SetCPUThrottlingRate, emulation.SetCPUThrottlingRateParams{Rate: phoneSlower})
		return errors.Join(err1, err2, err3, err4, err5)
	}))
	// What a browser that has only just started needs for a line of text is its
	// own, not the page's.
	start := br.paint(b, "/robots.txt")
	var all []paint
	for i := 0; b.Loop(); i++ {
		shift.Add(int64(step))
		all = append(all, br.paint(b, address(i)))
	}
	for _, x := range all { // in their order
		b.Logf("painted after %.0f ms: server %.0f, transfer %.0f, processor of the phone %.0f (%s)", x.First, x.Server, x.Transfer, x.CPU, x.Parts)
	}
	median := func(of func(paint) float64) float64 {
		v := make([]float64, len(all))
		for i, x := range all {
			v[i] = of(x)
		}
		slices.Sort(v)
		return v[len(v)/2]
	}
	worst := slices.MaxFunc(all, func(x, y paint) int { return int(x.First - y.First) })
	b.ReportMetric(start.First, "browser-start-ms")
	b.ReportMetric(median(func(x paint) float64 { return x.First }), "fcp-p50-ms")
	b.ReportMetric(worst.First, "fcp-worst-ms")
	b.ReportMetric(median(func(x paint) float64 { return x.Server }), "server-ms")
	b.ReportMetric(median(func(x paint) float64 { return x.Transfer }), "transfer-ms")
	b.ReportMetric(median(func(x paint) float64 { return x.CPU }), "phone-cpu-ms")
	b.ReportMetric(worst.Sent, "sent-bytes")
	b.ReportMetric(worst.Nodes, "nodes")
}

// traced is an event of the browser's own trace, times in microseconds.
type traced struct {
	Name string  `json:"name"`
	Ph   string  `json:"ph"`
	Ts   float64 `json:"ts"`
	Tdur float64 `json:"tdur"`
	Pid  int     `json:"pid"`
	Tid  int     `json:"tid"`
}

// paint loads a page and takes its times.
func (b *browser) paint(t testing.TB, path string) paint {
	t.Helper()
	ctx, cancel := context.WithTimeout(b.ctx, patience)
	defer cancel()
	collected := chromedp.Events(ctx, tracing.DataCollected)
	done := chromedp.Events(ctx, tracing.TracingComplete)
	b.do(t, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, tracing.Start, tracing.StartParams{TraceConfig: &tracing.TraceConfig{IncludedCategories: []string{"toplevel", "loading", "devtools.timeline"}}})
		return err
	}), chromedp.Navigate(b.root+path))
	var p paint
	got := eval[string](t, b, `new Promise(done => new PerformanceObserver(l => { const e = l.getEntriesByName("first-contentful-paint")[0]; if (!e) { return }
		const n = performance.getEntriesByType("navigation")[0];
		done(JSON.stringify({First: e.startTime, Server: n.responseStart - n.requestStart, Transfer: n.responseEnd - n.responseStart, Nodes: document.getElementsByTagName("*").length,
			Sent: [...performance.getEntriesByType("resource"), n].reduce((s, e) => s + e.transferSize, 0)})) }).observe({type: "paint", buffered: true}))`)
	if err := json.Unmarshal([]byte(got), &p); err != nil {
		t.Fatal(err)
	}
	p.Server -= phoneLatency
	b.do(t, chromedp.Func(func(ctx context.Context, _ *chromedp.Target) error {
		_, err := chromedp.Call(ctx, tracing.End, cdp.Empty{})
		return err
	}))
	for range done {
		break
	}
	var events []traced
	cancelled, stop := context.WithTimeout(ctx, 300*time.Millisecond)
	defer stop()
	go func() { <-cancelled.Done(); cancel() }()
	for e, err := range collected {
		if err != nil {
			break
		}
		for _, raw := range e.Value {
			var x traced
			if json.Unmarshal(raw, &x) == nil {
				events = append(events, x)
			}
		}
	}
	p.CPU, p.Parts = mainThread(events)
	return p
}

// mainThread is how long the thread that painted worked from the navigation on until
// its first contentful paint, ms, and on what.
func mainThread(events []traced) (sum float64, parts string) {
	i := slices.IndexFunc(events, func(x traced) bool { return x.Name == "firstContentfulPaint" })
	if i < 0 {
		return 0, ""
	}
	first := events[i]
	by := map[string]float64{}
	for _, x := range events {
		if x.Pid == first.Pid && x.Tid == first.Tid && x.Ph == "X" && x.Ts <= first.Ts {
			by[x.Name] += x.Tdur / 1000
		}
	}
	for _, name := range []string{"ParseHTML", "EvaluateScript", "UpdateLayoutTree", "Layout", "PrePaint", "Paint"} {
		parts += fmt.Sprintf(" %s %.0f", name, by[name])
	}
	return by["ThreadControllerImpl::RunTask"], strings.TrimSpace(parts)
}
