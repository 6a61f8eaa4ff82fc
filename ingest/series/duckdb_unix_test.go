//go:build unix

package series

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"syscall"
	"testing"
)

// BenchmarkBesideDuckDB: thirty years of 15-minute temperature and flow, 2.1 million
// values, written and read with all columns, by us in a folder and by DuckDB with one
// thread, in processor time of the same run. It runs only where ECLOSE_NODE names a
// folder with DuckDB (.ci/others makes one).
func BenchmarkBesideDuckDB(b *testing.B) {
	modules := os.Getenv("ECLOSE_NODE")
	if modules == "" {
		b.Skip("ECLOSE_NODE is not set: DuckDB is not asked")
	}
	all := twoVariables(1990, 30)
	values := 0
	for i := range all {
		values += all[i].Len()
	}
	var put, read, theirPut, theirRead, theirOurs, theirKeep float64
	rounds := 0.0
	for b.Loop() {
		rounds++
		folder := b.TempDir()
		s := mustOpen(b, "file://"+folder)
		before := processor(b)
		if _, err := s.PutAll(b.Context(), all, day(2026, 1, 1)); err != nil {
			b.Fatal(err)
		}
		put += processor(b) - before
		before = processor(b)
		for i := range all {
			if got, err := s.Read(b.Context(), all[i].Key, Query{}); err != nil || got.Len() != all[i].Len() {
				b.Fatal(got.Len(), err)
			}
		}
		read += processor(b) - before
		dir, bytes := b.TempDir(), 0
		err := filepath.WalkDir(filepath.Join(folder, dataFolder), func(path string, e fs.DirEntry, err error) error {
			if err != nil || e.IsDir() {
				return err
			}
			data, err := os.ReadFile(path)
			bytes += len(data)
			return errors.Join(err, os.WriteFile(filepath.Join(dir, fmt.Sprintf("%d-%s", bytes, e.Name())), data, 0o600))
		})
		if err != nil {
			b.Fatal(err)
		}
		out, err := exec.CommandContext(b.Context(), "node", "testdata/duckdb.mjs", modules, dir).Output()
		if err != nil {
			b.Fatalf("node: %v", err)
		}
		var duck struct {
			Write, Read float64
			ReadOurs    float64 `json:"read_ours"`
			KeepOurs    float64 `json:"keep_ours"`
			Rows, Bytes int
			Same        bool
		}
		if err := json.Unmarshal(out, &duck); err != nil || duck.Rows != values || !duck.Same {
			b.Fatalf("DuckDB saw %+v, %d values were written: %v", duck, values, err)
		}
		theirPut, theirRead, theirOurs, theirKeep = theirPut+duck.Write, theirRead+duck.Read, theirOurs+duck.ReadOurs, theirKeep+duck.KeepOurs
		b.ReportMetric(float64(bytes)/float64(values), "B/value")
		b.ReportMetric(float64(duck.Bytes)/float64(values), "duckdb-B/value")
	}
	for unit, s := range map[string]float64{"put-cpu-s": put, "read-cpu-s": read, "duckdb-write-cpu-s": theirPut, "duckdb-read-cpu-s": theirRead, "duckdb-sums-ours-cpu-s": theirOurs, "duckdb-keeps-ours-cpu-s": theirKeep} {
		b.ReportMetric(s/rounds, unit)
	}
	b.ReportMetric(put/theirPut, "put/duckdb")
	b.ReportMetric(read/theirOurs, "read/duckdb-sums")
	b.ReportMetric(read/theirKeep, "read/duckdb-table")
}

// processor is the processor time used so far, s.
func processor(b *testing.B) float64 {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return float64(u.Utime.Nano()+u.Stime.Nano()) / 1e9
}
