package app

import (
	"crypto/x509"
	"fmt"
	"os"
	"strings"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/notify/mail"
)

// NewComposer words the mails of a config.
func NewComposer(cfg *config.Config, tokens mail.Tokens) (*mail.Composer, error) {
	c, err := mail.NewComposer(mail.Site{
		Name: "Eclose", From: cfg.Mail.From, URL: cfg.Serve.PublicURL, Notice: cfg.Notice, Postal: cfg.Mail.PostalLine, Tokens: tokens,
	})
	if err != nil {
		return nil, Usagef("%w; see mail.from and serve.public-url in the config", err)
	}
	return c, nil
}

// NewSender calls the relay of a config.
func NewSender(cfg *config.Config) (*mail.Sender, error) {
	m := cfg.Mail
	if m.Host == "" {
		return nil, Usagef("mail.host is not set, so no email can be sent")
	}
	r := mail.Relay{Host: m.Host, Port: m.Port, TLS: mail.StartTLS, Username: m.User, PerSecond: float64(m.PerMinute) / 60}
	if m.Security == "tls" {
		r.TLS = mail.Implicit
	}
	if m.PasswordFile != "" {
		b, err := os.ReadFile(cfg.Path(m.PasswordFile))
		if err != nil {
			return nil, fmt.Errorf("reading the password at the relay: %w", err)
		}
		r.Password = strings.TrimRight(string(b), "\r\n")
	}
	if m.CAFile != "" {
		b, err := os.ReadFile(cfg.Path(m.CAFile))
		if err != nil {
			return nil, fmt.Errorf("reading the relay's CA certificate: %w", err)
		}
		r.Roots = x509.NewCertPool()
		if !r.Roots.AppendCertsFromPEM(b) {
			return nil, Usagef("mail.ca-file: %s contains no PEM certificate", m.CAFile)
		}
	}
	s, err := mail.NewSender(r)
	if err != nil {
		return nil, Usagef("%w", err)
	}
	return s, nil
}
