package app

import (
	"context"
	"errors"
	"fmt"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/mail"
	"example.org/eclose/notify/subscribe"
)

// invite hands a confirmation mail to the relay. Its secret link is made again
// from the id: neither the job nor the table of tokens holds it.
func (s *Server) invite(ctx context.Context, c *mail.Composer, id string) error {
	inv, err := s.people.Invitation(ctx, id)
	if errors.Is(err, subscribe.ErrToken) {
		return nil // used, expired or withdrawn meanwhile: nobody waits for it
	}
	if err != nil {
		return err
	}
	who := s.people.LogID(inv.Address)
	m, err := c.Invite(*inv, s.queue.Now())
	if err != nil {
		return jobs.Final{Err: err}
	}
	switch o := s.relay.Send(ctx, m, func() error { return nil }); o.Result {
	case alert.Sent:
		s.log.Info().Str("to", who).Msg("a confirmation was sent")
		return nil
	case alert.Deferred, alert.SenderRejected:
		return fmt.Errorf("the relay deferred the confirmation to %s: %d %s", who, o.Code, o.Reply)
	default: // refused, or the answer was lost: whoever still wants it asks again
		return jobs.Final{Err: fmt.Errorf("a confirmation to %s was not sent: %d %s", who, o.Code, o.Reply)}
	}
}
