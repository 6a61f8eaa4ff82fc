package main

import (
	"fmt"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/alert"
	"example.org/eclose/notify/mail"
	"example.org/eclose/notify/subscribe"
)

// demoTokens stand for the secret links of a person: the demo has no
// subscription and sends nothing.
type demoTokens struct{}

func (demoTokens) Unsubscribe(string) string { return "demo-unsubscribe" }
func (demoTokens) Manage(string) string      { return "demo-manage" }

// Report implements mail.Tokens.
func (demoTokens) Report(subscribe.Report) string { return "demo-report" }

// soonDays is how far ahead a window may open for the demo's mail.
const soonDays = 21

// notify writes the cautions of all rivers and one mail: the likeliest window
// to open soon on a river whose water does not forbid to say so.
func (c demoCmd) notify(e *env, cfg *config.Config, out *folder, outlooks []*forecast.Outlook) error {
	catalogue, err := app.LoadCatalogue(cfg)
	if err != nil {
		return err
	}
	rivers, err := app.Rivers(cfg, nil)
	if err != nil {
		return err
	}
	store, err := series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return err
	}
	defer store.Close() //nolint:errcheck // it was only read
	units := app.Units(cfg)
	var cautions strings.Builder
	fmt.Fprintf(&cautions, "%s\n\n", demo.Notice)
	var email *alert.Email
	for i, r := range rivers {
		in, err := forecast.CautionInput(e.ctx, store, r, demo.Issue)
		if err != nil {
			return err
		}
		caution := wading.Assess(in)
		fmt.Fprintf(&cautions, "%s\n%s\n", r.Name, caution.Format(units))
		reading := alert.FromCaution(alert.RiverInfo{River: r.Slug, RiverName: r.Name, Zone: r.Zone, Gauge: r.Gauges[0].Site}, in, demo.Issue, units)
		if email == nil && reading.Known && reading.Level < int(wading.BetterNot) {
			email = opening(outlooks[i], catalogue, reading, cfg.Units)
		}
	}
	out.text("caution.txt", "the wading caution for each river", cautions.String())
	if email == nil {
		return fmt.Errorf("writing the demo email: no window opens within %d days on a river whose caution allows an alert", soonDays)
	}
	composer, err := mail.NewComposer(mail.Site{Name: "Eclose demo, all invented", From: "outlooks@example.org", URL: "https://eclose.example.org", Notice: demo.Notice, Tokens: demoTokens{}})
	if err != nil {
		return fmt.Errorf("preparing the demo's mail: %w", err)
	}
	m, err := composer.Compose(*email, demo.Issue)
	if err != nil {
		return fmt.Errorf("wording the demo's mail: %w", err)
	}
	out.text("alert.eml", "the alert email a subscriber would get; open it in a mail program", string(m.Raw))
	return nil
}

// opening is the email about the window that opens soon and is worth most to an
// angler, of several the likeliest; nil if none opens.
func opening(o *forecast.Outlook, c *insects.Catalogue, caution alert.Reading, units string) *alert.Email {
	facts := alert.FromOutlook(*o, func(group string, stage forecast.Stage) []string { return app.TyingLine(c, group, stage) }, caution.WaterC, caution.FlowM3S)
	issue := o.IssueDate()
	best, rank, chance := -1, 0, 0.0
	for i, s := range o.Stages {
		start := s.Window.Start.P50
		g, ok := c.Group(s.Group)
		if !ok || !s.Fishable || s.Elsewhere || trip.Background(&s, g) || start <= issue || start > issue+soonDays {
			continue
		}
		worth := g.Worth(insects.Stage(s.Stage)) // 1 is most
		for _, d := range s.Days.All() {
			if best < 0 || worth < rank || worth == rank && d.P > chance {
				best, rank, chance = i, worth, d.P
			}
		}
	}
	if best < 0 {
		return nil
	}
	about := &facts.Stages[best]
	key := fmt.Sprintf("%040x", demo.Seed)
	return &alert.Email{
		Key: key, MessageID: key, Thread: key, Person: "demo", Address: "angler@example.org", Zone: o.Zone, Units: units, Kind: "news",
		Expires: demo.Issue.Add(48 * time.Hour),
		Items: []alert.EmailItem{{
			Item:    alert.Item{Kind: alert.KindOpen, River: o.River, Group: about.Group, Stage: about.Stage, From: about.From, To: about.To},
			Outlook: &facts, About: about, Caution: &caution,
		}},
	}
}
