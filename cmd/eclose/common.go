package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"regexp"
	"strings"

	"github.com/alecthomas/kong"

	"example.org/eclose/cmd/eclose/internal/app"
)

// commonFlags may stand after any command.
type commonFlags struct {
	ShowVersion versionFlag `name:"version" help:"Print the version and exit."`
	Quiet       bool        `xor:"loudness" help:"No progress and no information: only results, warnings and errors."`
	Verbose     bool        `xor:"loudness" help:"More information: how long the command took; for serve and worker, every step."`
	Errors      string      `enum:"text,json," default:"text" env:"ECLOSE_ERRORS" help:"How an error is printed: text, or json (one object on the last line of standard error)."`
}

// exitCodes is the contract with scripts, in the help and in the manual.
const exitCodes = "0: done. 1: it failed, in whole or in part; what was stored before is kept. 2: the command line or the config file is wrong; nothing was done."

func helpWithExitCodes(o kong.HelpOptions, k *kong.Context) error {
	if err := kong.DefaultHelpPrinter(o, k); err != nil {
		return fmt.Errorf("printing the help: %w", err)
	}
	fmt.Fprintf(k.Stdout, "\nExit codes:\n  %s\n", strings.ReplaceAll(exitCodes, ". ", ".\n  "))
	return nil
}

// versionFlag prints the version as soon as it is read: nothing else need be right.
type versionFlag bool

// BeforeReset is called by the parser.
func (versionFlag) BeforeReset(k *kong.Kong) error {
	text, err := version()
	if err != nil {
		return err
	}
	fmt.Fprintln(k.Stdout, text)
	k.Exit(0)
	return nil
}

// fail prints an error and gives the exit code.
func fail(e *env, asJSON bool, err error) int {
	code := 1
	if _, ok := errors.AsType[app.UsageError](err); ok {
		code = 2
	}
	if !asJSON {
		fmt.Fprintf(e.stderr, "eclose: %v\n", err)
		return code
	}
	line, _ := json.Marshal(struct { // two plain fields: it cannot fail
		Error    string `json:"error"`
		ExitCode int    `json:"exit_code"`
	}{err.Error(), code})
	fmt.Fprintf(e.stderr, "%s\n", line)
	return code
}

// notNumber is how kong says that a value is not a number.
var notNumber = regexp.MustCompile(`expected (?:a float|an int|a valid \d+ bit u?int) but got ("[^"]*")(?: \(\w+\))?`)

// commandLineFault puts a fault of the command line in words that say what cures it.
func commandLineFault(err error) error {
	text := notNumber.ReplaceAllString(err.Error(), "$1 is not a number")
	if strings.Contains(text, "--config=FILE") {
		text += "; eclose init writes such a file"
	}
	return app.Usagef("%s; see 'eclose --help'", text)
}

// jsonErrors says how errors are wanted where the command line could not be read.
func jsonErrors(args []string) bool {
	how := os.Getenv("ECLOSE_ERRORS")
	for i, a := range args {
		if v, ok := strings.CutPrefix(a, "--errors="); ok {
			how = v
		} else if a == "--errors" && i+1 < len(args) {
			how = args[i+1]
		}
	}
	return how == "json"
}

// note prints information that is no warning: --quiet leaves it out.
func (e *env) note(format string, args ...any) {
	if !e.quiet {
		fmt.Fprintf(e.stderr, "eclose: "+format+"\n", args...)
	}
}

// logLevel is what serve and worker log: as set by --log, unless --quiet or --verbose
// was given.
func (e *env) logLevel(level string) string {
	switch {
	case e.quiet:
		return "warn"
	case e.chatty:
		return "debug"
	}
	return level
}
