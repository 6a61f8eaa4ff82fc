package main

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"example.org/eclose/cmd/eclose/internal/demo"
)

// Flip one bit in an index and one in a file of readings: the other rivers go on,
// the repair puts both aside and fetches what they held.
func TestADamagedFileStopsNoOtherRiverAndIsRepaired(t *testing.T) {
	t.Parallel()
	dir, path := ingested(t)
	ok := func(args ...string) string {
		t.Helper()
		code, out, errs := call(t, demo.Issue, append(args, "--config", path)...)
		if code != 0 {
			t.Fatalf("%v: %d %s%s", args, code, out, errs)
		}
		return out
	}
	before := ok("forecast", "--format", "csv", "--members", "20")
	flip := func(match func(string) bool) string {
		t.Helper()
		found := ""
		err := filepath.WalkDir(filepath.Join(dir, "series"), func(p string, d fs.DirEntry, err error) error {
			if err == nil && !d.IsDir() && found == "" && match(filepath.ToSlash(p)) {
				found = p
			}
			return err
		})
		if err != nil || found == "" {
			t.Fatalf("no such file, %v", err)
		}
		b, err := os.ReadFile(found)
		if err != nil {
			t.Fatal(err)
		}
		b[len(b)/2] ^= 1
		if err := os.WriteFile(found, b, 0o600); err != nil {
			t.Fatal(err)
		}
		return found
	}
	wend := func(p string) bool { return strings.Contains(p, "99000001") && strings.Contains(p, "discharge") }
	index := flip(func(p string) bool { return strings.Contains(p, "/index/") && wend(p) })
	part := flip(func(p string) bool { return strings.HasSuffix(p, ".parquet") && strings.Contains(p, "99000002") })
	if code, out, errs := call(t, demo.Issue, "forecast", "--river", "little-ash", "--members", "20", "--config", path); code != 0 {
		t.Errorf("another river: %d %s%s", code, out, errs)
	}
	if out := ok("caution", "wend"); !strings.Contains(out, "unknown") {
		t.Errorf("without its flow the caution is known:\n%s", out)
	}
	out := ok("series", "repair")
	for _, f := range []string{index, part} {
		if !strings.Contains(out, f) {
			t.Errorf("%s is not named:\n%s", f, out)
		}
		aside := filepath.Join(dir, "series", "damaged", strings.TrimPrefix(f, filepath.Join(dir, "series")))
		if _, err := os.Stat(aside); err != nil {
			t.Error(err)
		}
	}
	ok("series", "verify")
	if after := ok("forecast", "--format", "csv", "--members", "20"); after != before {
		t.Error("the forecast differs after the repair")
	}
	if out := ok("series", "repair"); !strings.Contains(out, "nothing is damaged") {
		t.Errorf("a second time: %s", out)
	}
}
