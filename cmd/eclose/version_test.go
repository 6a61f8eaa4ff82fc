package main

import (
	"runtime/debug"
	"testing"
)

func TestABuildSaysWhatItIs(t *testing.T) {
	commit := []debug.BuildSetting{{Key: "vcs.revision", Value: "abc"}, {Key: "vcs.modified", Value: "false"}}
	for want, info := range map[string]debug.BuildInfo{
		"eclose v1.2.0 (commit abc, go1)":                           {GoVersion: "go1", Main: debug.Module{Version: "v1.2.0"}, Settings: commit},
		"eclose v1.2.1+dirty (commit abc with local changes, go1)":  {GoVersion: "go1", Main: debug.Module{Version: "v1.2.1+dirty"}, Settings: append(commit[:1:1], debug.BuildSetting{Key: "vcs.modified", Value: "true"})},
		"eclose v1.2.0 (go1)":                                       {GoVersion: "go1", Main: debug.Module{Version: "v1.2.0", Sum: "h1:x"}}, // go install of a tag
		"eclose of no version (built outside version control, go1)": {GoVersion: "go1", Main: debug.Module{Version: "(devel)"}},
	} {
		if got := versionOf(&info); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
