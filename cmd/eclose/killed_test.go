package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/series"
	"example.org/eclose/notify/alert"
)

// killed is a server that is killed and started again, and what commands beside
// it were told.
type killed struct {
	t    *testing.T
	dir  string
	path string
	addr string
	now  func() time.Time
	out  bytes.Buffer

	mu       sync.Mutex
	done     map[string]bool // sightings and subscribers by their mark; false: the command failed
	commands int
	failed   int
	rows     int // of the logger's file
	rises    int
}

// start runs the server as a process of its own.
func (k *killed) start() *exec.Cmd {
	k.t.Helper()
	cmd := exec.CommandContext(k.t.Context(), os.Args[0])
	cmd.Env = append(os.Environ(), "ECLOSE_TEST_RUN=serve\n--config\n"+k.path+"\n--addr\n"+k.addr)
	cmd.Stdout, cmd.Stderr = &k.out, &k.out
	if err := cmd.Start(); err != nil {
		k.t.Fatal(err)
	}
	return cmd
}

func (k *killed) up() bool {
	res, err := http.Get("http://" + k.addr + "/health")
	if err != nil {
		return false
	}
	_, _ = io.Copy(io.Discard, res.Body)
	return res.Body.Close() == nil
}

// command runs one beside the server and keeps whether it said that it was done.
func (k *killed) command(mark string, args ...string) {
	ctx, cancel := context.WithTimeout(k.t.Context(), 40*time.Second)
	defer cancel()
	var errs bytes.Buffer
	code := runEnv(&env{ctx: ctx, stdin: strings.NewReader(""), stdout: io.Discard, stderr: &errs, now: k.now, sleep: noPause}, append(args, "--config", k.path))
	if ctx.Err() != nil {
		k.t.Errorf("%v hangs: %s", args, errs.String())
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.commands++; code != 0 {
		k.failed++
	}
	if mark != "" {
		k.done[mark] = code == 0
	}
}

// work runs commands, one after the other, until ctx ends.
func (k *killed) work(ctx context.Context, hand int) {
	for n := 0; ctx.Err() == nil; n++ {
		mark := fmt.Sprintf("mark-%d-%d", hand, n)
		switch (n + hand) % 5 {
		case 0, 1:
			k.command(mark, "diary", "add", "--river", "our-beck", "--group", "trico", "--stage", "emergence", "--amount", "few", "--hours", "2", "--date", "2026-03-20", "--notes", mark)
		case 2:
			k.rise() //nolint:contextcheck // a rise is written whole, also where the round ends
			k.command(mark, "subscribe", "add", mark+"@example.org", "--river", "our-beck", "--consent", "paper")
		case 3:
			k.rise() //nolint:contextcheck // a rise is written whole, also where the round ends
		case 4:
			k.measure()
			k.command("", "ingest")
		}
	}
}

// measure adds a line to the logger's file, whole or not at all.
func (k *killed) measure() {
	k.mu.Lock()
	defer k.mu.Unlock()
	k.rows++
	file := filepath.Join(k.dir, "logger.csv")
	b, err := os.ReadFile(file)
	if err != nil {
		k.t.Error(err)
		return
	}
	b = fmt.Appendf(b, "%s;%d,25\n", loggerEnd.Add(time.Duration(k.rows)*time.Minute).Format("02/01/2006 15:04"), 6+k.rows%5)
	if err := errors.Join(os.WriteFile(file+".new", b, 0o600), os.Rename(file+".new", file)); err != nil {
		k.t.Error(err)
	}
}

var loggerEnd = time.Date(2026, 3, 31, 0, 0, 0, 0, time.UTC)

// rise takes in readings of the river by the way of the alerts, whose level goes
// up and down; that it fails while the server dies is no matter.
func (k *killed) rise() {
	k.mu.Lock()
	k.rises++
	k.mu.Unlock()
	level := 0
	if k.now().Sub(afterTheBeck)/(3*time.Hour)%2 == 0 { // three hours up, three down
		level = 2 // one of 3 may be handed over again where the answer was lost
	}
	d, err := db.OpenWriter(k.t.Context(), filepath.Join(k.dir, "eclose.db"))
	if err != nil {
		return
	}
	defer d.Close()
	s := alert.New(d, k.now, nil)
	for range 2 {
		_ = s.AddReading(k.t.Context(), alert.Reading{River: "our-beck", RiverName: "Our beck", Zone: "UTC", At: k.now(), Level: level, Known: true})
	}
	_, _ = s.Reconcile(k.t.Context())
	_, _ = addDelivery(k.t.Context(), d, k.now)
}

// However often the server is killed while commands run beside it, what a command
// said was done is there, once; no reading and no mail is lost or doubled; and no
// command hangs.
func TestKilledAgainAndAgainWithCommandsBesideItLosesAndDoublesNothing(t *testing.T) {
	if testing.Short() {
		t.Skip("it kills a server ten times")
	}
	kills := 10
	if os.Getenv("ECLOSE_LONG") == "1" {
		kills = 200
	}
	relay, lines := openMoodyRelay(t)
	dir, path := loggerAndAir(t, "°C", "°C")
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(path, append(text, (lines+"per-minute = 6000\n[serve]\npublic-url = \"https://eclose.example.org\"\n")...), 0o600); err != nil {
		t.Fatal(err)
	}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	k := &killed{t: t, dir: dir, path: path, addr: ln.Addr().String(), done: map[string]bool{}}
	ln.Close()
	t.Setenv("ECLOSE_TEST_CLOCK", fmt.Sprintf("%d %d %d", time.Now().UnixMicro(), afterTheBeck.UnixMicro(), 300))
	k.now = sharedClock()

	for n := range 3 { // readers from the beginning
		k.command("", "subscribe", "add", fmt.Sprintf("reader-%d@example.org", n), "--river", "our-beck", "--consent", "paper")
	}
	ctx, cancel := context.WithCancel(t.Context())
	var hands sync.WaitGroup
	for hand := range 2 {
		hands.Go(func() { k.work(ctx, hand) })
	}
	for range kills {
		cmd := k.start()
		log := &noise{}
		until(t, "the server", log, k.up)
		time.Sleep(time.Duration(rand.Int64N(int64(1200 * time.Millisecond)))) // anywhere in its work
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait()
	}
	cancel()
	hands.Wait()
	cmd := k.start()
	until(t, "the last server", &noise{}, k.up)
	// A level that has stood for an hour is mailed: ten kills take less.
	until(t, "a mail", &noise{}, func() bool { k.rise(); return len(relay.all()) > 0 })
	k.settle()
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("stopping: %v\n%s", err, k.out.String())
	}
	k.measure() // and a last fetch, by nobody but a command
	if code, out, errs := call(t, k.now(), "ingest", "--config", path); code != 0 {
		t.Fatalf("%d %s%s", code, out, errs)
	}
	k.checkMarks()
	k.checkReadings()
	k.checkMails(relay)
}

// settle waits until no mail is due any more.
func (k *killed) settle() {
	k.t.Helper()
	until(k.t, "an empty outbox", &noise{}, func() bool {
		d, err := db.OpenWriter(k.t.Context(), filepath.Join(k.dir, "eclose.db"))
		if err != nil {
			return false
		}
		defer d.Close()
		if _, err := addDelivery(k.t.Context(), d, k.now); err != nil {
			return false
		}
		var n int
		err = d.SQL.QueryRow("SELECT COUNT(*) FROM outbox WHERE state IN ('queued', 'leased', 'sending') AND not_before <= $1", db.Micros(k.now())).Scan(&n)
		return err == nil && n == 0
	})
}

func (k *killed) checkMarks() {
	k.t.Helper()
	var diary, people string
	for _, x := range []struct {
		out  *string
		args []string
	}{{&diary, []string{"diary", "list", "--format", "json"}}, {&people, []string{"subscribe", "list", "--format", "json"}}} {
		code, out, errs := call(k.t, k.now(), append(x.args, "--config", k.path)...)
		if code != 0 {
			k.t.Fatal(errs)
		}
		*x.out = out
	}
	said, lost := 0, 0
	for mark, done := range k.done {
		n := strings.Count(diary, `"`+mark+`"`) + strings.Count(people, `"`+mark+`@example.org"`)
		if done {
			said++
		}
		if done && n == 0 {
			lost++
			k.t.Errorf("%s was done and is not there", mark)
		}
		if n > 1 {
			k.t.Errorf("%s is there %d times", mark, n)
		}
	}
	k.t.Logf("%d commands, %d failed while the server died; %d sightings and subscribers were said to be kept, %d lost", k.commands, k.failed, said, lost)
	if said == 0 {
		k.t.Error("no command was done: the test shows nothing")
	}
}

// checkReadings compares the store with the file, line by line.
func (k *killed) checkReadings() {
	k.t.Helper()
	if code, out, errs := call(k.t, k.now(), "series", "verify", "--config", k.path); code != 0 {
		k.t.Errorf("%s%s", out, errs)
	}
	s, err := open(k.t, k.dir).Read(k.t.Context(), ingest.Key{Feed: "csv", Site: "beck", Variable: ingest.WaterTemperature, Statistic: ingest.Instant}, series.Query{From: loggerEnd.Add(-59 * time.Minute)})
	if err != nil {
		k.t.Fatal(err)
	}
	for i := range s.Time { // the wall clock of the file is an hour ahead in summer
		if m := int(s.At(i).Sub(loggerEnd.Add(-time.Hour)) / time.Minute); s.Value[i] != float64(6+m%5)+0.25 {
			k.t.Errorf("%s: %g", s.At(i), s.Value[i])
		}
	}
	all, err := open(k.t, k.dir).Read(k.t.Context(), ingest.Key{Feed: "csv", Site: "beck", Variable: ingest.WaterTemperature, Statistic: ingest.Instant}, series.Query{})
	if err != nil || all.Len() != 95+k.rows {
		k.t.Errorf("%d readings of %d, %v", all.Len(), 95+k.rows, err)
	}
	k.t.Logf("%d readings", all.Len())
}

// checkMails holds what the relay took against what the outbox says.
func (k *killed) checkMails(relay *moodyRelay) {
	k.t.Helper()
	d, err := db.OpenReader(k.t.Context(), filepath.Join(k.dir, "eclose.db"))
	if err != nil {
		k.t.Fatal(err)
	}
	defer d.Close()
	states := map[string]string{}
	counts := map[string]int{}
	for _, r := range rowsOf(k.t, d, "SELECT message_id, state FROM outbox") {
		id, state, _ := strings.Cut(r, "\x00")
		states[strings.Trim(id, "<>")] = state
		counts[state]++
	}
	taken := map[string]int{}
	for _, m := range relay.all() {
		head, _, _ := strings.Cut(plain(m), "\r\n\r\n")
		for line := range strings.SplitSeq(head, "\r\n") {
			if id, ok := strings.CutPrefix(line, "Message-ID: "); ok && !strings.Contains(head, "keeper@") {
				key, _, _ := strings.Cut(strings.Trim(id, "<>"), "@")
				taken[key]++
			}
		}
	}
	for id, n := range taken {
		if n > 1 {
			k.t.Errorf("%s was handed over %d times", id, n)
		}
		if s := states[id]; s != "sent" && s != "unknown" {
			k.t.Errorf("%s was handed over and is %q in the outbox", id, s)
		}
	}
	for id, s := range states {
		if s == "sent" && taken[id] == 0 {
			k.t.Errorf("%s is said to be sent and the relay never had it", id)
		}
	}
	text, _ := json.Marshal(counts)
	k.t.Logf("%d mails taken, %d levels taken in; the outbox: %s", len(taken), k.rises, text)
	if len(taken) == 0 || counts["sending"] > 0 {
		k.t.Errorf("%d mails were taken, %d are under way: the test shows nothing", len(taken), counts["sending"])
	}
}
