package alert

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"sync"

	"example.org/eclose/ingest/db"
)

// A Transport sends an email to a relay. It calls begin once, just before the text
// goes out, and sends nothing if that fails. It returns Unknown only where the
// connection ended after the last byte and before an answer; a failure before
// that is Deferred.
type Transport interface {
	Send(ctx context.Context, l Email, begin func() error) Outcome
}

// ErrTaken is what begin gives where a mail may not be sent any more.
var ErrTaken = errors.New("another sender took over this email")

// errRelay is wrapped where the relay rejected us, not a reader: the queue stops,
// for a human to look.
var errRelay = errors.New("the relay rejected us")

// Delivered counts what became of mails in one Deliver.
type Delivered struct {
	Sent, Deferred, Refused, Unknown int
}

// Deliver sends all that is due and returns. workers letters are under way at a
// time, one of them for each marked as being sent: so many at most are in doubt
// after a kill.
func (s *Store) Deliver(ctx context.Context, c Transport, workers int) (Delivered, error) {
	if err := s.takeUp(ctx); err != nil {
		return Delivered{}, err
	}
	owner := "d-" + rand.Text()
	// What was sent to a relay is written down even when we have to stop.
	d := &delivery{s: s, ctx: context.WithoutCancel(ctx), owner: owner, work: make(chan Email), notes: make(chan note, 2*workers)}
	run, stop := context.WithCancel(ctx)
	defer stop()
	recorded := make(chan struct{})
	go func() {
		defer close(recorded)
		d.recorder(stop)
	}()
	var wg sync.WaitGroup
	for range workers {
		wg.Go(func() {
			for l := range d.work {
				d.send(run, c, l, stop)
			}
		})
	}
	err := d.feed(run, workers)
	close(d.work)
	wg.Wait()
	close(d.notes)
	<-recorded
	return d.count, errors.Join(err, d.err, ctx.Err())
}

// takeUp looks after what others left. An SQLite file belongs to one process:
// the first time, whatever is leased there was left by one that is gone.
func (s *Store) takeUp(ctx context.Context) error {
	s.starting.Lock()
	defer s.starting.Unlock()
	if err := s.Recover(ctx, !s.started && s.db.Dialect == db.SQLite); err != nil {
		return err
	}
	s.started = true
	return nil
}

type delivery struct {
	s     *Store
	ctx   context.Context
	owner string
	work  chan Email
	notes chan note
	count Delivered // of the recorder, until it ended
	err   error     // likewise
}

// note is a request to begin, or an outcome.
type note struct {
	key   string
	begin chan error // nil: an outcome
	o     Outcome
}

// feed hands out letters until none is due. Letters that nobody took are given
// back.
func (d *delivery) feed(ctx context.Context, workers int) error {
	for ctx.Err() == nil {
		ls, err := d.s.Lease(ctx, d.owner, 4*workers)
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return err
		}
		if len(ls) == 0 {
			return nil
		}
		for _, l := range ls {
			select {
			case d.work <- l:
			case <-ctx.Done():
				d.notes <- note{key: l.Key, o: Outcome{Key: l.Key, Result: Deferred, Reply: "not started: sending was stopped"}}
			}
		}
	}
	return nil
}

func (d *delivery) send(ctx context.Context, c Transport, l Email, stop context.CancelFunc) {
	o := c.Send(ctx, l, func() error {
		answer := make(chan error, 1)
		d.notes <- note{key: l.Key, begin: answer}
		return <-answer
	})
	o.Key = l.Key
	if o.Result == SenderRejected {
		stop()
	}
	d.notes <- note{key: l.Key, o: o}
}

// recorder writes notes down, all that wait in one transaction: many workers
// cost one write to disk.
func (d *delivery) recorder(stop context.CancelFunc) {
	for n := range d.notes {
		batch := []note{n}
	more:
		for len(batch) < cap(d.notes) {
			select {
			case n, ok := <-d.notes:
				if !ok {
					break more
				}
				batch = append(batch, n)
			default:
				break more
			}
		}
		d.write(batch, stop)
	}
}

func (d *delivery) write(batch []note, stop context.CancelFunc) {
	var begin []string
	var ended []Outcome
	for _, n := range batch {
		if n.begin != nil {
			begin = append(begin, n.key)
		} else {
			ended = append(ended, n.o)
		}
	}
	may, err := d.s.record(d.ctx, d.owner, begin, ended)
	if err != nil {
		// What was sent stays marked as under way: the rule for lost answers
		// applies to it.
		d.err = errors.Join(d.err, err)
		stop()
	}
	for _, n := range batch {
		switch {
		case n.begin != nil && err != nil:
			n.begin <- err
		case n.begin != nil && !may[n.key]:
			n.begin <- ErrTaken
		case n.begin != nil:
			n.begin <- nil
		case err == nil:
			d.tally(n.o, stop)
		}
	}
}

func (d *delivery) tally(o Outcome, stop context.CancelFunc) {
	switch o.Result {
	case Sent:
		d.count.Sent++
	case Refused:
		d.count.Refused++
		if tooMany(d.count.Refused, d.count.Sent) {
			d.err = errors.Join(d.err, errBreaker)
			stop()
		}
	case Unknown:
		d.count.Unknown++
	case SenderRejected:
		d.err = errors.Join(d.err, fmt.Errorf("%w: %d %s %s", errRelay, o.Code, o.Enhanced, o.Reply))
		fallthrough
	default:
		d.count.Deferred++
	}
}
