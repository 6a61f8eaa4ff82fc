package main

import (
	"fmt"
	"os"
	"strings"
	"text/tabwriter"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/ingest/db"
	"example.org/eclose/notify/subscribe"
)

type subscribeCmd struct {
	Add     subscribeAddCmd     `cmd:"" help:"Add a subscriber. They get one confirmation request and nothing more until they confirm."`
	List    subscribeListCmd    `cmd:"" help:"List subscribers."`
	Confirm subscribeConfirmCmd `cmd:"" help:"Confirm an address with the token from its confirmation email."`
	Remove  subscribeRemoveCmd  `cmd:"" help:"Unsubscribe an address."`
	Pause   subscribePauseCmd   `cmd:"" help:"Pause email to an address."`
	Import  subscribeImportCmd  `cmd:"" help:"Import people who have already consented, from CSV."`
	Export  subscribeExportCmd  `cmd:"" help:"Export all data held on an address, as JSON."`
	Delete  subscribeDeleteCmd  `cmd:"" help:"Delete all data held on an address."`
}

// changePeople opens the database to write and runs do on the subscriptions.
func (f databaseFlag) changePeople(e *env, do func(*subscribe.Store) error) error {
	return f.people(e, f.write, do)
}

// readPeople is changePeople for a command that changes nothing.
func (f databaseFlag) readPeople(e *env, do func(*subscribe.Store) error) error {
	return f.people(e, f.read, do)
}

func (f databaseFlag) people(e *env, use func(*env, func(*db.DB) error) error, do func(*subscribe.Store) error) error {
	names, err := f.names()
	if err != nil {
		return err
	}
	return use(e, func(d *db.DB) error {
		s, err := subscribe.New(e.ctx, d, names.subscribe(), e.now)
		if err != nil {
			return err
		}
		return do(s)
	})
}

type subscribeListCmd struct {
	databaseFlag
	Format string `enum:"text,json" default:"text" help:"text or json."`
}

func (c subscribeListCmd) Run(e *env) error {
	return c.readPeople(e, func(s *subscribe.Store) error {
		ps, err := s.List(e.ctx)
		if err != nil {
			return err
		}
		if c.Format == "json" {
			return writeJSON(e.stdout, append([]subscribe.Person{}, ps...)) // a list, though nobody be in it
		}
		w := tabwriter.NewWriter(e.stdout, 0, 0, 2, ' ', 0)
		fmt.Fprintln(w, "ADDRESS\tSTATE\tRIVER\tGROUPS\tSTAGES\tFROM\tDAYS\tCADENCE\tCAUTIONS\tZONE\tUNITS")
		for _, p := range ps {
			state := p.State
			if p.Suppressed != "" {
				state = "suppressed: " + p.Suppressed
			} else if p.PausedUntil.After(e.now()) {
				state = "paused until " + p.PausedUntil.Format(time.DateOnly)
			}
			if len(p.Subscriptions) == 0 {
				fmt.Fprintf(w, "%s\t%s\t-\t\t\t\t\t\t\t%s\t%s\n", p.Address, state, p.Zone, p.Units)
			}
			for _, x := range p.Subscriptions {
				fmt.Fprintf(w, "%s\t%s\t%s\t%s\t%s\t%.0f%%\t%d\t%s\t%s\t%s\t%s\n", p.Address, state, x.River,
					anyOf(x.Groups, "any fishable"), anyOf(x.Stages, "both"), 100*x.Threshold, x.HorizonDays, x.Cadence, yesNo(x.Cautions), p.Zone, p.Units)
			}
		}
		return w.Flush()
	})
}

func anyOf(list []string, none string) string {
	if len(list) == 0 {
		return none
	}
	return strings.Join(list, ",")
}

func yesNo(b bool) string {
	if b {
		return "yes"
	}
	return "no"
}

type subscribeConfirmCmd struct {
	databaseFlag
	Token string `arg:"" help:"The last part of the link in the confirmation email."`
}

func (c subscribeConfirmCmd) Run(e *env) error {
	return c.changePeople(e, func(s *subscribe.Store) error {
		p, err := s.Confirm(e.ctx, c.Token, "command line")
		if err != nil {
			return err
		}
		fmt.Fprintf(e.stdout, "%s confirmed for %d rivers\n", p.Address, len(p.Subscriptions))
		return nil
	})
}

type addressArg struct {
	databaseFlag
	Address string `arg:"" help:"Email address."`
}

type subscribeRemoveCmd struct{ addressArg }

func (c subscribeRemoveCmd) Run(e *env) error {
	return c.changePeople(e, func(s *subscribe.Store) error {
		if err := s.Remove(e.ctx, c.Address); err != nil {
			return err
		}
		fmt.Fprintln(e.stdout, "unsubscribed; to delete the data held: eclose subscribe delete")
		return nil
	})
}

type subscribePauseCmd struct {
	addressArg
	Until string `help:"Last day of the pause, e.g. 2026-06-30." xor:"end" required:""`
	End   bool   `help:"End a pause." xor:"end" required:""`
}

func (c subscribePauseCmd) Run(e *env) error {
	var until time.Time
	if !c.End {
		d, err := civilDate(c.Until, e.now())
		if err != nil {
			return app.Usagef("--until: %w", err)
		}
		if until = d.AddDate(0, 0, 1); !until.After(e.now()) {
			return app.Usagef("--until: %s is past", c.Until)
		}
	}
	return c.changePeople(e, func(s *subscribe.Store) error {
		if err := s.Pause(e.ctx, c.Address, until); err != nil {
			return err
		}
		if c.End {
			fmt.Fprintln(e.stdout, "pause ended")
		} else {
			fmt.Fprintf(e.stdout, "no email, including cautions, until %s\n", until.Format("2006-01-02 15:04 MST"))
		}
		return nil
	})
}

type subscribeImportCmd struct {
	databaseFlag
	File    string `arg:"" help:"CSV file, or - for stdin. Columns: address, river; optional: groups, stages, threshold, horizon_days, cadence, cautions, zone, units, quiet, wake_for_3, per_day. One row per person and river; separate lists with semicolons."`
	Consent string `required:"" help:"You hold these people's consent; names the wording they agreed to." placeholder:"WORDING"`
}

func (c subscribeImportCmd) Run(e *env) error {
	in, name := e.stdin, "standard input"
	if c.File != "-" {
		f, err := os.Open(c.File)
		if err != nil {
			return fmt.Errorf("importing subscriptions: %w", err)
		}
		defer f.Close() //nolint:errcheck // it was only read
		in, name = f, c.File
	}
	rs, err := subscribe.ReadCSV(in, name)
	if err != nil {
		return fmt.Errorf("nothing was imported:\n%w", err)
	}
	names, err := c.names()
	if err != nil {
		return err
	}
	for i := range rs {
		rs[i].Wording = c.Consent
		names.complete(&rs[i])
	}
	return c.changePeople(e, func(s *subscribe.Store) error {
		if err := s.AddConfirmed(e.ctx, rs...); err != nil {
			return fmt.Errorf("nothing was imported: %w", err)
		}
		fmt.Fprintf(e.stdout, "%d people\n", len(rs))
		return nil
	})
}

type subscribeExportCmd struct{ addressArg }

func (c subscribeExportCmd) Run(e *env) error {
	return c.readPeople(e, func(s *subscribe.Store) error {
		b, err := s.Export(e.ctx, c.Address)
		if err != nil {
			return err
		}
		_, err = e.stdout.Write(b)
		return err
	})
}

type subscribeDeleteCmd struct{ addressArg }

func (c subscribeDeleteCmd) Run(e *env) error {
	return c.changePeople(e, func(s *subscribe.Store) error {
		found, err := s.Delete(e.ctx, c.Address)
		if err != nil {
			return err
		}
		if !found {
			fmt.Fprintln(e.stdout, "no confirmed subscriber with this address; any unconfirmed requests were deleted")
			return nil
		}
		fmt.Fprintln(e.stdout, "deleted")
		return nil
	})
}
