package jobs

import (
	"time"

	"github.com/riverqueue/river"
)

// Queues, apart so that a backtest cannot hold up a morning's outlooks, nor a
// slow agency the mail.
const (
	Feeds    = "feeds"    // one process at a time works it: the agencies' limits are for all of us together
	Model    = "model"    // outlooks, alerts
	Mail     = "mail"     //
	Webhooks = "webhooks" // a receiver that is down must not hold up the mail
	Backtest = "backtest" // and exports: whatever can wait
)

// Queues lists all queues.
var Queues = []string{Feeds, Model, Mail, Webhooks, Backtest}

// Slot is the moment that a periodic piece of work is for, whoever does it and
// whenever: the key that makes it happen once. It has no fraction of a second.
func Slot(t time.Time) time.Time { return t.UTC().Truncate(time.Second) }

// Plan makes the jobs of one slot of a schedule, all in one transaction.
type Plan struct {
	What string    `json:"what"` // "fetch", "warnings", "records", "neighbours" or "outlook"
	Feed string    `json:"feed,omitempty"`
	Slot time.Time `json:"slot"`
}

// What a Plan may be for.
const (
	PlanFetch      = "fetch"
	PlanWarnings   = "warnings"
	PlanRecords    = "records"
	PlanNeighbours = "neighbours"
	PlanOutlooks   = "outlook"
)

// Fetch asks one feed for what one river needs.
type Fetch struct {
	River string    `json:"river"`
	Feed  string    `json:"feed"`
	Slot  time.Time `json:"slot"`
}

// Warnings asks for the official warnings of one river.
type Warnings struct {
	River string    `json:"river"`
	Slot  time.Time `json:"slot"`
}

// FetchRecords asks a source for the open records around one river.
type FetchRecords struct {
	River string    `json:"river"`
	Feed  string    `json:"feed"`
	Slot  time.Time `json:"slot"`
}

// Neighbour fetches the sightings that a neighbouring installation shares.
type Neighbour struct {
	URL  string    `json:"url"`
	Slot time.Time `json:"slot"`
}

// Outlook issues the outlook of a river as of a moment: the water model is
// fitted again to what was known then.
type Outlook struct {
	River string    `json:"river"`
	Issue time.Time `json:"issue"`
}

// Alerts weighs what a fetch, of readings or of warnings, or an outlook brought and decides who is notified.
type Alerts struct {
	River   string    `json:"river"`
	Cause   time.Time `json:"cause"`             // slot of the fetch, or issue of the outlook
	Outlook bool      `json:"outlook"`           // which of the two
	Warning bool      `json:"warning,omitempty"` // the fetch was one of warnings
}

// Tick takes in that time has passed: rivers of which nothing is heard, mails
// that come due, what may be forgotten.
type Tick struct {
	Slot time.Time `json:"slot"`
}

// Deliver hands the mails that are due to the relay.
type Deliver struct {
	Slot time.Time `json:"slot"`
}

// Forget deletes what is kept no longer.
type Forget struct {
	Slot time.Time `json:"slot"`
}

// Invite asks the owner of an address to confirm it.
type Invite struct {
	ID string `json:"id"`
}

// Webhook sends one message to one receiver. What it says of the event is for people
// who read the list of jobs.
type Webhook struct {
	Hook  string `json:"hook"`
	Event string `json:"event"`
	ID    string `json:"id"`
}

// Calibrate turns the diary of a river into its own parameters and issues its outlook
// anew.
type Calibrate struct {
	River string    `json:"river"`
	Slot  time.Time `json:"slot"`
}

// BacktestSeason is one season of one river in a backtest.
type BacktestSeason struct {
	Run    string `json:"run"`
	River  string `json:"river"`
	Season int    `json:"season"`
}

// Export writes the outlooks of a river that were issued in one month.
type Export struct {
	River string    `json:"river"`
	Month time.Time `json:"month"`
}

//revive:disable:exported // one sentence is enough for two dozen methods

// Kind names the kinds in the database; they must never change.
func (Plan) Kind() string           { return "plan" }
func (Fetch) Kind() string          { return "fetch" }
func (Warnings) Kind() string       { return "warnings" }
func (FetchRecords) Kind() string   { return "records" }
func (Neighbour) Kind() string      { return "neighbour" }
func (Outlook) Kind() string        { return "outlook" }
func (Alerts) Kind() string         { return "alerts" }
func (Tick) Kind() string           { return "tick" }
func (Deliver) Kind() string        { return "deliver" }
func (Forget) Kind() string         { return "forget" }
func (Invite) Kind() string         { return "invite" }
func (Webhook) Kind() string        { return "webhook" }
func (Calibrate) Kind() string      { return "learn" }
func (BacktestSeason) Kind() string { return "backtest-season" }
func (Export) Kind() string         { return "export" }

// KindAliases has the name under which rows of before the first release lie.
func (BacktestSeason) KindAliases() []string { return []string{"slice"} }

// Kinds lists all kinds.
var Kinds = []string{"plan", "fetch", "warnings", "records", "neighbour", "outlook", "alerts", "tick", "deliver", "forget", "invite", "webhook", "learn", "backtest-season", "export"}

func opts(queue string, priority, attempts int) river.InsertOpts {
	return river.InsertOpts{Queue: queue, Priority: priority, MaxAttempts: attempts, UniqueOpts: river.UniqueOpts{ByArgs: true}}
}

// InsertOpts says where a job waits and how often it is tried. Fetches are
// given up early, since the next slot asks again; nothing else is. Warnings go
// before readings.
func (Plan) InsertOpts() river.InsertOpts           { return opts(Model, 1, 50) }
func (Fetch) InsertOpts() river.InsertOpts          { return opts(Feeds, 2, 6) }
func (Warnings) InsertOpts() river.InsertOpts       { return opts(Feeds, 1, 3) }
func (FetchRecords) InsertOpts() river.InsertOpts   { return opts(Feeds, 3, 4) }
func (Neighbour) InsertOpts() river.InsertOpts      { return opts(Feeds, 3, 4) }
func (Outlook) InsertOpts() river.InsertOpts        { return opts(Model, 3, 50) }
func (Alerts) InsertOpts() river.InsertOpts         { return opts(Model, 2, 50) }
func (Tick) InsertOpts() river.InsertOpts           { return opts(Model, 1, 10) }
func (Deliver) InsertOpts() river.InsertOpts        { return opts(Mail, 1, 10) }
func (Forget) InsertOpts() river.InsertOpts         { return opts(Model, 3, 10) }
func (Invite) InsertOpts() river.InsertOpts         { return opts(Mail, 1, 12) }      // for two hours
func (Webhook) InsertOpts() river.InsertOpts        { return opts(Webhooks, 2, 160) } // for three days
func (Calibrate) InsertOpts() river.InsertOpts      { return opts(Model, 2, 10) }
func (BacktestSeason) InsertOpts() river.InsertOpts { return opts(Backtest, 3, 50) }
func (Export) InsertOpts() river.InsertOpts         { return opts(Backtest, 2, 50) }
