package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime/pprof"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/cmd/eclose/internal/health"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
)

// growthLimits are the most that a server of so many rivers may ever have had
// resident, MB.
var growthLimits = map[int]int{100: 300, 1000: 600}

// Sizes that are promised, bytes: a row of news, and a kept forecast.
const mostNews, mostForecast = 4000, 50_000

// growthSpeed is how much faster than ours the server's clock runs: a second round
// of forecasts is due ten minutes after its start.
const growthSpeed = 2

// init has a server of this test write what its processor did and what it holds, as
// pprof reads it, into the folder that ECLOSE_TEST_PROFILE names, when it gets SIGUSR1.
func init() {
	dir := os.Getenv("ECLOSE_TEST_PROFILE")
	if dir == "" || !strings.HasPrefix(os.Getenv("ECLOSE_TEST_RUN"), "serve\n") {
		return
	}
	cpu, err := os.Create(filepath.Join(dir, "cpu.pprof"))
	if err != nil {
		panic(err)
	}
	if err := pprof.StartCPUProfile(cpu); err != nil {
		panic(err)
	}
	asked := make(chan os.Signal, 1)
	signal.Notify(asked, syscall.SIGUSR1)
	go func() {
		<-asked
		pprof.StopCPUProfile()
		heap, err := os.Create(filepath.Join(dir, "heap.pprof"))
		if err == nil {
			err = errors.Join(pprof.WriteHeapProfile(heap), heap.Close(), cpu.Close())
		}
		if err != nil {
			panic(err)
		}
	}()
}

// many is the demo's config with its rivers repeated under other names. They share
// gauges and weather, so the store stays small; the work and what is held do not.
func many(rivers int, feeds string) string {
	head, blocks, _ := strings.Cut(demo.Config(feeds), "\n[[river]]\n")
	three := strings.Split(blocks, "\n[[river]]\n")
	var b strings.Builder
	b.WriteString(head)
	for i := range rivers {
		block := three[i%len(three)]
		_, rest, _ := strings.Cut(block, "\n")
		fmt.Fprintf(&b, "\n[[river]]\nname = \"River %03d\"\n%s", i, rest)
	}
	return b.String()
}

// grown is a server of many rivers in a process of its own.
type grown struct {
	t      *testing.T
	dir    string
	path   string
	url    string
	rivers int
	cmd    *exec.Cmd
	out    noise
	clock  string
}

func (g *grown) start() {
	g.t.Helper()
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		g.t.Fatal(err)
	}
	addr := ln.Addr().String()
	ln.Close()
	g.url = "http://" + addr
	g.clock = fmt.Sprint(time.Now().UnixMicro(), demo.Issue.UnixMicro(), growthSpeed)
	g.cmd = exec.CommandContext(g.t.Context(), os.Args[0])
	g.cmd.Env = append(os.Environ(), "ECLOSE_TEST_RUN=serve\n--config\n"+g.path+"\n--addr\n"+addr, "ECLOSE_TEST_CLOCK="+g.clock)
	g.cmd.Stdout, g.cmd.Stderr = &g.out, &g.out
	if err := g.cmd.Start(); err != nil {
		g.t.Fatal(err)
	}
	g.t.Cleanup(func() { _ = g.cmd.Process.Kill() }) // in vain where it has ended
}

// command runs one beside the server, on its clock.
func (g *grown) command(args ...string) {
	g.t.Helper()
	cmd := exec.CommandContext(g.t.Context(), os.Args[0])
	cmd.Env = append(os.Environ(), "ECLOSE_TEST_RUN="+strings.Join(append(args, "--config", g.path), "\n"), "ECLOSE_TEST_CLOCK="+g.clock)
	if out, err := cmd.CombinedOutput(); err != nil {
		g.t.Fatalf("%v: %v\n%s", args, err, out)
	}
}

// issued waits until each river has a forecast issued after a moment.
func (g *grown) issued(after time.Time) {
	g.t.Helper()
	for end := time.Now().Add(time.Duration(10+g.rivers/20) * time.Minute); ; time.Sleep(time.Second) {
		n := 0
		if res, err := http.Get(g.url + "/health"); err == nil {
			var r health.Report
			err = json.NewDecoder(res.Body).Decode(&r)
			res.Body.Close()
			for _, x := range r.Rivers {
				if err == nil && x.Issued.After(after) {
					n++
				}
			}
		}
		if n == g.rivers {
			return
		}
		if time.Now().After(end) {
			g.t.Fatalf("%d of %d forecasts\n%s", n, g.rivers, g.out.String())
		}
	}
}

// asked is how many rivers have readers, mails and exports: all up to a hundred, and
// of more every so many-th.
const asked = 100

// some are the rivers that have.
func (g *grown) some() (slugs []string) {
	for i := 0; i < g.rivers; i += max(1, g.rivers/asked) {
		slugs = append(slugs, fmt.Sprintf("river-%03d", i))
	}
	return slugs
}

// ask reads pages and answers as readers do, packed, and gives the bytes
// of the front page and of the heaviest page.
func (g *grown) ask() (front, most int64) {
	g.t.Helper()
	client := &http.Client{Timeout: 2 * time.Minute, Transport: &http.Transport{DisableCompression: true}}
	try := func(path string) (int64, int) {
		req, err := http.NewRequest(http.MethodGet, g.url+path, nil)
		if err != nil {
			g.t.Fatal(err)
		}
		req.Header.Set("Accept-Encoding", "gzip")
		res, err := client.Do(req)
		if err != nil {
			g.t.Fatal(err)
		}
		defer res.Body.Close()
		n, err := io.Copy(io.Discard, res.Body)
		if err != nil {
			g.t.Errorf("%s: %v", path, err)
		}
		return n, res.StatusCode
	}
	get := func(path string) int64 {
		n, code := try(path)
		for k := 0; code == http.StatusTooManyRequests && k < 100; k++ { // a quiet machine is faster than one network may ask
			time.Sleep(100 * time.Millisecond)
			n, code = try(path)
		}
		for k := 0; code == http.StatusServiceUnavailable && k < 5; k++ { // a crowded machine is slower than a reader may wait
			n, code = try(path)
		}
		if code != http.StatusOK {
			g.t.Errorf("%s: %d", path, code)
		}
		return n
	}
	for _, slug := range g.some() {
		river := "/river/" + slug
		for _, page := range []string{"", "/season", "/water", "/day/2026-05-20", "/sheet.html", "/calendar.ics", "/feed.atom", "/caution.xml"} {
			most = max(most, get(river+page))
		}
		answers := "/api/v1/rivers/" + slug
		for _, what := range []string{"", "/caution", "/verdict", "/forecasts", "/forecasts/latest/windows", "/forecasts/latest/water", "/forecasts/latest/flow.csv"} {
			get(answers + what)
		}
	}
	for _, page := range []string{"/trip", "/data", "/about", "/cautions.atom", "/api/v1/rivers", "/api/v1/verdict", "/metrics"} {
		get(page)
	}
	return get("/"), most
}

// use is what a process has used: its memory in MB and its processor time.
type use struct {
	resident, peak int
	processor      time.Duration
}

// used reads it of a process from /proc.
func used(t *testing.T, pid int) (u use) {
	t.Helper()
	status, err := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid))
	if err != nil {
		t.Fatal(err)
	}
	for l := range strings.Lines(string(status)) {
		f := strings.Fields(l)
		if len(f) < 2 {
			continue
		}
		kB, _ := strconv.Atoi(f[1]) // other lines hold no number
		switch f[0] {
		case "VmHWM:":
			u.peak = kB / 1024
		case "VmRSS:":
			u.resident = kB / 1024
		}
	}
	stat, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", pid))
	if err != nil {
		t.Fatal(err)
	}
	f := strings.Fields(string(stat[bytes.LastIndexByte(stat, ')')+1:])) // from the third field on, proc(5)
	for _, ticks := range []string{f[11], f[12]} {
		n, err := strconv.Atoi(ticks)
		if err != nil {
			t.Fatal(err)
		}
		u.processor += time.Duration(n) * time.Second / 100 // a tick is 10 ms on Linux
	}
	return u
}

// bytesUnder are the bytes and the number of files below a folder.
func bytesUnder(t *testing.T, dir string) (bytes, largest int64, files int) {
	t.Helper()
	err := filepath.WalkDir(dir, func(_ string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		i, err := d.Info()
		if err == nil {
			bytes, largest, files = bytes+i.Size(), max(largest, i.Size()), files+1
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return bytes, largest, files
}

// keep puts a forecast of each river into the archive before the server starts: those of
// the three rivers under other names. To issue a thousand takes a quarter of an hour of a
// processor.
func (g *grown) keep(path string) {
	g.t.Helper()
	ctx := g.t.Context()
	three, err := config.Load(path)
	if err != nil {
		g.t.Fatal(err)
	}
	outlooks, err := app.IssueAll(ctx, three, nil, "", demo.Issue, 200)
	if err != nil {
		g.t.Fatal(err)
	}
	d, err := db.OpenMigrated(ctx, filepath.Join(g.dir, "eclose.db"))
	if err != nil {
		g.t.Fatal(err)
	}
	defer d.Close()
	files, err := series.OpenFiles(ctx, filepath.Join(g.dir, "series"))
	if err != nil {
		g.t.Fatal(err)
	}
	defer files.Close()
	a := archive.New(d, files)
	for i := range g.rivers {
		o := *outlooks[i%len(outlooks)]
		o.River, o.RiverName, o.IssuedAt = fmt.Sprintf("river-%03d", i), fmt.Sprintf("River %03d", i), demo.Issue
		if err := a.Save(ctx, &o, demo.Issue); err != nil {
			g.t.Fatal(err)
		}
	}
}

// shown waits until each river has its forecast on show, and gives how long the first
// answer took and all of them.
func (g *grown) shown() (first, all time.Duration) {
	g.t.Helper()
	began := time.Now()
	n := 0
	for end := began.Add(20 * time.Minute); time.Now().Before(end); time.Sleep(time.Second) {
		res, err := http.Get(g.url + "/api/v1/rivers?limit=1000")
		if err != nil {
			continue
		}
		var list struct {
			Items []struct {
				Issued *time.Time `json:"issued_at"`
			} `json:"items"`
		}
		err = json.NewDecoder(res.Body).Decode(&list)
		res.Body.Close()
		if err != nil || res.StatusCode != http.StatusOK {
			continue
		}
		if first == 0 {
			first = time.Since(began)
		}
		n = 0
		for _, x := range list.Items {
			if x.Issued != nil {
				n++
			}
		}
		if n == g.rivers {
			return first, time.Since(began)
		}
	}
	g.t.Fatalf("%d of %d forecasts are shown\n%s", n, g.rivers, g.out.String())
	return first, all
}

// restart stops the server and starts another, and gives what that one has used when all
// rivers are on show again.
func (g *grown) restart() use {
	g.t.Helper()
	g.t.Setenv("ECLOSE_TEST_PROFILE", "") // that of the first stays
	g.stop()
	g.start()
	first, all := g.shown()
	u := used(g.t, g.cmd.Process.Pid)
	g.t.Logf("started again: the first answer after %.1f s, all rivers on show after %.1f s; processor %.1f s, at most %d MB", first.Seconds(), all.Seconds(), u.processor.Seconds(), u.peak)
	return u
}

// stop ends the server as an operator does.
func (g *grown) stop() {
	g.t.Helper()
	if err := g.cmd.Process.Signal(syscall.SIGTERM); err != nil {
		g.t.Fatal(err)
	}
	if err := g.cmd.Wait(); err != nil {
		g.t.Errorf("%v\n%s", err, g.out.String())
	}
}

// TestGrowth serves as many rivers as ECLOSE_RIVERS says: two rounds of forecasts, with
// readers who are mailed, every page and answer asked for, and a month's exports. What
// the process has had resident at most is held against growthLimits. More than a hundred
// have forecasts kept beforehand, and readers of some.
func TestGrowth(t *testing.T) {
	if os.Getenv("ECLOSE_LONG") != "1" {
		t.Skip("it serves a hundred rivers for a quarter of an hour; ECLOSE_LONG=1 runs it")
	}
	rivers := 100
	if s := os.Getenv("ECLOSE_RIVERS"); s != "" {
		var err error
		if rivers, err = strconv.Atoi(s); err != nil {
			t.Fatal(err)
		}
	}
	office, mailLines := openPostOffice(t)
	dir, path := write(t, many(rivers, tarnFells())+"\n"+mailLines+"per-minute = 6000\n[serve]\npublic-url = \"https://eclose.example.org\"\n")
	e := &env{ctx: context.Background(), stdin: strings.NewReader(""), stdout: io.Discard, stderr: io.Discard, now: func() time.Time { return demo.Issue }, sleep: noPause}
	_, small := write(t, strings.Replace(tarnFellsConfig(9), `"series"`, strconv.Quote(filepath.Join(dir, "series")), 1))
	if code := runEnv(e, []string{"ingest", "--config", small}); code != 0 {
		t.Fatal("the past of the Tarn Fells was not taken in")
	}
	g := &grown{t: t, dir: dir, path: path, rivers: rivers}
	if rivers > asked {
		g.keep(small)
	}
	g.start()
	began := time.Now()
	first, shown := g.shown()
	g.issued(time.Time{})
	t.Logf("the first answer after %.1f s, all rivers on show after %.1f s", first.Seconds(), shown.Seconds())
	log := func(what string) use {
		u := used(t, g.cmd.Process.Pid)
		t.Logf("%4.0f s, %s: resident %d MB, at most %d MB; processor %.1f s", time.Since(began).Seconds(), what, u.resident, u.peak, u.processor.Seconds())
		return u
	}
	log("first forecasts")
	exportsOf := []string{"jobs", "add", "exports", "--month", "2026-05"}
	for i, slug := range g.some() {
		g.command("subscribe", "add", fmt.Sprintf("reader-%d@example.org", i), "--river", slug, "--consent", "paper", "--quiet-hours", "none")
		exportsOf = append(exportsOf, "--river", slug)
	}
	g.command(exportsOf...)
	before := log("readers and exports asked for")
	front, most := g.ask()
	then := log("pages and answers")
	if rivers <= asked {
		g.issued(demo.Issue.Add(9 * time.Minute)) // the slot of ten past
		log("second forecasts")
	}
	g.ask()
	for k := 0; k < 240 && rivers == asked && len(office.all()) == 0; k++ { // mails are handed over each minute; few readers may get none
		time.Sleep(time.Second)
	}
	last := log("at the end")
	if os.Getenv("ECLOSE_TEST_PROFILE") != "" {
		_ = g.cmd.Process.Signal(syscall.SIGUSR1)
		time.Sleep(5 * time.Second)
		if err := os.WriteFile(filepath.Join(os.Getenv("ECLOSE_TEST_PROFILE"), "server.log"), []byte(g.out.String()), 0o600); err != nil {
			t.Error(err)
		}
	}
	exports, _, files := bytesUnder(t, filepath.Join(dir, "series", "exports"))
	outlooks, largest, forecasts := bytesUnder(t, filepath.Join(dir, "series", "outlooks"))
	all, _, _ := bytesUnder(t, dir)
	database := int64(0)
	for _, name := range []string{"eclose.db", "eclose.db-wal"} {
		if i, err := os.Stat(filepath.Join(dir, name)); err == nil {
			database += i.Size()
		}
	}
	d, err := db.OpenReader(t.Context(), filepath.Join(dir, "eclose.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	var news, head int
	if err := d.SQL.QueryRowContext(t.Context(), "SELECT max(length(body)), (SELECT max(length(body)) FROM outlook) FROM news").Scan(&news, &head); err != nil {
		t.Fatal(err)
	}
	t.Logf("a row of news has at most %d bytes, the head of a forecast in the database %d", news, head)
	if news > mostNews || largest > mostForecast {
		t.Errorf("a row of news has up to %d bytes, want %d; a forecast up to %d, want %d", news, mostNews, largest, mostForecast)
	}
	mails := len(office.all())
	t.Logf("%d rivers: %d kB a forecast in the mean, %d at most (%d), %d exports of %d kB, database %.1f MB, all %.1f MB; %d mails; front page %d bytes as sent, the heaviest page %d; a round of all pages %.2f s of processor",
		rivers, outlooks/int64(forecasts)/1000, largest/1000, forecasts, files, exports/int64(max(files, 1))/1000, float64(database)/1e6, float64(all)/1e6, mails, front, most, (then.processor - before.processor).Seconds())
	if files != len(g.some()) || forecasts < rivers || rivers <= asked && forecasts < 2*rivers || rivers == asked && mails == 0 {
		t.Errorf("%d exports, %d forecasts and %d mails of %d rivers", files, forecasts, mails, rivers)
	}
	again := g.restart()
	g.stop()
	if limit := growthLimits[rivers]; limit > 0 && max(last.peak, again.peak) > limit {
		t.Errorf("at most %d MB were resident, and %d after a restart; want %d", last.peak, again.peak, limit)
	}
	if i := slices.IndexFunc(strings.Split(g.out.String(), "\n"), func(l string) bool { return strings.Contains(l, `"level":"error"`) }); i >= 0 {
		t.Errorf("the log has errors:\n%s", g.out.String())
	}
}
