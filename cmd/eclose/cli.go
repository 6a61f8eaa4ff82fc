package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"strings"
	"syscall"
	"time"

	"github.com/alecthomas/kong"

	"example.org/eclose/cmd/eclose/internal/jobs"
	"example.org/eclose/ingest/feed"
)

// cli is the command tree. One line per command; each command is a struct with
// a Run(*env) error in its own file.
type cli struct {
	commonFlags

	Demo       demoCmd       `cmd:"" help:"Try Eclose on invented rivers; no account or network needed."`
	Init       initCmd       `cmd:"" help:"Set up your rivers: find gauges, write a config, fetch, forecast."`
	Ingest     ingestCmd     `cmd:"" help:"Download gauge and weather data for the configured rivers."`
	Forecast   forecastCmd   `cmd:"" help:"Print each river's forecast: when each insect group hatches and lays eggs."`
	Subscribe  subscribeCmd  `cmd:"" help:"Manage email alert subscribers."`
	Trip       tripCmd       `cmd:"" help:"Plan a trip: rank rivers and weeks, show the risks, print a tying list."`
	Box        boxCmd        `cmd:"" help:"Keep your fly box: what it holds is left off the tying list."`
	Bounces    bouncesCmd    `cmd:"" help:"Process bounced email."`
	Serve      serveCmd      `cmd:"" help:"Run everything: fetch data, issue forecasts, send alerts, serve the web pages."`
	Worker     workerCmd     `cmd:"" help:"Run background jobs from a shared PostgreSQL database, without web pages."`
	Jobs       jobsCmd       `cmd:"" help:"List, show, retry or add background jobs."`
	Migrate    migrateCmd    `cmd:"" help:"Update the database schema to this version."`
	Water      waterCmd      `cmd:"" help:"Fit the water-temperature model and score it on days held back."`
	Caution    cautionCmd    `cmd:"" help:"Show the wading caution for a river."`
	Database   databaseCmd   `cmd:"" help:"Move the database to PostgreSQL."`
	Backup     backupCmd     `cmd:"" help:"Back up the database, readings and forecasts to one file."`
	Restore    restoreCmd    `cmd:"" help:"Restore a backup into an empty installation."`
	Site       siteCmd       `cmd:"" help:"Write the web pages as files for a web space that runs no program."`
	Season     seasonCmd     `cmd:"" help:"Write a printable season sheet for one river: dates, hours, evidence, sources."`
	Diary      diaryCmd      `cmd:"" help:"Record and list sightings, including blank sessions."`
	Sightings  sightingsCmd  `cmd:"" help:"Take in open records of insects from iNaturalist, GBIF and Darwin Core files."`
	Calibrate  calibrateCmd  `cmd:"" help:"Calibrate a river's forecast from your sightings and show how its dates move."`
	Group      groupCmd      `cmd:"" help:"Look up insect groups and what is known about each."`
	Series     seriesCmd     `cmd:"" help:"List, export or verify stored readings."`
	Feed       feedCmd       `cmd:"" help:"Inspect a saved response from a data feed."`
	Gauges     gaugesCmd     `cmd:"" help:"Find gauges and their long-term statistics."`
	Score      scoreCmd      `cmd:"" help:"Score this season's forecasts against sightings so far."`
	Export     exportCmd     `cmd:"" help:"Export the latest forecasts for other tools."`
	Backtest   backtestCmd   `cmd:"" help:"Backtest past seasons: a config's rivers, or the dates in a table of catches or sightings."`
	DegreeDays degreeDaysCmd `cmd:"" name:"degree-days" help:"Compute degree-days from daily minimum and maximum temperatures."`
	Config     configCmd     `cmd:"" help:"Show the configuration in force and where each value comes from."`
	Doctor     doctorCmd     `cmd:"" help:"Check config, servers, clock, disk and data, and say what each fault costs the forecast."`
	Completion completionCmd `cmd:"" help:"Print the completion script of a shell: bash, zsh or fish."`
	Complete   completeCmd   `cmd:"" hidden:"" help:"List what the last word may become; asked by the completion scripts."`
	Man        manCmd        `cmd:"" help:"Write manual pages, made from the commands of this binary."`
	Version    versionCmd    `cmd:"" help:"Print the version and what the binary was built from."`
}

// env is what a command may touch of the world. The clock is in it so that no
// command reads the time behind the back of a test.
type env struct {
	ctx    context.Context
	stdin  io.Reader
	stdout io.Writer
	stderr io.Writer // notes: warnings, progress, errors
	now    func() time.Time
	quiet  bool                                       // no progress and no information
	chatty bool                                       // more information
	sleep  func(context.Context, time.Duration) error // between tries of a feed; nil: a real pause
}

// run is the whole program but for os.Exit, so that tests can start it.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return runEnv(&env{ctx: ctx, stdin: stdin, stdout: stdout, stderr: stderr, now: time.Now}, args)
}

func runEnv(e *env, args []string) (code int) {
	var c cli
	parser, err := parserOf(&c, e)
	if err != nil {
		panic(err) // a mistake in the command tree itself
	}
	defer func() {
		if r := recover(); r != nil {
			x, ok := r.(exit)
			if !ok {
				panic(r)
			}
			code = int(x)
		}
	}()
	k, err := parser.Parse(args)
	if err != nil {
		return fail(e, jsonErrors(args), commandLineFault(err))
	}
	e.quiet, e.chatty = c.Quiet, c.Verbose
	began := e.now()
	if err := k.Run(e, k.Model); err != nil {
		return fail(e, c.Errors == "json", err)
	}
	if e.chatty {
		fmt.Fprintf(e.stderr, "eclose: %s done in %s\n", k.Command(), e.now().Sub(began).Round(time.Millisecond))
	}
	return 0
}

// parserOf is the parser of the command line.
func parserOf(c *cli, e *env) (*kong.Kong, error) {
	return kong.New(c,
		kong.Name("eclose"),
		kong.Description("Forecasts of hatches and egg-laying by river and insect group, checked against past seasons."),
		kong.Writers(e.stdout, e.stderr),
		kong.Exit(func(c int) { panic(exit(c)) }),
		kong.UsageOnError(),
		kong.Help(helpWithExitCodes),
		kong.Vars{"queues": strings.Join(jobs.Queues, ", "), "agencies": feed.AgencyNames()},
	)
}

// exit carries kong's wish to leave (after --help) up to runEnv.
type exit int
