package main

import (
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"net"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"regexp"
	"runtime/debug"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"example.org/eclose/cmd/eclose/internal/demo"
	"example.org/eclose/cmd/eclose/internal/health"
)

// TestMain lets a test run the program in a process of its own: to kill it, or
// as the command eclose of a script. Its clock starts at the demo's issue.
func TestMain(m *testing.M) {
	program := func(now func() time.Time, args []string) int {
		ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
		defer stop()
		return runEnv(&env{ctx: ctx, stdin: os.Stdin, stdout: os.Stdout, stderr: os.Stderr, now: now}, args)
	}
	if args := os.Getenv("ECLOSE_TEST_RUN"); args != "" {
		now := func() time.Time { return demo.Issue }
		if os.Getenv("ECLOSE_TEST_CLOCK") != "" {
			now = sharedClock()
		}
		os.Exit(program(now, strings.Split(args, "\n")))
	}
	// Many tests wait for a server more than they compute. What the command line
	// says of it goes before.
	if err := flag.Set("test.parallel", "4"); err != nil {
		panic(err)
	}
	// What tests allocate is soon thrown away: collecting it less often saves a fifth of
	// the processor time. Long runs measure memory.
	if os.Getenv("ECLOSE_LONG") != "1" {
		debug.SetGCPercent(400)
		if err := os.Setenv("GOGC", "400"); err != nil { // of the processes that tests start
			panic(err)
		}
	}
	testscript.Main(tests{m}, map[string]func(){
		"eclose": func() { os.Exit(program(scriptClock(), os.Args[1:])) },
	})
}

// sharedClock is one quick clock of a test and its processes: ECLOSE_TEST_CLOCK
// holds what it showed and when, and how many times as fast as ours it runs.
func sharedClock() func() time.Time {
	var began, showed int64
	var speed float64
	if _, err := fmt.Sscan(os.Getenv("ECLOSE_TEST_CLOCK"), &began, &showed, &speed); err != nil {
		panic(err)
	}
	return func() time.Time {
		return time.UnixMicro(showed).Add(time.Duration(speed * float64(time.Since(time.UnixMicro(began))))).UTC()
	}
}

// tests are the tests, with a folder of their own.
type tests struct{ *testing.M }

func (m tests) Run() int {
	dir, err := os.MkdirTemp("", "eclose-tests-")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(dir)
	madeOnce = dir
	return m.M.Run()
}

// scriptClock is the clock of all commands of a script: the demo's issue when it
// began.
func scriptClock() func() time.Time {
	began, err := time.Parse(time.RFC3339Nano, os.Getenv("ECLOSE_TEST_BEGAN"))
	if err != nil {
		panic(err)
	}
	return func() time.Time { return demo.Issue.Add(time.Since(began)) }
}

// The scripts are what somebody types at a shell, and sees.
func TestScripts(t *testing.T) {
	if testing.Short() {
		t.Skip("it issues outlooks")
	}
	t.Parallel()
	testscript.Run(t, testscript.Params{
		Dir: filepath.Join("testdata", "script"),
		Setup: func(e *testscript.Env) error {
			ln, err := net.Listen("tcp", "127.0.0.1:0")
			if err != nil {
				return err
			}
			e.Setenv("ADDR", ln.Addr().String())
			e.Setenv("ECLOSE_TEST_BEGAN", time.Now().Format(time.RFC3339Nano))
			e.Setenv("ECLOSE_CONFIG", "eclose.toml")
			return errors.Join(copyIngested(e.WorkDir), ln.Close(), os.WriteFile(filepath.Join(e.WorkDir, "eclose.toml"), []byte(tarnFellsConfig(3)), 0o600))
		},
		Cmds:      map[string]func(ts *testscript.TestScript, neg bool, args []string){"issued": issued, "exits": exits},
		Condition: lacks,
	})
}

// exits runs a command and checks its exit code, which is part of what it promises:
// 2 for what was typed wrongly, 1 for what failed.
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND...")
	}
	code := 0
	if err := ts.Exec(args[1], args[2:]...); err != nil {
		var failed *exec.ExitError
		if !errors.As(err, &failed) {
			ts.Fatalf("%v", err)
		}
		code = failed.ExitCode()
	}
	if fmt.Sprint(code) != args[0] {
		ts.Fatalf("exit code %d, want %s", code, args[0])
	}
}

// lacks is the condition that a program is missing; a CI that lacks it fails.
func lacks(condition string) (bool, error) {
	program, ok := strings.CutPrefix(condition, "lacks:")
	if !ok {
		return false, fmt.Errorf("unknown condition %q", condition)
	}
	_, err := exec.LookPath(program)
	if err != nil && os.Getenv("ECLOSE_CI") == "1" {
		return false, fmt.Errorf("%s is missing", program)
	}
	return err != nil, nil
}

// issued waits until the server at an address has issued so many outlooks.
func issued(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 2 {
		ts.Fatalf("usage: issued ADDR N")
	}
	url := "http://" + args[0] + "/health"
	for end := time.Now().Add(4 * time.Minute); ; time.Sleep(200 * time.Millisecond) {
		n := 0
		if res, err := http.Get(url); err == nil {
			var r health.Report
			err = json.NewDecoder(res.Body).Decode(&r)
			res.Body.Close()
			for _, x := range r.Rivers {
				if err == nil && !x.Issued.IsZero() {
					n++
				}
			}
		}
		if fmt.Sprint(n) == args[1] {
			return
		}
		if time.Now().After(end) {
			ts.Fatalf("%d outlooks after four minutes", n)
		}
	}
}

// besideNothing are commands that read and write nothing of an installation: not
// worth a place in the script, each with its reason.
var besideNothing = map[string]string{
	"completion": "prints a script", "config": "reads the config only", "database": "moves a database that no server holds", "degree-days": "reads a file of temperatures",
	"demo": "has rivers of its own", "feed": "reads a saved response", "gauges": "asks an agency only", "group": "reads the catalogue", "init": "writes a config that no server runs on yet",
	"man": "writes the manual", "restore": "wants an empty installation", "version": "prints the version", "worker": "wants PostgreSQL",
}

// A command that is added is added to the script.
func TestTheScriptBesideServeHasEveryCommand(t *testing.T) {
	script, err := os.ReadFile(filepath.Join("testdata", "script", "beside_serve.txtar"))
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range parserForTests(t).Model.Children {
		has := regexp.MustCompile(`(?m)^(?:! )?exec eclose ` + n.Name + `\b`).Match(script)
		if !n.Hidden && has != (besideNothing[n.Name] == "") {
			t.Errorf("eclose %s: in the script %v, reason to leave it out %q", n.Name, has, besideNothing[n.Name])
		}
	}
}
