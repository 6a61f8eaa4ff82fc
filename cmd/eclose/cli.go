package main

import (
	"context"
	"errors"
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
	Demo       demoCmd       `cmd:"" help:"Run the whole job on invented rivers and write what came out."`
	Ingest     ingestCmd     `cmd:"" help:"Fetch what the rivers of a config need into the series store."`
	Forecast   forecastCmd   `cmd:"" help:"Print the outlook of each river: when each group emerges and lays eggs."`
	Subscribe  subscribeCmd  `cmd:"" help:"Who hears of which river by mail, and that they asked for it."`
	Trip       tripCmd       `cmd:"" help:"Which river, which week, and what to tie: weeks in order, risks, a tying list."`
	Bounces    bouncesCmd    `cmd:"" help:"Mails that came back."`
	Serve      serveCmd      `cmd:"" help:"Do it all by itself: ask the feeds, issue outlooks, send alerts, show the page."`
	Worker     workerCmd     `cmd:"" help:"Work jobs of a PostgreSQL database beside others, without a page."`
	Jobs       jobsCmd       `cmd:"" help:"What is to be done, is being done, failed."`
	Migrate    migrateCmd    `cmd:"" help:"Bring the database up to this program's version."`
	Water      waterCmd      `cmd:"" help:"Fit water temperature to air and flow; score it on days it has not seen."`
	Caution    cautionCmd    `cmd:"" help:"What the flow of a river asks of somebody who wades it."`
	Database   databaseCmd   `cmd:"" help:"The database as a whole."`
	Backup     backupCmd     `cmd:"" help:"Write database, series and outlooks into one file."`
	Restore    restoreCmd    `cmd:"" help:"Put a backup into an empty place."`
	Season     seasonCmd     `cmd:"" help:"Write one river's season as a sheet to print: dates, hours, grades, sources."`
	Diary      diaryCmd      `cmd:"" help:"What you saw on the water, and what you did not."`
	Calibrate  calibrateCmd  `cmd:"" help:"Turn a river's sightings into its own parameters, and show how far its windows moved."`
	Group      groupCmd      `cmd:"" help:"Insect groups: what a name may mean, what is known of each."`
	Series     seriesCmd     `cmd:"" help:"Stored series: what there is, where it has gaps, whether it is whole."`
	Feed       feedCmd       `cmd:"" help:"Public feeds: what a saved answer holds."`
	Gauges     gaugesCmd     `cmd:"" help:"Gauges: find one for a river."`
	Score      scoreCmd      `cmd:"" help:"Judge the outlooks of the running season by the sightings so far."`
	Export     exportCmd     `cmd:"" help:"Write the newest outlooks as a file for other tools."`
	Backtest   backtestCmd   `cmd:"" help:"Judge past seasons: the outlooks of a config's rivers, or the timing in a table of catches or sightings."`
	DegreeDays degreeDaysCmd `cmd:"" name:"degree-days" help:"Count degree-days of daily minima and maxima by any standard method."`
	Doctor     doctorCmd     `cmd:"" help:"Look at config, servers, clock, disk and data, and say what each missing thing costs the forecast."`
	Version    versionCmd    `cmd:"" help:"Print the version and what the binary was built from."`
}

// env is what a command may touch of the world. The clock is in it so that no
// command reads the time behind the back of a test.
type env struct {
	ctx    context.Context
	stdin  io.Reader
	stdout io.Writer
	stderr io.Writer
	now    func() time.Time
	sleep  func(context.Context, time.Duration) error // between tries of a feed; nil: a real pause
}

// usageError marks an error of the command line or the config file: exit
// code 2. Everything else that goes wrong is exit code 1.
type usageError struct{ err error }

func (e usageError) Error() string { return e.err.Error() }
func (e usageError) Unwrap() error { return e.err }

// usagef is fmt.Errorf for an error of usage or config.
func usagef(format string, args ...any) error {
	return usageError{fmt.Errorf(format, args...)}
}

// run is the whole program but for os.Exit, so that tests can start it.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	return runEnv(&env{ctx: ctx, stdin: stdin, stdout: stdout, stderr: stderr, now: time.Now}, args)
}

func runEnv(e *env, args []string) (code int) {
	var c cli
	parser, err := kong.New(&c,
		kong.Name("eclose"),
		kong.Description("When the insects hatch: emergence and egg-laying outlooks per river and insect group, checked against past seasons."),
		kong.Writers(e.stdout, e.stderr),
		kong.Exit(func(c int) { panic(exit(c)) }),
		kong.UsageOnError(),
		kong.Vars{"queues": strings.Join(jobs.Queues, ", "), "agencies": feed.AgencyNames()},
	)
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
		fmt.Fprintf(e.stderr, "eclose: %v; see 'eclose --help'\n", err)
		return 2
	}
	if err := k.Run(e); err != nil {
		fmt.Fprintf(e.stderr, "eclose: %v\n", err)
		if u := (usageError{}); errors.As(err, &u) {
			return 2
		}
		return 1
	}
	return 0
}

// exit carries kong's wish to leave (after --help) up to runEnv.
type exit int
