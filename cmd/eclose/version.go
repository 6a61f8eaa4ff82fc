package main

import (
	"fmt"
	"runtime/debug"
)

type versionCmd struct{}

// Run prints what the Go tool recorded in the binary: no number is kept by hand.
func (versionCmd) Run(e *env) error {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return fmt.Errorf("reading build information: the binary carries none")
	}
	revision, modified := "unknown revision", ""
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.revision":
			revision = s.Value
		case "vcs.modified":
			if s.Value == "true" {
				modified = " with local changes"
			}
		}
	}
	fmt.Fprintf(e.stdout, "eclose %s (%s%s, %s)\n", info.Main.Version, revision, modified, info.GoVersion)
	return nil
}
