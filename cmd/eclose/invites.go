package main

import (
	"context"
	"errors"
	"time"

	"github.com/rs/zerolog"

	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/mail"
	"example.org/eclose/notify/subscribe"
)

// invites hands the confirmation mails to the relay, beside the requests that
// asked for them. They are kept in memory alone: the database holds no more of
// their secret links than what recognises them. One that is lost is asked for
// again.
type invites struct {
	composer *mail.Composer
	relay    *mail.Sender
	now      func() time.Time
	logID    func(address string) string
	log      zerolog.Logger
	waiting  chan *subscribe.Invitation
}

// invitesKept bounds the mails that wait, and invitePauses is how long each waits
// between attempts; our own.
const invitesKept = 256

var invitePauses = []time.Duration{10 * time.Second, time.Minute, 5 * time.Minute, 20 * time.Minute, time.Hour}

func newInvites(c *mail.Composer, relay *mail.Sender, now func() time.Time, logID func(string) string, log zerolog.Logger) *invites {
	return &invites{composer: c, relay: relay, now: now, logID: logID, log: log, waiting: make(chan *subscribe.Invitation, invitesKept)}
}

// take never waits for the relay: how long an answer takes would tell who is
// known here.
func (v *invites) take(_ context.Context, inv *subscribe.Invitation) error {
	select {
	case v.waiting <- inv:
		return nil
	default:
		return errors.New("too many confirmations wait for the relay")
	}
}

// run sends what is waiting until ctx ends; then what is left is tried once.
func (v *invites) run(ctx context.Context) {
	for {
		select {
		case <-ctx.Done():
			v.flush(context.WithoutCancel(ctx))
			return
		case inv := <-v.waiting:
			v.send(ctx, inv, 0)
		}
	}
}

const flushFor = 10 * time.Second

func (v *invites) flush(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, flushFor)
	defer cancel()
	for {
		select {
		case inv := <-v.waiting:
			v.send(ctx, inv, len(invitePauses))
		default:
			return
		}
	}
}

func (v *invites) send(ctx context.Context, inv *subscribe.Invitation, attempt int) {
	who := v.logID(inv.Address)
	m, err := v.composer.Invite(*inv, v.now())
	if err != nil {
		v.log.Error().Err(err).Str("to", who).Msg("a confirmation cannot be worded")
		return
	}
	o := v.relay.Send(ctx, m, func() error { return nil })
	switch {
	case o.Result == alert.Sent:
		v.log.Info().Str("to", who).Msg("a confirmation was sent")
	case (o.Result == alert.Deferred || o.Result == alert.Ours) && attempt < len(invitePauses):
		v.log.Warn().Str("to", who).Int("code", o.Code).Msg("a confirmation was put off by the relay; it is tried again")
		time.AfterFunc(invitePauses[attempt], func() { v.again(ctx, inv, attempt+1) })
	default:
		v.log.Warn().Str("to", who).Int("code", o.Code).Str("reply", o.Reply).Msg("a confirmation was not sent")
	}
}

func (v *invites) again(ctx context.Context, inv *subscribe.Invitation, attempt int) {
	if ctx.Err() == nil {
		v.send(ctx, inv, attempt)
	}
}
