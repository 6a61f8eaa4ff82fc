package mail

import (
	"context"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"fmt"
	"io"
	"net"
	"net/textproto"
	"os"
	"strconv"
	"strings"
	"time"

	"github.com/wneessen/go-mail/smtp"
)

// How the connection to a relay is encrypted. There is no third way: a relay
// that offers neither is not spoken to.
const (
	StartTLS = "starttls" // RFC 3207, as on port 587
	Implicit = "implicit" // RFC 8314, as on port 465
)

// Relay is the server that takes our mail on.
type Relay struct {
	Host     string
	Port     int    // 0: 587 or 465
	TLS      string // StartTLS or Implicit
	Username string // empty: no login
	Password string
	Hello    string         // our name; empty: that of this machine
	Roots    *x509.CertPool // nil: those of the system

	PerSecond     float64 // most mails a second; 0: no limit
	PerConnection int     // most mails over one connection; 0: 100
}

// Check returns what is wrong with r, in one sentence.
func (r Relay) Check() error {
	switch {
	case r.Host == "":
		return errors.New("mail relay: host is not set")
	case r.TLS != StartTLS && r.TLS != Implicit:
		return fmt.Errorf("mail relay security: %q; use %s or %s", r.TLS, StartTLS, Implicit)
	case r.Port < 0 || r.Port > 65535:
		return fmt.Errorf("mail relay port: %d is not valid", r.Port)
	case r.PerSecond < 0 || r.PerConnection < 0:
		return errors.New("mail relay: a limit is negative")
	case strings.ContainsAny(r.Username+r.Password+r.Hello, "\r\n\x00"):
		return errors.New("mail relay: user name or password contains a line break")
	}
	return nil
}

func (r Relay) address() string {
	port := r.Port
	if port == 0 {
		port = 587
		if r.TLS == Implicit {
			port = 465
		}
	}
	return net.JoinHostPort(r.Host, strconv.Itoa(port))
}

// The waits of RFC 5321, section 4.5.3.2. The last is long on purpose: to give
// up early is to send twice.
const (
	waitDial    = time.Minute
	waitCommand = 5 * time.Minute
	waitData    = 2 * time.Minute
	waitBlock   = 3 * time.Minute
	waitDot     = 10 * time.Minute
)

// conn is one open talk with the relay.
type conn struct {
	net  net.Conn // as dialled; closing it ends the talk
	smtp *smtp.Client
	tls  tls.ConnectionState
	sent int
	used time.Time
}

func (c *conn) close() { _ = c.net.Close() } // there is nothing left to lose

// quit ends the talk politely.
func (c *conn) quit() {
	_ = c.net.SetDeadline(time.Now().Add(time.Second))
	_ = c.smtp.Quit()
	c.close()
}

// refusal is an error that is the relay's answer to us, not to a mail: wrong
// certificate, no encryption, wrong password.
type refusal struct{ err error }

func (r refusal) Error() string { return r.err.Error() }
func (r refusal) Unwrap() error { return r.err }

func refusef(format string, args ...any) error { return refusal{fmt.Errorf(format, args...)} }

// dial opens a talk: encrypted, and logged in.
func (r Relay) dial(ctx context.Context) (c *conn, err error) {
	ctx, cancel := context.WithTimeout(ctx, waitDial)
	defer cancel()
	n, err := (&net.Dialer{}).DialContext(ctx, "tcp", r.address())
	if err != nil {
		return nil, fmt.Errorf("connecting to relay %s: %w", r.address(), err)
	}
	defer func() {
		if err != nil {
			_ = n.Close()
		}
	}()
	if err := n.SetDeadline(time.Now().Add(waitCommand)); err != nil {
		return nil, fmt.Errorf("connecting to relay %s: %w", r.address(), err)
	}
	config := &tls.Config{ServerName: r.Host, MinVersion: tls.VersionTLS12, RootCAs: r.Roots}
	talk := n
	if r.TLS == Implicit {
		t := tls.Client(n, config)
		if err := t.HandshakeContext(ctx); err != nil {
			return nil, tlsError(r, err)
		}
		talk = t
	}
	s, err := smtp.NewClient(talk, r.Host)
	if err != nil {
		return nil, r.greeting("greeting", err)
	}
	s.SkipSMTPUTF8(true) // nothing of ours needs it
	if err := s.Hello(r.hello()); err != nil {
		return nil, r.greeting("EHLO", err)
	}
	if r.TLS == StartTLS {
		if ok, _ := s.Extension("STARTTLS"); !ok {
			return nil, refusef("relay %s does not offer STARTTLS; refusing to send unencrypted", r.address())
		}
		if err := s.StartTLS(config); err != nil {
			return nil, tlsError(r, err)
		}
	}
	if err := r.login(s); err != nil {
		return nil, err
	}
	state, _ := s.TLSConnectionState() // empty where the whole talk is encrypted
	if t, ok := talk.(*tls.Conn); ok {
		state = t.ConnectionState()
	}
	return &conn{net: n, smtp: s, tls: state}, nil
}

func (r Relay) hello() string {
	if r.Hello != "" {
		return r.Hello
	}
	if h, err := os.Hostname(); err == nil && h != "" && !strings.ContainsAny(h, " \r\n") {
		return h
	}
	return "localhost"
}

// greeting tells "come back later" from "never".
func (r Relay) greeting(what string, err error) error {
	err = fmt.Errorf("%s of the relay %s: %w", what, r.address(), err)
	if p := (*textproto.Error)(nil); errors.As(err, &p) && p.Code >= 500 {
		return refusal{err}
	}
	return err
}

func tlsError(r Relay, err error) error {
	err = fmt.Errorf("TLS with relay %s: %w", r.address(), err)
	if p := (*textproto.Error)(nil); errors.As(err, &p) && p.Code < 500 {
		return err
	}
	if ne := net.Error(nil); errors.As(err, &ne) && ne.Timeout() || errors.Is(err, io.EOF) || errors.Is(err, net.ErrClosed) {
		return err
	}
	return refusal{err}
}

func (r Relay) login(s *smtp.Client) error {
	if r.Username == "" {
		return nil
	}
	ok, offered := s.Extension("AUTH")
	if !ok {
		return refusef("relay %s does not offer authentication", r.address())
	}
	var auth smtp.Auth
	for _, m := range []struct {
		name string
		auth func() smtp.Auth
	}{
		{"SCRAM-SHA-256", func() smtp.Auth { return smtp.ScramSHA256Auth(r.Username, r.Password) }},
		{"PLAIN", func() smtp.Auth { return smtp.PlainAuth("", r.Username, r.Password, r.Host, false) }},
		{"LOGIN", func() smtp.Auth { return smtp.LoginAuth(r.Username, r.Password, r.Host, false) }},
	} {
		if auth == nil && containsWord(offered, m.name) {
			auth = m.auth()
		}
	}
	if auth == nil {
		return refusef("relay %s offers no supported authentication method, only %s", r.address(), offered)
	}
	err := s.Auth(auth)
	if err == nil {
		return nil
	}
	err = fmt.Errorf("logging in at the relay %s: %w", r.address(), err)
	if p := (*textproto.Error)(nil); errors.As(err, &p) && p.Code < 500 || !errors.As(err, &p) {
		return err
	}
	return refusal{err}
}

func containsWord(list, word string) bool {
	for w := range strings.FieldsSeq(list) {
		if w == word {
			return true
		}
	}
	return false
}
