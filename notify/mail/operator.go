package mail

import (
	"context"
	"crypto/sha256"
	"crypto/tls"
	"encoding/hex"
	"fmt"
	"time"
)

// Probe speaks to the relay as for a mail, through encryption and login, and
// sends none. It returns when the relay's certificate ends.
func (s *Sender) Probe(ctx context.Context) (certificateEnds time.Time, err error) {
	c, err := s.relay.dial(ctx)
	if err != nil {
		return time.Time{}, err
	}
	defer c.quit()
	if len(c.tls.PeerCertificates) == 0 {
		return time.Time{}, fmt.Errorf("relay %s showed no certificate", s.relay.address())
	}
	return earliestEnd(c.tls), nil
}

func earliestEnd(state tls.ConnectionState) time.Time {
	end := state.PeerCertificates[0].NotAfter
	for _, c := range state.PeerCertificates[1:] {
		if c.NotAfter.Before(end) {
			end = c.NotAfter
		}
	}
	return end
}

// Operator words a mail to whoever runs this server: what broke, what is well
// again.
func (c *Composer) Operator(to, subject string, lines []string, date time.Time) (Message, error) {
	sum := sha256.Sum256(fmt.Appendf(nil, "operator\x00%s\x00%s\x00%d", to, subject, date.UnixNano()))
	key := hex.EncodeToString(sum[:20])
	p := page{Subject: c.site.Name + ": " + subject, Blocks: []block{{Heading: subject, Lead: lines, Small: []string{"Details: " + c.site.page("/status")}}}}
	m, err := c.email(key, key, key, to, date, p)
	if err != nil {
		return Message{}, fmt.Errorf("wording a mail to the operator: %w", err)
	}
	return c.finish(m, key, key, to, p.Subject)
}
