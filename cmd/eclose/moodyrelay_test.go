package main

import (
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"crypto/x509/pkix"
	"encoding/pem"
	"fmt"
	"math/big"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	gosmtp "github.com/emersion/go-smtp"
)

// moodyRelay is a real SMTP server whose certificate can change, and that can die
// and come back at the same address.
type moodyRelay struct {
	postOffice
	t       *testing.T
	addr    string
	current atomic.Pointer[tls.Certificate]
	valid   *tls.Certificate
	server  *gosmtp.Server
	refuse  atomic.Bool  // every reader
	asked   atomic.Int64 // how often a reader was named to it
}

func (m *moodyRelay) NewSession(*gosmtp.Conn) (gosmtp.Session, error) {
	return &moodyTalk{counter{&m.postOffice}, m}, nil
}

type moodyTalk struct {
	counter
	m *moodyRelay
}

func (c *moodyTalk) Rcpt(to string, _ *gosmtp.RcptOptions) error {
	if !strings.HasPrefix(to, "keeper@") {
		c.m.asked.Add(1)
	}
	if c.m.refuse.Load() {
		return &gosmtp.SMTPError{Code: 550, EnhancedCode: gosmtp.EnhancedCode{5, 1, 1}, Message: "no such user"}
	}
	return nil
}

// openMoodyRelay starts one and returns the lines of a config that name it.
func openMoodyRelay(t *testing.T) (*moodyRelay, string) {
	t.Helper()
	m := &moodyRelay{t: t}
	m.valid = m.certificate(time.Now().AddDate(0, 3, 0))
	m.current.Store(m.valid)
	ca := filepath.Join(t.TempDir(), "ca.pem")
	if err := os.WriteFile(ca, pem.EncodeToMemory(&pem.Block{Type: "CERTIFICATE", Bytes: m.valid.Certificate[0]}), 0o600); err != nil {
		t.Fatal(err)
	}
	m.open("127.0.0.1:0")
	t.Cleanup(m.die)
	_, port, _ := net.SplitHostPort(m.addr)
	return m, fmt.Sprintf("[mail]\nhost = \"127.0.0.1\"\nport = %s\nca-file = %q\nfrom = \"outlooks@example.org\"\noperator = \"keeper@example.org\"\n", port, ca)
}

// certificate makes one for 127.0.0.1 that ends then. All have one key, so that
// the same file vouches for them.
func (m *moodyRelay) certificate(ends time.Time) *tls.Certificate {
	m.t.Helper()
	var key *ecdsa.PrivateKey
	var err error
	if m.valid != nil {
		key = m.valid.PrivateKey.(*ecdsa.PrivateKey)
	} else if key, err = ecdsa.GenerateKey(elliptic.P256(), rand.Reader); err != nil {
		m.t.Fatal(err)
	}
	c := &x509.Certificate{SerialNumber: big.NewInt(ends.Unix()), Subject: pkix.Name{CommonName: "relay of a test"}, NotBefore: time.Now().AddDate(0, -6, 0), NotAfter: ends,
		IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}, IsCA: true, BasicConstraintsValid: true, KeyUsage: x509.KeyUsageDigitalSignature | x509.KeyUsageCertSign}
	der, err := x509.CreateCertificate(rand.Reader, c, c, key.Public(), key)
	if err != nil {
		m.t.Fatal(err)
	}
	return &tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}
}

func (m *moodyRelay) open(addr string) {
	m.t.Helper()
	m.server = gosmtp.NewServer(m)
	m.server.Domain = "127.0.0.1"
	m.server.TLSConfig = &tls.Config{MinVersion: tls.VersionTLS12, GetCertificate: func(*tls.ClientHelloInfo) (*tls.Certificate, error) { return m.current.Load(), nil }}
	ln, err := net.Listen("tcp", addr)
	if err != nil {
		m.t.Fatal(err)
	}
	m.addr = ln.Addr().String()
	go m.server.Serve(ln)
}

func (m *moodyRelay) die() { _ = m.server.Close() }
