package work_test

import (
	"bytes"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	crand "crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/json"
	"encoding/pem"
	"errors"
	"flag"
	"fmt"
	"io"
	"math/big"
	"math/rand/v2"
	"net"
	netmail "net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	gosmtp "github.com/emersion/go-smtp"
	"github.com/rs/zerolog"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/cmd/eclose/internal/work"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/archive"
	"example.org/eclose/ingest/db"
	"example.org/eclose/ingest/db/dbtest"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/mail"
	"example.org/eclose/notify/subscribe"
)

// The fault test kills real worker processes: this binary, started again.

const workerEnv = "ECLOSE_TEST_WORKER"

// hand is what a worker process is told.
type hand struct {
	Database, Dir, Roots string
	Port                 int
	Skew                 time.Duration
	Rivers               int
	Timeout              time.Duration
	Burn                 time.Duration // processor time of an outlook
	Model                int           // jobs of the model queue at a time
	Real                 bool          // outlooks of the invented rivers, worked out from the series in Dir
	Ticks                bool
	Hook                 string // address of a receiver of webhooks, if any
	Windows              bool   // outlooks have windows that move
}

func TestMain(m *testing.M) {
	if text := os.Getenv(workerEnv); text != "" {
		if err := workAsChild(text); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		os.Exit(0)
	}
	// Most tests that run side by side wait: for leases, pauses, a receiver's silence.
	if err := flag.Set("test.parallel", "8"); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	os.Exit(m.Run())
}

// besideOthers lets a test run beside others, but for a long run, which measures the
// machine and starts the database again. It reports whether this is one.
func besideOthers(t *testing.T) (long bool) {
	t.Helper()
	long = os.Getenv("ECLOSE_LONG") == "1"
	if !long {
		t.Parallel()
	}
	return long
}

func rivers(n int) (out []forecast.River) {
	for i := range n {
		out = append(out, forecast.River{Slug: fmt.Sprintf("river-%04d", i), Name: fmt.Sprintf("River %d", i), Zone: "UTC"})
	}
	return out
}

// outlook is a small one with nothing to tell of insects.
func outlook(r forecast.River, at time.Time) *forecast.Outlook {
	o := &forecast.Outlook{River: r.Slug, RiverName: r.Name, Zone: r.Zone, IssuedAt: at, DataCutoff: at.Add(-time.Hour), ModelVersion: forecast.ModelVersion}
	for _, s := range forecast.Stages {
		x := forecast.StageOutlook{Group: "march-brown", Name: "March brown", Stage: s, Fishable: true}
		days := make([]forecast.Day, 60)
		for d := range days {
			days[d] = forecast.Day{Date: forecast.DateOf(at) + forecast.Date(d), P: 0.01, PCalendar: 0.01}
		}
		x.Days = forecast.DaysOf(days)
		o.Stages = append(o.Stages, x)
	}
	return o
}

func workAsChild(text string) error {
	var k hand
	if err := json.Unmarshal([]byte(text), &k); err != nil {
		return err
	}
	ctx := context.Background()
	var d *db.DB
	for { // the server may be starting again
		var err error
		if d, err = db.Open(ctx, k.Database); err == nil {
			break
		}
		time.Sleep(200 * time.Millisecond)
	}
	var clock *jobs.Clock
	for {
		var err error
		if clock, err = jobs.NewClock(ctx, d, func() time.Time { return time.Now().Add(k.Skew) }); err == nil {
			break
		}
		time.Sleep(200 * time.Millisecond)
	}
	files, err := series.OpenFiles(ctx, k.Dir)
	if err != nil {
		return err
	}
	catalogue, err := insects.Load()
	if err != nil {
		return err
	}
	h := &work.Service{
		Catalogue: catalogue,
		DB:        d, Rivers: rivers(k.Rivers), Files: files, Archive: archive.New(d, files), Alerts: alert.New(d, clock.Now, work.MailFacts(archive.New(d, files), nil)), Log: zerolog.Nop(),
		Issue: func(_ context.Context, r forecast.River, at time.Time) (*forecast.Outlook, error) {
			burn(k.Burn)
			return outlook(r, at), nil
		},
		Assess: func(_ context.Context, r forecast.River, now time.Time) (alert.Reading, error) {
			return alert.Reading{River: r.Slug, RiverName: r.Name, Zone: r.Zone, Gauge: "invented", At: now.Truncate(time.Second), Level: 3, Hold: 3, Known: true,
				Reasons: []string{"it is a test"}, FlowM3S: &alert.Value{V: 90, At: now}}, nil
		},
	}
	if k.Real {
		store, err := series.Open(ctx, k.Dir, series.ReadOnly())
		if err != nil {
			return err
		}
		h.Read = &work.Reader{Store: store, Now: time.Now}
		h.Issue, h.Rivers = nil, national(k.Rivers)
	}
	if k.Port > 0 {
		if h.Transport, err = carrierOf(ctx, d, k.Port, k.Roots, clock.Now); err != nil {
			return err
		}
	}
	handlers := h.Handlers()
	o := jobs.Options{Clock: clock, Log: zerolog.Nop(), Handlers: handlers, Timeout: k.Timeout, Rescue: k.Timeout,
		Workers: map[string]int{jobs.Model: k.Model, jobs.Mail: 2, jobs.Backtest: 1}, Pace: 20 * time.Millisecond}
	if k.Windows {
		h.Issue = func(_ context.Context, r forecast.River, at time.Time) (*forecast.Outlook, error) {
			return windowed(r, at), nil
		}
		store, err := series.Open(ctx, k.Dir, series.ReadOnly()) // empty: the caution is unknown
		if err != nil {
			return err
		}
		h.Read = &work.Reader{Store: store, Now: time.Now}
	}
	if k.Hook != "" {
		h.Hooks, o.Workers[jobs.Webhooks] = k.hooksOf(d, clock.Now), 2
		o.Handlers.Webhook = h.SendWebhook
	}
	if k.Ticks {
		every, err := jobs.ParseSchedule("@every 1s")
		if err != nil {
			return err
		}
		o.Periodic = []jobs.Periodic{{Name: "tick", Schedule: every, Make: func(slot time.Time) jobs.Args { return jobs.Tick{Slot: slot} }}}
	}
	q, err := jobs.Open(ctx, d, o)
	if err != nil {
		return err
	}
	h.Queue = q
	if err := q.Start(ctx); err != nil {
		return err
	}
	select {} // until we are killed
}

// carrierOf words mails and hands them to the relay on a port of this machine.
func carrierOf(ctx context.Context, d *db.DB, port int, rootsFile string, now func() time.Time) (mail.Transport, error) {
	pemText, err := os.ReadFile(rootsFile)
	if err != nil {
		return mail.Transport{}, err
	}
	roots := x509.NewCertPool()
	roots.AppendCertsFromPEM(pemText)
	people, err := subscribe.New(ctx, d, subscribe.Names{}, now)
	if err != nil {
		return mail.Transport{}, err
	}
	composer, err := mail.NewComposer(mail.Site{Name: "Eclose", From: "alerts@example.org", URL: "https://eclose.example.org", Tokens: people.Links})
	if err != nil {
		return mail.Transport{}, err
	}
	sender, err := mail.NewSender(mail.Relay{Host: "localhost", Port: port, TLS: mail.StartTLS, Roots: roots})
	return mail.Transport{Composer: composer, Sender: sender}, err
}

// burn keeps a processor busy: a sleep would let one processor serve any number
// of workers.
func burn(d time.Duration) {
	x := 1.0
	for end := time.Now().Add(d); time.Now().Before(end); {
		for range 1000 {
			x = x*1.0000001 + 1e-9
		}
	}
	if x == 0 {
		panic("never")
	}
}

// sink is a real SMTP server that counts mails by their id, and now and then
// hangs up without an answer: before the text is read, or after it.
type sink struct {
	mu    sync.Mutex
	got   map[string]int // Message-ID
	mails int
	lost  int
	port  int
	roots string
}

func newSink(t *testing.T) *sink {
	t.Helper()
	s := &sink{got: map[string]int{}}
	key, err := ecdsa.GenerateKey(elliptic.P256(), crand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	tmpl := &x509.Certificate{SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: "localhost"}, DNSNames: []string{"localhost"},
		NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(24 * time.Hour), IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageCertSign | x509.KeyUsageDigitalSignature}
	der, err := x509.CreateCertificate(crand.Reader, tmpl, tmpl, &key.PublicKey, key)
	if err != nil {
		t.Fatal(err)
	}
	s.roots = filepath.Join(t.TempDir(), "roots.pem")
	if err := os.WriteFile(s.roots, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: der}), 0o600); err != nil {
		t.Fatal(err)
	}
	server := gosmtp.NewServer(s)
	server.Domain = "localhost"
	server.TLSConfig = &tls.Config{Certificates: []tls.Certificate{{Certificate: [][]byte{der}, PrivateKey: key}}}
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	_, port, _ := net.SplitHostPort(ln.Addr().String())
	s.port, _ = strconv.Atoi(port)
	go server.Serve(ln)
	t.Cleanup(func() { server.Close() })
	return s
}

func (s *sink) NewSession(c *gosmtp.Conn) (gosmtp.Session, error) { return &talk{s, c}, nil }

type talk struct {
	s *sink
	c *gosmtp.Conn
}

func (*talk) Mail(string, *gosmtp.MailOptions) error { return nil }
func (*talk) Rcpt(string, *gosmtp.RcptOptions) error { return nil }
func (*talk) Reset()                                 {}
func (*talk) Logout() error                          { return nil }

func (x *talk) Data(in io.Reader) error {
	b, err := io.ReadAll(in)
	if err != nil {
		return err
	}
	m, err := netmail.ReadMessage(bytes.NewReader(b))
	if err != nil {
		return err
	}
	x.s.mu.Lock()
	defer x.s.mu.Unlock()
	x.s.got[m.Header.Get("Message-ID")]++
	x.s.mails++
	if x.s.mails%23 == 0 { // the answer is lost after all was said
		x.s.lost++
		x.c.Conn().Close()
		return errors.New("hung up")
	}
	return nil
}

// children are the worker processes.
type children struct {
	t     *testing.T
	exe   string
	hand  hand
	all   []*exec.Cmd
	skew  []time.Duration
	procs int // of each; 0: all there are
}

// processor is how long the processes that live have been at work; 0 where the
// system does not say.
func (c *children) processor() (sum time.Duration) {
	for _, cmd := range c.all {
		if cmd == nil {
			continue
		}
		text, err := os.ReadFile(fmt.Sprintf("/proc/%d/stat", cmd.Process.Pid))
		if err != nil {
			continue
		}
		f := strings.Fields(string(text[bytes.LastIndexByte(text, ')')+1:])) // the name before may hold blanks
		for _, at := range []int{11, 12} {                                   // user and system
			if n, err := strconv.ParseInt(f[at], 10, 64); err == nil {
				sum += time.Duration(n) * tick
			}
		}
	}
	return sum
}

func (c *children) start(i int) {
	c.t.Helper()
	k := c.hand
	k.Skew = c.skew[i%len(c.skew)]
	text, err := json.Marshal(k)
	if err != nil {
		c.t.Fatal(err)
	}
	cmd := exec.Command(c.exe)
	cmd.Env = append(os.Environ(), workerEnv+"="+string(text))
	if c.procs > 0 {
		cmd.Env = append(cmd.Env, fmt.Sprintf("GOMAXPROCS=%d", c.procs))
	}
	cmd.Stderr = os.Stderr
	if err := cmd.Start(); err != nil {
		c.t.Fatal(err)
	}
	for len(c.all) <= i {
		c.all = append(c.all, nil)
	}
	c.all[i] = cmd
}

func (c *children) kill(i int) {
	if cmd := c.all[i]; cmd != nil {
		cmd.Process.Kill()
		cmd.Wait()
		c.all[i] = nil
	}
}

func (c *children) killAll() {
	for i := range c.all {
		c.kill(i)
	}
}

func subscribeAll(t *testing.T, d *db.DB, people, rivers int) {
	t.Helper()
	s, err := subscribe.New(t.Context(), d, subscribe.Names{}, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	var all []subscribe.Request
	for p := range people {
		r := subscribe.Request{Address: fmt.Sprintf("reader-%03d@example.org", p), WakeFor3: true, PerDay: 24, Wording: "test"}
		for w := range min(6, rivers) {
			r.Subscriptions = append(r.Subscriptions, subscribe.Subscription{River: fmt.Sprintf("river-%04d", (p*6+w)%rivers), Cautions: true})
		}
		all = append(all, r)
	}
	if err := s.AddConfirmed(t.Context(), all...); err != nil {
		t.Fatal(err)
	}
}

// restart starts the PostgreSQL server again as after a power cut.
func restart(t *testing.T, d *db.DB) {
	t.Helper()
	var dir string
	if err := d.SQL.QueryRow("SHOW data_directory").Scan(&dir); err != nil {
		t.Fatal(err)
	}
	bins, _ := filepath.Glob("/usr/lib/postgresql/*/bin/pg_ctl")
	if len(bins) == 0 {
		t.Fatal("no pg_ctl to start the server again with")
	}
	args := []string{bins[len(bins)-1], "-D", dir, "-m", "immediate", "-w", "restart"}
	if os.Getuid() == 0 {
		args = append([]string{"setpriv", "--reuid", "postgres", "--regid", "postgres", "--init-groups"}, args...)
	}
	cmd := exec.Command(args[0], args[1:]...)
	log, err := os.CreateTemp(t.TempDir(), "pg")
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Run(); err != nil {
		text, _ := os.ReadFile(log.Name())
		t.Fatalf("starting PostgreSQL again: %v\n%s", err, text)
	}
}

func TestWorkersKilledAtRandomLoseNothingAndDoubleNothing(t *testing.T) {
	long := besideOthers(t)
	load, nRivers, people, restarts := 4*time.Second, 8, 4, 0
	if long {
		load, nRivers, people, restarts = 5*time.Minute, 120, 60, 2
	}
	url := dbtest.PostgresURL(t)
	d := dbtest.Open(t, url)
	subscribeAll(t, d, people, nRivers)
	s := newSink(t)
	dir := t.TempDir()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	c := &children{t: t, exe: exe, procs: 1, skew: []time.Duration{-5 * time.Minute, 0, 5 * time.Minute, 150 * time.Second},
		hand: hand{Database: url, Dir: dir, Roots: s.roots, Port: s.port, Rivers: nRivers, Timeout: 20 * time.Second, Burn: 5 * time.Millisecond, Model: 4, Ticks: true}}
	defer c.killAll()
	for i := range 4 {
		c.start(i)
	}
	q, err := jobs.Open(t.Context(), d, jobs.Options{Log: zerolog.Nop()})
	if err != nil {
		t.Fatal(err)
	}
	base := time.Now().Add(-24 * time.Hour).UTC().Truncate(time.Hour)
	added := map[jobs.Outlook]bool{}
	kills, done := 0, 0
	began := time.Now()
	nextKill := began.Add(time.Second)
	for round := 0; time.Since(began) < load || round < 4; round++ {
		// New rivers come into the load as it goes on, so that there is mail to the end.
		upTo := min(nRivers, 4+int(float64(nRivers)*time.Since(began).Seconds()/load.Seconds()))
		var all []jobs.Args
		for _, r := range rivers(upTo) {
			k := jobs.Outlook{River: r.Slug, Issue: base.Add(time.Duration(round) * time.Minute)}
			all = append(all, k)
		}
		// A queue that only grows would judge the machine, not the workers.
		if n, err := q.Unfinished(t.Context()); err == nil && n > 300 {
			round--
			all = nil
		}
		if _, err := q.Add(t.Context(), all...); err == nil {
			for _, a := range all {
				added[a.(jobs.Outlook)] = true
			}
		} else if restarts == 0 {
			t.Fatal(err)
		}
		if done < restarts && time.Since(began) > load*time.Duration(done+1)/time.Duration(restarts+1) {
			restart(t, d)
			done++
		}
		for time.Now().After(nextKill) {
			i := rand.N(4)
			c.kill(i)
			c.start(i)
			kills++
			nextKill = nextKill.Add(time.Second/2 + rand.N(time.Second))
		}
		time.Sleep(time.Second)
	}
	if !long {
		// In the long run River's rescuer finds what the dead left behind; it looks
		// every half minute. Here we do what it does.
		c.killAll()
		if _, err := d.SQL.Exec("UPDATE river_job SET state = 'available' WHERE state = 'running'"); err != nil {
			t.Fatal(err)
		}
		for i := range 4 {
			c.start(i)
		}
	}
	wait := time.Now().Add(10 * time.Minute)
	for {
		n, err := q.Unfinished(t.Context(), "outlook", "alerts")
		if err != nil {
			t.Fatal(err)
		}
		var slots int // of the schedule: a busy machine may have killed every leader before its first
		if err := d.SQL.QueryRow("SELECT COUNT(DISTINCT args->>'slot') FROM river_job WHERE kind = 'tick'").Scan(&slots); err != nil {
			t.Fatal(err)
		}
		if n == 0 && slots >= 2 {
			break
		}
		if time.Now().After(wait) {
			l, _ := q.List(t.Context(), jobs.Filter{States: []string{"running", "retryable", "available"}, Kinds: []string{"outlook", "alerts"}})
			t.Fatalf("%d jobs are still not done, such as %+v", n, l[:min(3, len(l))])
		}
		time.Sleep(100 * time.Millisecond)
	}
	c.killAll()
	t.Logf("%d outlooks, %d kills, %d restarts of the server in %s", len(added), kills, done, time.Since(began).Round(time.Second))
	checkOutlooks(t, d, dir, added)
	checkTicks(t, d)
	checkMail(t, d, s, c)
}

func checkOutlooks(t *testing.T, d *db.DB, dir string, added map[jobs.Outlook]bool) {
	t.Helper()
	files, err := series.OpenFiles(t.Context(), dir)
	if err != nil {
		t.Fatal(err)
	}
	a := archive.New(d, files)
	for k := range added {
		o, err := a.Load(t.Context(), k.River, k.Issue, forecast.ModelVersion)
		if err != nil {
			t.Errorf("missing: %v", err)
			continue
		}
		if o.River != k.River || !o.IssuedAt.Equal(k.Issue) {
			t.Errorf("%+v holds the outlook of %s issued %s", k, o.River, o.IssuedAt)
		}
	}
	var given int
	if err := d.SQL.QueryRow("SELECT COUNT(*) FROM river_job WHERE state = 'discarded'").Scan(&given); err != nil || given > 0 {
		t.Errorf("%d jobs were given up, %v", given, err)
	}
}

// checkTicks looks at how long no leader kept the time, and that no slot was done
// twice though the clocks of the leaders differ by ten minutes.
func checkTicks(t *testing.T, d *db.DB) {
	t.Helper()
	rows, err := d.SQL.Query("SELECT args->>'slot', COUNT(*) FROM river_job WHERE kind = 'tick' GROUP BY 1 ORDER BY 1")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var last time.Time
	var longest time.Duration
	n := 0
	for rows.Next() {
		var text string
		var times int
		if err := rows.Scan(&text, &times); err != nil {
			t.Fatal(err)
		}
		slot, err := time.Parse(time.RFC3339, text)
		if err != nil {
			t.Fatal(err)
		}
		if times != 1 {
			t.Errorf("slot %s came %d times", text, times)
		}
		if off := time.Since(slot); off < -2*time.Second || off > 20*time.Minute {
			t.Errorf("slot %s is off by a clock", text)
		}
		if n > 0 {
			longest = max(longest, slot.Sub(last))
		}
		last = slot
		n++
	}
	if err := rows.Err(); err != nil {
		t.Fatal(err)
	}
	t.Logf("%d slots of one second, the longest gap %s", n, longest)
	if n < 2 || longest > 60*time.Second {
		t.Errorf("nobody kept the time for %s", longest)
	}
}

// checkMail sends what is left, an hour later when the leases of the dead have
// run out, and then looks at what arrived.
func checkMail(t *testing.T, d *db.DB, s *sink, c *children) {
	t.Helper()
	later := time.Now().Add(time.Hour)
	a := alert.New(d, func() time.Time { return later }, nil)
	carrier, err := carrierOf(t.Context(), d, s.port, s.roots, time.Now)
	if err != nil {
		t.Fatal(err)
	}
	defer carrier.Sender.Close()
	for range 3 {
		if _, err := a.Deliver(t.Context(), carrier, 4); err != nil {
			t.Fatal(err)
		}
		later = later.Add(20 * time.Minute)
	}
	unknown := unanswered(t, d)
	rows, err := d.SQL.Query("SELECT message_id, dedupe_key, state FROM outbox")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	s.mu.Lock()
	defer s.mu.Unlock()
	n, twice, inDoubt := 0, 0, 0
	var states []string
	for rows.Next() {
		var id, key, state string
		if err := rows.Scan(&id, &key, &state); err != nil {
			t.Fatal(err)
		}
		n++
		states = append(states, state)
		times := s.got["<"+id+"@example.org>"]
		switch {
		case state == "sent" && times == 0:
			t.Errorf("mail %s is marked as sent and did not arrive", key)
		case times > 1+unknown[key]:
			t.Errorf("mail %s arrived %d times, and %d answers were lost", key, times, unknown[key])
		case state != "sent" && state != "unknown":
			t.Errorf("mail %s ended as %s", key, state)
		}
		if times > 1 {
			twice++
		}
		inDoubt += unknown[key]
	}
	// Every reader was told of every river that they asked about and that was read
	// twice or more.
	var told, wanted int
	if err := d.SQL.QueryRow("SELECT COUNT(*) FROM episode WHERE rule = 'caution' AND sent_level = 3").Scan(&told); err != nil {
		t.Fatal(err)
	}
	if err := d.SQL.QueryRow(`SELECT COUNT(*) FROM subscription s JOIN river_state r ON r.river = s.river AND r.rule = 'caution' AND r.level = 3`).Scan(&wanted); err != nil {
		t.Fatal(err)
	}
	slices.Sort(states)
	t.Logf("%d mails (%v), %d arrived, %d more than once; %d attempts ended without an answer, %d of them since the relay hung up; %d of %d pairs of reader and river told",
		n, count(states), len(s.got), twice, inDoubt, s.lost, told, wanted)
	if n == 0 || told != wanted || wanted == 0 {
		t.Errorf("%d of %d pairs of reader and river were told", told, wanted)
	}
}

// unanswered counts for each mail the attempts that ended without an answer,
// because the relay hung up or the worker was killed: it may have arrived. A
// caution of level 3 is sent again after each, under the same Message-ID, so a
// mail may arrive once more than this.
func unanswered(t *testing.T, d *db.DB) map[string]int {
	t.Helper()
	out := map[string]int{}
	log, err := d.SQL.Query("SELECT dedupe_key FROM send_log WHERE result = 'unknown'")
	if err != nil {
		t.Fatal(err)
	}
	defer log.Close()
	for log.Next() {
		var key string
		if err := log.Scan(&key); err != nil {
			t.Fatal(err)
		}
		out[key]++
	}
	if err := log.Err(); err != nil {
		t.Fatal(err)
	}
	return out
}

func count(all []string) map[string]int {
	out := map[string]int{}
	for _, s := range all {
		out[s]++
	}
	return out
}
