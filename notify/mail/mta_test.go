package mail

import (
	"bytes"
	"crypto/x509"
	"encoding/pem"
	"net"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/subscribe"
)

// mta starts Postfix, as Debian has it, on loopback, with folders of its own. It
// delivers example.net and example.org to maildirs; a mail for
// broken.example.net fails after it was taken, so that a report comes back.
func mta(t *testing.T) (r Relay, maildir, reports string) {
	t.Helper()
	missing := func(format string, args ...any) {
		t.Helper()
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf(format, args...)
		}
		t.Skipf("skipping the talk with a real mail server: "+format, args...)
	}
	const bin = "/usr/sbin/postfix"
	if !exists(bin) {
		missing("postfix is not installed; apt-get install postfix")
	}
	if os.Getuid() != 0 {
		missing("postfix drops its rights, which takes root")
	}
	dir, err := os.MkdirTemp("", "eclose-mta-") //nolint:usetesting // other users must reach it, and do not reach below t.TempDir
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { _ = os.RemoveAll(dir) })
	if err := os.Chmod(dir, 0o755); err != nil { //nolint:gosec // other users must reach it
		t.Fatal(err)
	}
	for name, owner := range map[string]string{"etc": "root", "queue": "root", "data": "postfix", "mail": "nobody"} {
		u, err := user.Lookup(owner)
		if err != nil {
			missing("there is no user %s", owner)
		}
		uid, _ := strconv.Atoi(u.Uid)
		gid, _ := strconv.Atoi(u.Gid)
		d := filepath.Join(dir, name)
		if err := os.Mkdir(d, 0o755); err != nil { //nolint:gosec // likewise
			t.Fatal(err)
		}
		if err := os.Chown(d, uid, gid); err != nil {
			t.Fatal(err)
		}
	}
	cert, pool := certificate(t, "127.0.0.1")
	der, err := x509.MarshalPKCS8PrivateKey(cert.PrivateKey)
	if err != nil {
		t.Fatal(err)
	}
	write := func(name string, b []byte) {
		if err := os.WriteFile(filepath.Join(dir, "etc", name), b, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	write("cert.pem", pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: cert.Certificate[0]}))
	write("key.pem", pem.EncodeToMemory(&pem.Block{Type: "PRIVATE KEY", Bytes: der}))
	port := freePort(t)
	write("main.cf", []byte(strings.NewReplacer("DIR", dir).Replace(postfixMain)))
	write("master.cf", []byte(strings.NewReplacer("PORT", strconv.Itoa(port), "DIR", dir).Replace(postfixMaster)))
	// 67: no such user.
	if err := os.WriteFile(filepath.Join(dir, "fail"), []byte("exit 67\n"), 0o644); err != nil { //nolint:gosec // nobody must read it
		t.Fatal(err)
	}
	ctl := func(verb string) {
		out, err := exec.Command(bin, "-c", filepath.Join(dir, "etc"), verb).CombinedOutput()
		if err != nil {
			t.Fatalf("postfix %s: %v\n%s", verb, err, out)
		}
	}
	ctl("start")
	t.Cleanup(func() {
		ctl("stop")
		if t.Failed() {
			b, _ := os.ReadFile(filepath.Join(dir, "log"))
			t.Logf("%s", b)
		}
	})
	return Relay{Host: "127.0.0.1", Port: port, TLS: StartTLS, Hello: "eclose.example.org", Roots: pool},
		filepath.Join(dir, "mail", "reader"), filepath.Join(dir, "mail", "reports")
}

func freePort(t *testing.T) int {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	return l.Addr().(*net.TCPAddr).Port
}

const postfixMain = `compatibility_level = 3.6
queue_directory = DIR/queue
data_directory = DIR/data
maillog_file = DIR/log
maillog_file_prefixes = DIR
command_directory = /usr/sbin
daemon_directory = /usr/lib/postfix/sbin
mail_owner = postfix
setgid_group = postdrop
inet_interfaces = loopback-only
inet_protocols = ipv4
mynetworks =
myhostname = mta.example.net
mydestination =
alias_maps =
alias_database =
recipient_delimiter = +
virtual_mailbox_domains = example.net, example.org
virtual_mailbox_base = DIR/mail
virtual_mailbox_maps = inline:{ {angler@example.net = reader/}, {@example.org = reports/} }
virtual_uid_maps = static:65534
virtual_gid_maps = static:65534
virtual_minimum_uid = 100
relay_domains = broken.example.net
relay_recipient_maps =
transport_maps = inline:{ {broken.example.net = broken:} }
smtpd_relay_restrictions = reject_unauth_destination
smtpd_tls_cert_file = DIR/etc/cert.pem
smtpd_tls_key_file = DIR/etc/key.pem
smtpd_tls_security_level = encrypt
`

const postfixMaster = `127.0.0.1:PORT inet n - n - - smtpd
pickup unix n - n 60 1 pickup
cleanup unix n - n - 0 cleanup
qmgr unix n - n 300 1 qmgr
tlsmgr unix - - n 1000? 1 tlsmgr
rewrite unix - - n - - trivial-rewrite
bounce unix - - n - 0 bounce
defer unix - - n - 0 bounce
trace unix - - n - 0 bounce
proxymap unix - - n - - proxymap
error unix - - n - - error
retry unix - - n - - error
virtual unix - n n - - virtual
anvil unix - - n - 1 anvil
smtp unix - - n - - smtp
broken unix - n n - - pipe user=nobody argv=/bin/sh DIR/fail
postlog unix-dgram n - n - 1 postlogd
`

func exists(path string) bool { _, err := os.Stat(path); return err == nil }

// arrived waits for a mail in a maildir.
func arrived(t *testing.T, maildir string) []byte {
	t.Helper()
	for range 200 {
		fs, err := filepath.Glob(filepath.Join(maildir, "new", "*"))
		if err != nil {
			t.Fatal(err)
		}
		if len(fs) > 0 {
			b, err := os.ReadFile(fs[0])
			if err != nil {
				t.Fatal(err)
			}
			return b
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("nothing arrived in %s", maildir)
	return nil
}

func TestARealMailServerTakesOurMailAndSendsItsReports(t *testing.T) {
	r, maildir, reports := mta(t)
	s := sender(t, r)

	it := open()
	it.About.Name = "Žluťásek"
	it.About.Tie = append(it.About.Tie, ".", "..")
	m, err := composer(t).Compose(letter(it, rise()), date)
	if err != nil {
		t.Fatal(err)
	}
	if o := s.Send(t.Context(), m, yes); o.Result != alert.Sent {
		t.Fatalf("%+v", o)
	}
	raw := bytes.ReplaceAll(arrived(t, maildir), []byte("\n"), []byte("\r\n")) // kept with the system's line ends
	if _, body, ok := bytes.Cut(m.Raw, []byte("\r\n\r\n")); !ok || !bytes.Contains(raw, bytes.TrimSpace(body)) {
		t.Error("the body is not as it left")
	}
	p, ps := parse(t, raw)
	if got := p.Header.Get("Message-Id"); got != m.ID {
		t.Errorf("Message-ID %q, want %q", got, m.ID)
	}
	if got := p.Header.Get("Return-Path"); got != "" && got != "<"+m.From+">" {
		t.Errorf("Return-Path %q", got)
	}
	for _, h := range []string{"Date", "From", "To", "Subject", "List-Unsubscribe", "List-Unsubscribe-Post", "List-Id", "Auto-Submitted", "Mime-Version"} {
		if len(p.Header[h]) != 1 {
			t.Errorf("%s: %q", h, p.Header[h])
		}
	}
	var kinds []string
	for _, x := range ps {
		kinds = append(kinds, x.kind)
	}
	if got := strings.Join(kinds, " "); got != "multipart/mixed multipart/alternative text/plain text/html text/calendar" {
		t.Errorf("parts %s", got)
	}
	checkCalendar(t, ps[4])

	// A mailbox that is not there is refused in the talk.
	m.To = "nobody-here@example.net"
	if o := s.Send(t.Context(), m, yes); o.Result != alert.Refused || o.Code != 550 {
		t.Errorf("%+v", o)
	}

	// One that fails later comes back as a report, which names our mail.
	m.To = "angler@broken.example.net"
	if o := s.Send(t.Context(), m, yes); o.Result != alert.Sent {
		t.Fatalf("%+v", o)
	}
	raw = arrived(t, reports)
	report, err := ReadReport(bytes.NewReader(raw))
	if err != nil || report.Key != key || report.Kind != subscribe.BounceHard || report.Status != "5.1.1" {
		t.Errorf("%+v %v\n%s", report, err, raw)
	}
	t.Logf("the report: %+v", report)
}
