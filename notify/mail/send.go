package mail

import (
	"context"
	"errors"
	"net/textproto"
	"regexp"
	"sync"
	"time"

	"golang.org/x/time/rate"

	"example.org/eclose/notify/alert"
)

// Sender hands messages to one relay over as many connections as it has
// callers. It may be used by several goroutines.
type Sender struct {
	relay   Relay
	limiter *rate.Limiter

	mu   sync.Mutex
	idle []*conn
}

// NewSender returns a Sender for a relay that was checked.
func NewSender(r Relay) (*Sender, error) {
	if err := r.Check(); err != nil {
		return nil, err
	}
	if r.PerConnection == 0 {
		r.PerConnection = 100
	}
	limit := rate.Inf
	if r.PerSecond > 0 {
		limit = rate.Limit(r.PerSecond)
	}
	return &Sender{relay: r, limiter: rate.NewLimiter(limit, 1)}, nil
}

// Close ends all talks.
func (s *Sender) Close() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, c := range s.idle {
		c.quit()
	}
	s.idle = nil
}

// idleFor is how long a talk may rest before it is taken for dead.
const idleFor = 20 * time.Second

// take returns an open talk, and whether it was used before.
func (s *Sender) take(ctx context.Context) (*conn, bool, error) {
	s.mu.Lock()
	for len(s.idle) > 0 {
		c := s.idle[len(s.idle)-1]
		s.idle = s.idle[:len(s.idle)-1]
		if time.Since(c.used) < idleFor {
			s.mu.Unlock()
			return c, true, nil
		}
		c.close()
	}
	s.mu.Unlock()
	c, err := s.relay.dial(ctx)
	return c, false, err
}

func (s *Sender) put(c *conn) {
	if c.sent >= s.relay.PerConnection {
		c.quit()
		return
	}
	c.used = time.Now()
	s.mu.Lock()
	defer s.mu.Unlock()
	s.idle = append(s.idle, c)
}

// Send hands one message over and says what became of it. begin is called just
// before the text goes out; if it fails nothing is sent. The result is
// alert.Unknown only where the whole text was sent and no answer came.
func (s *Sender) Send(ctx context.Context, m Message, begin func() error) alert.Outcome {
	if err := s.limiter.Wait(ctx); err != nil {
		return alert.Outcome{Result: alert.Deferred, Reply: "not begun: " + err.Error()}
	}
	for {
		c, used, err := s.take(ctx)
		if err != nil {
			o := answer(err)
			if r := (refusal{}); errors.As(err, &r) {
				o.Result = alert.SenderRejected
			} else {
				o.Result = alert.Deferred
			}
			return o
		}
		o, stale := s.talk(ctx, c, m, begin)
		o.Reply = hide(o.Reply, m.To)
		if stale && used {
			continue // the relay had hung up meanwhile; nothing was said yet
		}
		return o
	}
}

// talk sends m over c. stale says that the talk had ended before it began.
func (s *Sender) talk(ctx context.Context, c *conn, m Message, begin func() error) (o alert.Outcome, stale bool) {
	stop := context.AfterFunc(ctx, c.close)
	defer stop()
	wait := func(d time.Duration) { _ = c.net.SetDeadline(time.Now().Add(d)) } // a dead talk shows at the next word
	wait(waitCommand)
	if err := c.smtp.Mail("<" + m.From + ">"); err != nil {
		o := answer(err)
		if o.Code == 0 || o.Code == 421 {
			c.close()
			o.Result = alert.Deferred
			return o, o.Code == 421 && c.sent > 0 || o.Code == 0
		}
		s.reuse(c)
		if o.Code >= 500 {
			o.Result = alert.SenderRejected // our sender, not this reader
		}
		return o, false
	}
	if err := c.smtp.Rcpt("<" + m.To + ">"); err != nil {
		o := answer(err)
		if o.Code == 552 && o.Enhanced == "" {
			o.Result = alert.Deferred // RFC 5321, 4.5.3.1.10: too many recipients, said wrongly
		}
		s.after(c, o)
		return o, false
	}
	if err := begin(); err != nil {
		s.reuse(c)
		return alert.Outcome{Result: alert.Deferred, Reply: "not begun: " + err.Error()}, false
	}
	// From here on nobody interrupts: a mail cut off in the middle of its end is
	// one of which nobody knows.
	stop()
	wait(waitData)
	w, err := c.smtp.Data()
	if err != nil {
		o := answer(err)
		s.after(c, o)
		return o, false
	}
	wait(waitBlock)
	if _, err := w.Write(m.Raw); err != nil {
		// Without the final dot nobody takes the text for whole.
		c.close()
		o := answer(err)
		o.Result = alert.Deferred
		return o, false
	}
	wait(waitDot)
	if err := w.Close(); err != nil {
		o := answer(err)
		if o.Code == 0 {
			c.close()
			o.Result = alert.Unknown
			return o, false
		}
		s.after(c, o)
		return o, false
	}
	c.sent++
	s.put(c)
	return alert.Outcome{Result: alert.Sent, Code: 250}, false
}

// after keeps a talk in which a mail was refused, unless it is over.
func (s *Sender) after(c *conn, o alert.Outcome) {
	if o.Code == 0 || o.Code == 421 {
		c.close()
		return
	}
	s.reuse(c)
}

// reuse makes a talk ready for another mail.
func (s *Sender) reuse(c *conn) {
	c.sent++
	if err := c.smtp.Reset(); err != nil {
		c.close()
		return
	}
	s.put(c)
}

// hide takes the reader's address out of what a relay says: relays like to
// repeat it, and replies are kept and logged.
func hide(reply, address string) string {
	return regexp.MustCompile("(?i)"+regexp.QuoteMeta(address)).ReplaceAllLiteralString(reply, "(address)")
}

var enhanced = regexp.MustCompile(`^([245]\.\d{1,3}\.\d{1,3})\b`)

// answer reads an error as the relay's answer: 4xx is for later, 5xx for good.
// An error that is no answer is for later, and has no code.
func answer(err error) alert.Outcome {
	o := alert.Outcome{Result: alert.Deferred, Reply: clean(err.Error())}
	p := (*textproto.Error)(nil)
	if !errors.As(err, &p) {
		return o
	}
	o.Code, o.Reply = p.Code, clean(p.Msg)
	if m := enhanced.FindString(p.Msg); m != "" {
		o.Enhanced = m
	}
	if p.Code >= 500 {
		o.Result = alert.Refused
	}
	return o
}

// Transport words emails and sends them; alert.Store.Deliver uses it.
type Transport struct {
	Composer *Composer
	Sender   *Sender
}

// Send implements alert.Transport.
func (c Transport) Send(ctx context.Context, l alert.Email, begin func() error) alert.Outcome {
	m, err := c.Composer.Compose(l, l.At)
	if err != nil {
		return alert.Outcome{Result: alert.Deferred, Reply: clean(err.Error())}
	}
	return c.Sender.Send(ctx, m, begin)
}
