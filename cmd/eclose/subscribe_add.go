package main

import (
	"errors"
	"fmt"
	"os"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/mail"
	"example.org/eclose/notify/subscribe"
)

type subscribeAddCmd struct {
	databaseFlag
	Address   string   `arg:"" help:"Email address."`
	River     []string `required:"" help:"River slugs." placeholder:"NAME"`
	Group     []string `help:"Insect groups (default: any fishable group)." placeholder:"KEY"`
	Stage     []string `help:"emergence or egg-laying (default: both)." placeholder:"STAGE"`
	Threshold float64  `default:"0.5" help:"Alert when the daily chance reaches this probability."`
	Horizon   int      `default:"14" help:"Days ahead to watch."`
	Digest    bool     `help:"One digest each morning instead of individual alerts."`
	Cautions  bool     `default:"true" negatable:"" help:"Also send flow cautions."`
	When      string   `help:"Only when the gauge reads or is forecast so; with --group both must hold, without it insects do not count. Such as 'flow < 600 cfs' or 'forecast flow < 600 cfs'." placeholder:"CONDITION"`
	Quiet     string   `name:"quiet-hours" help:"Quiet hours, local time, or none (default with a config: 22:00-07:00)." placeholder:"22:00-07:00"`
	Wake      bool     `help:"Send level 3 cautions during quiet hours."`
	Zone      string   `help:"IANA time zone (default: the river's)." placeholder:"ZONE"`
	Units     string   `enum:"metric,us," default:"" help:"metric or us (default: the config's)."`
	PerDay    int      `default:"6" help:"Maximum emails a day, not counting level 3 cautions."`
	Consent   string   `help:"You already hold this person's consent; names the wording they agreed to. No confirmation is sent." placeholder:"WORDING"`
	Eml       string   `help:"Write the confirmation request to a file instead of sending it." placeholder:"FILE" type:"path"`
}

func (c subscribeAddCmd) request() (subscribe.Request, error) {
	r := subscribe.Request{
		Address: c.Address, Zone: c.Zone, Units: c.Units, WakeFor3: c.Wake, PerDay: c.PerDay, Wording: c.Consent,
	}
	if c.Quiet != "" {
		var err error
		if r.QuietFrom, r.QuietTo, err = subscribe.ParseQuiet(c.Quiet); err != nil {
			return r, app.Usagef("--quiet-hours: %w", err)
		}
	}
	cadence := subscribe.Now
	if c.Digest {
		cadence = subscribe.Digest
	}
	for _, river := range c.River {
		r.Subscriptions = append(r.Subscriptions, subscribe.Subscription{
			River: river, Groups: c.Group, Stages: c.Stage, Threshold: c.Threshold, HorizonDays: c.Horizon, Cadence: cadence, Cautions: c.Cautions, When: c.When,
		})
	}
	return r, nil
}

func (c subscribeAddCmd) Run(e *env) error {
	r, err := c.request()
	if err != nil {
		return err
	}
	names, err := c.names()
	if err != nil {
		return err
	}
	if err := names.resolve(&r); err != nil {
		return err
	}
	names.complete(&r)
	if c.Consent == "" && c.Config == "" {
		return app.Usagef("give --config FILE so the confirmation can be emailed, or --consent WORDING if you already hold consent")
	}
	return c.changePeople(e, func(s *subscribe.Store) error {
		if c.Consent != "" {
			if err := s.AddConfirmed(e.ctx, r); err != nil {
				return app.Usagef("%w", err)
			}
			fmt.Fprintln(e.stdout, "subscribed")
			return nil
		}
		return c.ask(e, s, r)
	})
}

func (c subscribeAddCmd) ask(e *env, s *subscribe.Store, r subscribe.Request) error {
	cfg, err := configFlag{c.Config}.load()
	if err != nil {
		return err
	}
	if cfg.Mail.Host == "" && c.Eml == "" {
		return app.Usagef("no mail relay is set, so %s cannot be asked; add [mail] to %s, or give --eml FILE or --consent WORDING", c.Address, c.Config)
	}
	if cfg.Mail.From == "" {
		return app.Usagef("mail.from is not set; add [mail] with from = \"you@example.org\" to %s, or give --consent WORDING", c.Config)
	}
	composer, err := app.NewComposer(cfg, s.Links)
	if err != nil {
		return err
	}
	var relay *mail.Sender
	if c.Eml == "" {
		if relay, err = app.NewSender(cfg); err != nil {
			return err
		}
		defer relay.Close()
	}
	inv, err := s.Ask(e.ctx, r)
	switch {
	case errors.Is(err, subscribe.ErrBusy):
		return err
	case err != nil:
		return app.Usagef("%w", err)
	case inv == nil:
		return errors.New("no confirmation can be sent: this address was already asked, or has complained")
	}
	m, err := composer.Invite(*inv, e.now())
	if err != nil {
		return err
	}
	if c.Eml != "" {
		if err := os.WriteFile(c.Eml, m.Raw, 0o600); err != nil {
			return fmt.Errorf("writing the confirmation: %w", err)
		}
		fmt.Fprintf(e.stdout, "confirmation written to %s; its link works once, for 48 hours\n", c.Eml)
		return nil
	}
	if o := relay.Send(e.ctx, m, func() error { return nil }); o.Result != alert.Sent {
		return fmt.Errorf("sending the confirmation to %s: relay replied %d %s %s", s.LogID(inv.Address), o.Code, o.Enhanced, o.Reply)
	}
	fmt.Fprintln(e.stdout, "confirmation sent; nothing more is sent until it is confirmed")
	return nil
}
