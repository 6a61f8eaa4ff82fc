package mail

import (
	"bufio"
	"bytes"
	"context"
	"crypto/x509"
	"encoding/pem"
	"fmt"
	"io"
	"net/mail"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	gosmtp "github.com/emersion/go-smtp"

	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/subscribe"
)

// sink takes all mail and counts by Message-ID.
type sink struct {
	mu   sync.Mutex
	seen map[string]int
	n    int
}

func (s *sink) NewSession(*gosmtp.Conn) (gosmtp.Session, error) { return &drain{s}, nil }

type drain struct{ s *sink }

func (d *drain) Mail(string, *gosmtp.MailOptions) error { return nil }
func (d *drain) Rcpt(string, *gosmtp.RcptOptions) error { return nil }
func (d *drain) Reset()                                 {}
func (d *drain) Logout() error                          { return nil }
func (d *drain) Data(r io.Reader) error {
	m, err := mail.ReadMessage(bufio.NewReader(r))
	if err != nil {
		return err
	}
	if _, err := io.Copy(io.Discard, m.Body); err != nil {
		return err
	}
	d.s.mu.Lock()
	defer d.s.mu.Unlock()
	d.s.seen[m.Header.Get("Message-Id")]++
	d.s.n++
	return nil
}

func (s *sink) count() int {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.n
}

// audience fills d with n readers of the Wend and puts a mail for each into the
// outbox; it returns how long telling took, and how much processor time.
func audience(t testing.TB, d *db.DB, n int, now func() time.Time) (took time.Duration, cpu float64) {
	t.Helper()
	ctx := t.Context()
	people, err := subscribe.New(ctx, d, subscribe.Names{}, now)
	if err != nil {
		t.Fatal(err)
	}
	var rs []subscribe.Request
	for i := range n {
		rs = append(rs, subscribe.Request{Address: fmt.Sprintf("angler-%d@example.net", i), Zone: "Europe/London", Subscriptions: []subscribe.Subscription{{River: "wend", Cautions: true}}})
		if len(rs) == 5000 || i == n-1 {
			if err := people.AddConfirmed(ctx, rs...); err != nil {
				t.Fatal(err)
			}
			rs = rs[:0]
		}
	}
	s := alert.New(d, now, wendFile)
	began, cpu := time.Now(), spent(t)
	if err := s.AddOutlook(ctx, wendIssued); err != nil {
		t.Fatal(err)
	}
	told, err := s.Reconcile(ctx)
	if err != nil || told.Mails != n {
		t.Fatalf("%+v, want %d mails: %v", told, n, err)
	}
	return time.Since(began), spent(t) - cpu
}

// high is the most memory this process ever held, in MB.
func high(t testing.TB) float64 {
	t.Helper()
	b, err := os.ReadFile("/proc/self/status")
	if err != nil {
		t.Skip("memory can be read on Linux only")
	}
	for l := range strings.SplitSeq(string(b), "\n") {
		if f := strings.Fields(l); len(f) == 3 && f[0] == "VmHWM:" {
			kb, err := strconv.Atoi(f[1])
			if err != nil {
				t.Fatal(err)
			}
			return float64(kb) / 1024
		}
	}
	t.Fatal("no VmHWM")
	return 0
}

// spent is the processor time of this process so far, in s: unlike the clock's,
// it is much the same on a machine that others use too.
func spent(t testing.TB) float64 {
	t.Helper()
	b, err := os.ReadFile("/proc/self/stat")
	if err != nil {
		t.Skip("processor time can be read on Linux only")
	}
	_, after, _ := strings.Cut(string(b), ") ") // the name may hold spaces
	f := strings.Fields(after)
	const user, system, perSecond = 11, 12, 100
	var sum float64
	for _, i := range []int{user, system} {
		n, err := strconv.Atoi(f[i])
		if err != nil {
			t.Fatal(err)
		}
		sum += float64(n) / perSecond
	}
	return sum
}

func TestAnOutlookReachesEveryReaderOnce(t *testing.T) {
	n := 600
	if os.Getenv("ECLOSE_LONG") == "1" {
		n = 100_000
	}
	if asked, err := strconv.Atoi(os.Getenv("ECLOSE_READERS")); err == nil {
		n = asked
	}
	d, err := db.OpenMigrated(t.Context(), filepath.Join(t.TempDir(), "e.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	clock := date
	now := func() time.Time { return clock }
	took, cpu := audience(t, d, n, now)
	t.Logf("%d readers weighed and queued in %.1f s, %.1f s of a processor; %.0f MB at most", n, took.Seconds(), cpu, high(t))
	clock = clock.Add(10 * time.Minute)
	in := &sink{seen: map[string]int{}}
	s := alert.New(d, now, wendFile)
	began, cpu := time.Now(), spent(t)
	got, err := s.Deliver(t.Context(), Transport{composer(t), sender(t, serveSink(t, in, nil))}, workers)
	if err != nil || got.Sent != n {
		t.Fatalf("%+v %v", got, err)
	}
	took = time.Since(began)
	cpu = spent(t) - cpu
	t.Logf("%d mails sent in %.1f s, %.0f a second; %.1f s of a processor, %.0f for each second of it; %.0f MB at most",
		n, took.Seconds(), float64(n)/took.Seconds(), cpu, float64(n)/cpu, high(t))
	if len(in.seen) != n || in.n != n {
		t.Errorf("%d mails arrived, %d of them different", in.n, len(in.seen))
	}
	if got, err := s.Deliver(t.Context(), Transport{composer(t), sender(t, serveSink(t, in, nil))}, workers); err != nil || got != (alert.Delivered{}) {
		t.Errorf("a second time: %+v %v", got, err)
	}
}

// serveSink starts a relay that only counts.
func serveSink(t testing.TB, in *sink, change func(*gosmtp.Server, *Relay)) Relay {
	t.Helper()
	return serve(t, in, change)
}

// The child of the kill test: sends what is due until it is killed.
func TestMain(m *testing.M) {
	if f := os.Getenv("ECLOSE_KILL_ME"); f != "" {
		child(f)
		return
	}
	os.Exit(m.Run())
}

func child(database string) {
	ctx := context.Background()
	die := func(err error) {
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	d, err := db.Open(ctx, database)
	die(err)
	port, err := strconv.Atoi(os.Getenv("ECLOSE_KILL_PORT"))
	die(err)
	pool := x509.NewCertPool()
	pool.AppendCertsFromPEM([]byte(os.Getenv("ECLOSE_KILL_CA")))
	send, err := NewSender(Relay{Host: "127.0.0.1", Port: port, TLS: StartTLS, Roots: pool})
	die(err)
	compose, err := NewComposer(site)
	die(err)
	s := alert.New(d, func() time.Time { return date.Add(10 * time.Minute) }, wendFile)
	_, err = s.Deliver(ctx, Transport{compose, send}, workers)
	die(err)
	die(d.Close())
}

const workers = 16

func TestKilledInTheMiddleNobodyHearsTwice(t *testing.T) {
	n, kills := 1200, 4
	if os.Getenv("ECLOSE_LONG") == "1" {
		n, kills = 20_000, 20
	}
	database := filepath.Join(t.TempDir(), "e.db")
	d, err := db.OpenMigrated(t.Context(), database)
	if err != nil {
		t.Fatal(err)
	}
	audience(t, d, n, func() time.Time { return date })
	if err := d.Close(); err != nil {
		t.Fatal(err)
	}
	in := &sink{seen: map[string]int{}}
	var ca []byte
	relay := serveSink(t, in, func(s *gosmtp.Server, _ *Relay) {
		ca = pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: s.TLSConfig.Certificates[0].Certificate[0]})
	})
	for i := range kills + 1 {
		c := exec.CommandContext(t.Context(), os.Args[0])
		c.Env = append(os.Environ(), "ECLOSE_KILL_ME="+database, "ECLOSE_KILL_PORT="+strconv.Itoa(relay.Port), "ECLOSE_KILL_CA="+string(ca))
		var errs bytes.Buffer
		c.Stderr = &errs
		if err := c.Start(); err != nil {
			t.Fatal(err)
		}
		if i == kills { // the last one may finish
			if err := c.Wait(); err != nil {
				t.Fatalf("%v: %s", err, errs.String())
			}
			break
		}
		goal := n * (i + 1) / (kills + 1)
		for in.count() < goal {
			time.Sleep(time.Millisecond)
		}
		if err := c.Process.Kill(); err != nil { // SIGKILL
			t.Fatal(err)
		}
		_ = c.Wait()
	}
	twice := 0
	for _, k := range in.seen {
		if k > 1 {
			twice++
		}
	}
	if d, err = db.Open(t.Context(), database); err != nil {
		t.Fatal(err)
	}
	defer d.Close()
	counts, err := alert.New(d, func() time.Time { return date }, nil).Counts(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	lost := n - len(in.seen)
	t.Logf("%d mails, %d kills: %d arrived, %d twice, %d did not; the books say %v", n, kills, len(in.seen), twice, lost, counts)
	if twice > 0 {
		t.Errorf("%d mails arrived twice", twice)
	}
	if counts["sent"]+counts["unknown"] != n || lost > counts["unknown"] || counts["unknown"] > kills*workers {
		t.Errorf("of %d mails %d did not arrive, and the books say %v", n, lost, counts)
	}
}
