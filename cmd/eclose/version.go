package main

import (
	"fmt"
	"runtime/debug"
	"strings"
)

type versionCmd struct{}

// Run prints what the Go tool recorded in the binary: no number is kept by hand.
func (versionCmd) Run(e *env) error {
	text, err := version()
	if err != nil {
		return err
	}
	fmt.Fprintln(e.stdout, text)
	return nil
}

func version() (string, error) {
	info, ok := debug.ReadBuildInfo()
	if !ok {
		return "", fmt.Errorf("no build information in this binary")
	}
	return versionOf(info), nil
}

// versionOf names a build by its tag or its commit. One that was made without
// version control knows neither, and says so rather than "(devel)".
func versionOf(info *debug.BuildInfo) string {
	version, from := info.Main.Version, []string{info.GoVersion}
	if version == "" || version == "(devel)" {
		version = "of no version"
	}
	revision, modified := "", ""
	for _, s := range info.Settings {
		switch {
		case s.Key == "vcs.revision":
			revision = s.Value
		case s.Key == "vcs.modified" && s.Value == "true":
			modified = " with local changes"
		}
	}
	switch {
	case revision != "":
		from = append([]string{"commit " + revision + modified}, from...)
	case info.Main.Sum == "": // a tagged module has its sum in place of a commit
		from = append([]string{"built outside version control"}, from...)
	}
	return fmt.Sprintf("eclose %s (%s)", version, strings.Join(from, ", "))
}
