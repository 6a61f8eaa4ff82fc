// Mutants changes the code that judges water, one number, comparison or bound at
// a time, and tells which changes no test notices.
//
//	go run ./.ci/mutants [-every N] [-files REGEXP]
//
// All mutants of a package are compiled into one test binary, in which an
// environment variable switches one on; the changed text is given to the go tool
// as an overlay, and no file of the repository is touched. It exits with 1 when a
// mutant survives that survivors.txt beside it does not name with a reason, and
// when survivors.txt names one that no longer survives.
package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"
)

// target is a package, its files to change, and the tests that must notice.
type target struct {
	dir   string
	files []string
	run   string // of go test
}

var targets = []target{
	{"model/wading", []string{"assess.go", "around.go", "reading.go", "rise.go", "gate.go", "level.go", "warning.go", "weather.go", "width.go", "fish.go", "format.go"}, "."},
	{"ingest/qc", []string{"agency.go", "climatology.go", "config.go", "plausibility.go", "qc.go"}, "."},
	{"ingest/warning", []string{"area.go", "record.go", "warning.go"}, "."},
	{"forecast", []string{"caution.go", "caution_sensor.go"}, "EveryGauge|EverySensor|AClock|AWord|AGauge|NoGauge|AReadingInDoubt|Thunder|Darkest|ALastReading|TheRecordOf|Which|AHeightBelongs|Thermometer"},
}

// longest is how long the tests of one mutant may take: one that loops for ever
// is noticed.
const longest = 90 * time.Second

func main() {
	every := flag.Int("every", 1, "try one mutant in so many")
	files := flag.String("files", ".", "only files whose path matches")
	flag.Parse()
	which, err := regexp.Compile(*files)
	if err != nil {
		fail(err)
	}
	known, err := reasons(".ci/mutants/survivors.txt")
	if err != nil {
		fail(err)
	}
	dir, err := os.MkdirTemp("", "mutants")
	if err != nil {
		fail(err)
	}
	defer os.RemoveAll(dir) //nolint:errcheck // a folder of this run
	tried, caught, fresh, stale := 0, 0, 0, 0
	whole := *every == 1 && *files == "."
	seen := map[string]bool{}
	for _, t := range targets {
		t.files = slices.DeleteFunc(slices.Clone(t.files), func(f string) bool { return !which.MatchString(t.dir + "/" + f) })
		if len(t.files) == 0 {
			continue
		}
		binary, all, err := build(dir, t)
		if err != nil {
			fail(err)
		}
		if noticed, out := noticed(binary, t, 0); noticed {
			fail(fmt.Errorf("the tests of %s fail without any change:\n%s", t.dir, out))
		}
		for i, m := range all {
			if i%*every != 0 {
				continue
			}
			tried++
			why := known[m.what]
			seen[m.what] = true
			switch noticed, _ := noticed(binary, t, m.id); {
			case noticed:
				caught++
				if why != "" {
					stale++
					fmt.Println("caught by now, take it off the list:", m.what)
				}
			case why != "":
				fmt.Println("survives:", m.what, "#", why)
			default:
				fresh++
				fmt.Println("SURVIVES:", m.what)
			}
		}
	}
	for what := range known {
		if whole && !seen[what] {
			stale++
			fmt.Println("no such mutant any more, take it off the list:", what)
		}
	}
	fmt.Printf("%d mutants, %d caught, %d survive with a reason, %d to look at, %d to take off the list\n", tried, caught, tried-caught-fresh, fresh, stale)
	if fresh+stale > 0 {
		os.Exit(1)
	}
}

func fail(err error) {
	fmt.Fprintln(os.Stderr, "mutants:", err)
	os.Exit(2)
}

// noticed reports whether the tests of a target fail with a mutant; 0 is none.
func noticed(binary string, t target, id int) (bool, string) {
	ctx, cancel := context.WithTimeout(context.Background(), longest)
	defer cancel()
	cmd := exec.CommandContext(ctx, binary, "-test.short", "-test.failfast", "-test.run", t.run)
	cmd.Dir = t.dir
	cmd.Env = append(os.Environ(), fmt.Sprintf("%s=%d", variable, id))
	out, err := cmd.CombinedOutput()
	return err != nil, string(out)
}

// reasons reads the survivors that were looked at: "mutant # reason" a line.
func reasons(file string) (map[string]string, error) {
	b, err := os.ReadFile(file)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	out := map[string]string{}
	for line := range strings.Lines(string(b)) {
		if strings.HasPrefix(line, "#") {
			continue
		}
		if what, why, ok := strings.Cut(strings.TrimSpace(line), " # "); ok {
			out[what] = why
		}
	}
	return out, nil
}

// build compiles the test binary of a target with all mutants in it.
func build(dir string, t target) (binary string, all []mutant, err error) {
	overlay := map[string]string{}
	all, err = rewrite(dir, t, overlay)
	if err != nil {
		return "", nil, fmt.Errorf("%s: %w", t.dir, err)
	}
	list := filepath.Join(dir, "overlay.json")
	if err := writeJSON(list, map[string]any{"Replace": overlay}); err != nil {
		return "", nil, err
	}
	binary = filepath.Join(dir, strings.ReplaceAll(t.dir, "/", "-")+".test")
	cmd := exec.Command("go", "test", "-c", "-overlay", list, "-o", binary, "./"+t.dir)
	if out, err := cmd.CombinedOutput(); err != nil {
		return "", nil, fmt.Errorf("compiling %s: %w\n%s", t.dir, err, out)
	}
	return binary, all, nil
}
