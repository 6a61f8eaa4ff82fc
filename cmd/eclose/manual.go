package main

import (
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"time"

	"github.com/alecthomas/kong"

	"example.org/eclose/cmd/eclose/internal/commandtree"
)

type completionCmd struct {
	Shell string `arg:"" enum:"bash,zsh,fish" help:"bash, zsh or fish."`
}

// Run prints a script that asks this program for what may come next.
func (c completionCmd) Run(e *env) error {
	fmt.Fprint(e.stdout, commandtree.Scripts[c.Shell])
	return nil
}

type completeCmd struct {
	Words []string `arg:"" optional:"" help:"The words so far, the last one as far as the cursor."`
}

// Run lists candidates, one a line.
func (c completeCmd) Run(e *env, tree *kong.Application) error {
	fmt.Fprint(e.stdout, commandtree.Print(commandtree.Complete(tree, c.Words)))
	return nil
}

type manCmd struct {
	Out string `required:"" placeholder:"DIR" type:"path" help:"Folder to write the pages to, such as /usr/local/share/man/man1."`
}

// Run writes one page of the program and one of each command.
func (c manCmd) Run(e *env, tree *kong.Application) error {
	if err := os.MkdirAll(c.Out, 0o755); err != nil { //nolint:gosec // pages are for everybody
		return fmt.Errorf("making the folder of the manual: %w", err)
	}
	pages := commandtree.Manual(tree, edition(e.now()), "eclose", [][2]string{
		{"EXIT STATUS", exitCodes},
		{"ENVIRONMENT", "Options name the variables that stand in for them. NO_COLOR changes nothing on a result: Eclose prints no colours; it also keeps the log of a terminal plain."},
		{"CAUTION", "This is an insect forecast, not a wading forecast. Flow can rise without warning, especially below dams. Local notices, dam operators, licensed guides, local rules and your own eyes overrule it."},
	})
	for _, name := range slices.Sorted(maps.Keys(pages)) {
		if err := os.WriteFile(filepath.Join(c.Out, name), []byte(pages[name]), 0o644); err != nil { //nolint:gosec // as above
			return fmt.Errorf("writing the manual: %w", err)
		}
	}
	e.note("wrote %d pages to %s; to read one: man -l %s", len(pages), c.Out, filepath.Join(c.Out, "eclose.1"))
	return nil
}

// edition is the day of the commit that the binary was built from: the same source gives
// the same pages. A build outside version control does not know it: then it is today.
func edition(now time.Time) string {
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			if s.Key == "vcs.time" && len(s.Value) >= 10 {
				return s.Value[:10]
			}
		}
	}
	return now.Format(time.DateOnly)
}
