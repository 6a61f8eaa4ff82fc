package mail

import (
	"bytes"
	"context"
	"crypto"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"errors"
	"fmt"
	"io"
	"math/big"
	"net"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/emersion/go-sasl"
	gosmtp "github.com/emersion/go-smtp"

	"example.org/eclose/notify/alert"
)

// relay is a real SMTP server on loopback, with a will of its own.
type relay struct {
	mu       sync.Mutex
	got      []delivery
	talks    int
	onMail   func() error
	onRcpt   func(to string, nth int) error
	onData   func(c net.Conn) error // before the text is read
	onDone   func(c net.Conn) error // after the final dot
	perTalk  int
	rcpts    int
	password string
}

type delivery struct {
	from, to string
	raw      []byte
}

func (r *relay) NewSession(c *gosmtp.Conn) (gosmtp.Session, error) {
	r.mu.Lock()
	defer r.mu.Unlock()
	return &session{r: r, c: c}, nil
}

type session struct {
	r        *relay
	c        *gosmtp.Conn
	n        int
	from, to string
	in       bool
}

func (s *session) AuthMechanisms() []string { return []string{sasl.Plain} }

func (s *session) Auth(string) (sasl.Server, error) {
	return sasl.NewPlainServer(func(_, user, password string) error {
		if user != "eclose" || password != s.r.password {
			return &gosmtp.SMTPError{Code: 535, EnhancedCode: gosmtp.EnhancedCode{5, 7, 8}, Message: "wrong name or password"}
		}
		s.in = true
		return nil
	}), nil
}

func (s *session) Mail(from string, _ *gosmtp.MailOptions) error {
	if s.r.password != "" && !s.in {
		return gosmtp.ErrAuthRequired
	}
	if s.r.perTalk > 0 && s.n >= s.r.perTalk {
		return &gosmtp.SMTPError{Code: 421, EnhancedCode: gosmtp.EnhancedCode{4, 7, 0}, Message: "too many mails in one talk"}
	}
	if s.n++; s.n == 1 { // sessions begin anew with the encryption: count those in use
		s.r.mu.Lock()
		s.r.talks++
		s.r.mu.Unlock()
	}
	s.from = from
	if s.r.onMail != nil {
		return s.r.onMail()
	}
	return nil
}

func (s *session) Rcpt(to string, _ *gosmtp.RcptOptions) error {
	s.to = to
	s.r.mu.Lock()
	s.r.rcpts++
	n := s.r.rcpts
	s.r.mu.Unlock()
	if s.r.onRcpt != nil {
		return s.r.onRcpt(to, n)
	}
	return nil
}

func (s *session) Data(in io.Reader) error {
	if s.r.onData != nil {
		if err := s.r.onData(s.c.Conn()); err != nil {
			return err
		}
	}
	b, err := io.ReadAll(in)
	if err != nil {
		return err
	}
	s.r.mu.Lock()
	s.r.got = append(s.r.got, delivery{s.from, s.to, b})
	s.r.mu.Unlock()
	if s.r.onDone != nil {
		return s.r.onDone(s.c.Conn())
	}
	return nil
}

func (s *session) Reset()        {}
func (s *session) Logout() error { return nil }

// certificate makes one for host that only its own pool trusts.
func certificate(t testing.TB, host string) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	return certify(t, host, key)
}

func certify(t testing.TB, host string, key crypto.Signer) (tls.Certificate, *x509.CertPool) {
	t.Helper()
	c := &x509.Certificate{
		SerialNumber: big.NewInt(1), Subject: pkix.Name{CommonName: host}, NotBefore: time.Now().Add(-time.Hour), NotAfter: time.Now().Add(time.Hour),
		DNSNames: []string{host}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign,
	}
	if ip := net.ParseIP(host); ip != nil {
		c.IPAddresses, c.DNSNames = []net.IP{ip}, nil
	}
	der, err := x509.CreateCertificate(rand.Reader, c, c, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	leaf, err := x509.ParseCertificate(der)
	if err != nil {
		t.Fatal(err)
	}
	pool := x509.NewCertPool()
	pool.AddCert(leaf)
	return tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key, Leaf: leaf}, pool
}

// serve starts r and returns how to reach it.
func serve(t testing.TB, r gosmtp.Backend, change func(*gosmtp.Server, *Relay)) Relay {
	t.Helper()
	cert, pool := certificate(t, "127.0.0.1")
	s := gosmtp.NewServer(r)
	s.Domain = "relay.example.org"
	s.TLSConfig = &tls.Config{Certificates: []tls.Certificate{cert}}
	s.ErrorLog = quiet{}
	s.MaxMessageBytes = 10 << 20
	out := Relay{Host: "127.0.0.1", TLS: StartTLS, Hello: "eclose.example.org", Roots: pool}
	if change != nil {
		change(s, &out)
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	out.Port = l.Addr().(*net.TCPAddr).Port
	if out.TLS == Implicit {
		l = tls.NewListener(l, s.TLSConfig)
	}
	done := make(chan struct{})
	go func() { defer close(done); _ = s.Serve(l) }()
	t.Cleanup(func() { _ = s.Close(); <-done })
	return out
}

type quiet struct{}

func (quiet) Printf(string, ...any) {}
func (quiet) Println(...any)        {}

func sender(t testing.TB, r Relay) *Sender {
	t.Helper()
	s, err := NewSender(r)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.Close)
	return s
}

func message(t testing.TB) Message {
	t.Helper()
	m, err := composer(t).Compose(letter(open()), date)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func yes() error { return nil }

func smtpError(code int, a, b, c int, text string) error {
	return &gosmtp.SMTPError{Code: code, EnhancedCode: gosmtp.EnhancedCode{a, b, c}, Message: text}
}

func TestWhatARelaySaysIsUnderstood(t *testing.T) {
	drop := func(c net.Conn) error { _ = c.Close(); return errors.New("gone") }
	for _, tc := range []struct {
		what   string
		relay  *relay
		change func(*gosmtp.Server, *Relay)
		result alert.Result
		code   int
		status string
		got    int
	}{
		{"250", &relay{}, nil, alert.Sent, 250, "", 1},
		{"250 over implicit encryption", &relay{}, func(_ *gosmtp.Server, r *Relay) { r.TLS = Implicit }, alert.Sent, 250, "", 1},
		{"250 after a login", &relay{password: "secret"}, func(_ *gosmtp.Server, r *Relay) { r.Username, r.Password = "eclose", "secret" }, alert.Sent, 250, "", 1},
		{"535 to the login", &relay{password: "secret"}, func(_ *gosmtp.Server, r *Relay) { r.Username, r.Password = "eclose", "wrong" }, alert.SenderRejected, 535, "5.7.8", 0},
		{"login wanted and none given", &relay{password: "secret"}, nil, alert.SenderRejected, 502, "5.7.0", 0},
		{"421 to MAIL", &relay{onMail: func() error { return smtpError(421, 4, 3, 2, "closing") }}, nil, alert.Deferred, 421, "4.3.2", 0},
		{"554 to MAIL is about us", &relay{onMail: func() error { return smtpError(554, 5, 7, 1, "not from you") }}, nil, alert.SenderRejected, 554, "5.7.1", 0},
		{"450 to RCPT", &relay{onRcpt: func(string, int) error { return smtpError(450, 4, 2, 1, "later") }}, nil, alert.Deferred, 450, "4.2.1", 0},
		{"550 to RCPT", &relay{onRcpt: func(string, int) error { return smtpError(550, 5, 1, 1, "no such mailbox") }}, nil, alert.Refused, 550, "5.1.1", 0},
		{"552 to RCPT without a reason is 452", &relay{onRcpt: func(string, int) error {
			return &gosmtp.SMTPError{Code: 552, EnhancedCode: gosmtp.NoEnhancedCode, Message: "too many"}
		}}, nil, alert.Deferred, 552, "", 0},
		{"554 after the dot", &relay{onDone: func(net.Conn) error { return smtpError(554, 5, 7, 1, "looks bad") }}, nil, alert.Refused, 554, "5.7.1", 1},
		{"451 after the dot", &relay{onDone: func(net.Conn) error { return smtpError(451, 4, 3, 0, "later") }}, nil, alert.Deferred, 451, "4.3.0", 1},
		{"hung up after the final dot", &relay{onDone: drop}, nil, alert.Unknown, 0, "", 1},
		{"STARTTLS stripped", &relay{}, func(s *gosmtp.Server, _ *Relay) { s.TLSConfig = nil }, alert.SenderRejected, 0, "", 0},
		{"a certificate that nobody signed", &relay{}, func(_ *gosmtp.Server, r *Relay) { r.Roots = x509.NewCertPool() }, alert.SenderRejected, 0, "", 0},
		{"a certificate for another name", &relay{}, func(_ *gosmtp.Server, r *Relay) { r.Host = "localhost" }, alert.SenderRejected, 0, "", 0},
		{"encryption too old", &relay{}, func(s *gosmtp.Server, _ *Relay) { s.TLSConfig.MaxVersion = tls.VersionTLS11 }, alert.SenderRejected, 0, "", 0},
	} {
		t.Run(tc.what, func(t *testing.T) {
			s := sender(t, serve(t, tc.relay, tc.change))
			begun := 0
			o := s.Send(t.Context(), message(t), func() error { begun++; return nil })
			if o.Result != tc.result || o.Code != tc.code || o.Enhanced != tc.status {
				t.Errorf("%+v, want result %d code %d %s", o, tc.result, tc.code, tc.status)
			}
			if len(tc.relay.got) != tc.got {
				t.Errorf("the relay got %d, want %d", len(tc.relay.got), tc.got)
			}
			if (o.Result == alert.Sent || o.Result == alert.Unknown) && begun != 1 {
				t.Errorf("begun %d times", begun)
			}
			if o.Result == alert.SenderRejected && begun != 0 {
				t.Error("it was begun before the relay took us in")
			}
		})
	}
}

// Whether the rest of the text still left our machine is a matter of timing; it
// must count as told to nobody or as in doubt, never as sent.
func TestARelayThatHangsUpAfterDATA(t *testing.T) {
	r := &relay{onData: func(c net.Conn) error { _ = c.Close(); return errors.New("gone") }}
	s := sender(t, serve(t, r, nil))
	for range 5 {
		if o := s.Send(t.Context(), message(t), yes); o.Result != alert.Deferred && o.Result != alert.Unknown || len(r.got) != 0 {
			t.Errorf("%+v", o)
		}
	}
}

func TestTextThatStopsHalfWayIsNotInDoubt(t *testing.T) {
	r := &relay{onData: func(c net.Conn) error { _ = c.Close(); return errors.New("gone") }}
	s := sender(t, serve(t, r, nil))
	m := message(t)
	m.Raw = append(m.Raw, bytes.Repeat([]byte("a line of a very long mail\r\n"), 800_000)...) // more than any buffer on the way holds
	if o := s.Send(t.Context(), m, yes); o.Result != alert.Deferred {
		t.Errorf("%+v", o)
	}
}

func TestARelayThatIsNotThereIsTriedLater(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	port := l.Addr().(*net.TCPAddr).Port
	_ = l.Close()
	s := sender(t, Relay{Host: "127.0.0.1", Port: port, TLS: StartTLS})
	if o := s.Send(t.Context(), message(t), yes); o.Result != alert.Deferred || o.Code != 0 {
		t.Errorf("%+v", o)
	}
}

func TestARelayThatClosesAtTheDoor(t *testing.T) {
	for greeting, want := range map[string]alert.Result{"421 4.3.2 closing": alert.Deferred, "554 5.7.1 go away": alert.SenderRejected} {
		l, err := net.Listen("tcp", "127.0.0.1:0")
		if err != nil {
			t.Fatal(err)
		}
		go func() {
			c, err := l.Accept()
			if err == nil {
				fmt.Fprintf(c, "%s\r\n", greeting)
				_ = c.Close()
			}
		}()
		s := sender(t, Relay{Host: "127.0.0.1", Port: l.Addr().(*net.TCPAddr).Port, TLS: StartTLS})
		if o := s.Send(t.Context(), message(t), yes); o.Result != want {
			t.Errorf("%s: %+v", greeting, o)
		}
		_ = l.Close()
	}
}

func TestFiveMailsPerTalkMeansMoreTalks(t *testing.T) {
	r := &relay{perTalk: 5}
	s := sender(t, serve(t, r, nil))
	for i := range 23 {
		if o := s.Send(t.Context(), message(t), yes); o.Result != alert.Sent {
			t.Fatalf("mail %d: %+v", i, o)
		}
	}
	if len(r.got) != 23 || r.talks != 5 {
		t.Errorf("%d mails in %d talks", len(r.got), r.talks)
	}
	r2 := &relay{}
	s2 := sender(t, serve(t, r2, func(_ *gosmtp.Server, x *Relay) { x.PerConnection = 7 }))
	for range 21 {
		if o := s2.Send(t.Context(), message(t), yes); o.Result != alert.Sent {
			t.Fatalf("%+v", o)
		}
	}
	if r2.talks != 3 {
		t.Errorf("%d talks of 7 mails each for 21", r2.talks)
	}
}

func TestARefusalDoesNotEndTheTalk(t *testing.T) {
	r := &relay{onRcpt: func(_ string, n int) error {
		if n == 1 {
			return smtpError(450, 4, 2, 1, "later")
		}
		return nil
	}}
	s := sender(t, serve(t, r, nil))
	if o := s.Send(t.Context(), message(t), yes); o.Result != alert.Deferred || o.Code != 450 {
		t.Errorf("first %+v", o)
	}
	if o := s.Send(t.Context(), message(t), yes); o.Result != alert.Sent || r.talks != 1 {
		t.Errorf("second %+v in talk %d", o, r.talks)
	}
}

func TestATalkThatDiedWhileIdleIsReplaced(t *testing.T) {
	var open net.Conn
	r := &relay{onDone: func(c net.Conn) error { open = c; return nil }}
	s := sender(t, serve(t, r, nil))
	if o := s.Send(t.Context(), message(t), yes); o.Result != alert.Sent {
		t.Fatalf("%+v", o)
	}
	_ = open.Close()
	if o := s.Send(t.Context(), message(t), yes); o.Result != alert.Sent || r.talks != 2 {
		t.Errorf("%+v in talk %d", o, r.talks)
	}
}

func TestWhatMayNotBeginIsNotSent(t *testing.T) {
	r := &relay{}
	s := sender(t, serve(t, r, nil))
	if o := s.Send(t.Context(), message(t), func() error { return alert.ErrTaken }); o.Result != alert.Deferred || len(r.got) != 0 {
		t.Errorf("%+v, the relay got %d", o, len(r.got))
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if o := s.Send(ctx, message(t), yes); o.Result != alert.Deferred || len(r.got) != 0 {
		t.Errorf("%+v, the relay got %d", o, len(r.got))
	}
}

func TestTheRateIsKept(t *testing.T) {
	r := &relay{}
	s := sender(t, serve(t, r, func(_ *gosmtp.Server, x *Relay) { x.PerSecond = 20 }))
	began := time.Now()
	for range 9 {
		if o := s.Send(t.Context(), message(t), yes); o.Result != alert.Sent {
			t.Fatalf("%+v", o)
		}
	}
	if took := time.Since(began); took < 390*time.Millisecond {
		t.Errorf("nine mails at 20 a second took %s", took)
	}
}

func TestDotsAndLongLinesArriveAsTheyLeft(t *testing.T) {
	it := open()
	it.About.Tie = []string{".", "..", ". starts with a dot", strings.Repeat("long ", 400)}
	it.About.Name = strings.Repeat("Žluťásek ", 30)
	m, err := composer(t).Compose(letter(it, rise()), date)
	if err != nil {
		t.Fatal(err)
	}
	// As if our encoder ever let one through.
	m.Raw = append(m.Raw, "\r\n.\r\n..\r\n.x\r\n"...)
	r := &relay{}
	s := sender(t, serve(t, r, nil))
	if o := s.Send(t.Context(), m, yes); o.Result != alert.Sent {
		t.Fatalf("%+v", o)
	}
	if !bytes.Equal(r.got[0].raw, m.Raw) {
		t.Errorf("%d bytes left, %d arrived", len(m.Raw), len(r.got[0].raw))
	}
	if r.got[0].from != m.From || r.got[0].to != m.To {
		t.Errorf("envelope %s %s", r.got[0].from, r.got[0].to)
	}
}

func TestARelayIsChecked(t *testing.T) {
	for _, r := range []Relay{{}, {Host: "x"}, {Host: "x", TLS: "none"}, {Host: "x", TLS: StartTLS, Port: 99999}, {Host: "x", TLS: StartTLS, Password: "a\r\nb"}} {
		if _, err := NewSender(r); err == nil {
			t.Errorf("%+v was taken", r)
		}
	}
}
