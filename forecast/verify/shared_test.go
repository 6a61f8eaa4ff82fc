package verify

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// shared finds a file of the check data beside the repository. Without it the
// test is skipped, and says so; in CI that is a failure.
func shared(t *testing.T, name string) []byte {
	t.Helper()
	base := os.Getenv("ECLOSE_SHARED")
	if base == "" {
		base = filepath.Join(repoRoot(t), "..", "shared")
	}
	path := filepath.Join(base, "checks", "verification", name)
	b, err := os.ReadFile(path)
	if err != nil {
		if os.Getenv("ECLOSE_CI") == "1" {
			t.Fatalf("check data missing: %v", err)
		}
		t.Skipf("check data absent (set ECLOSE_SHARED): %v", err)
	}
	return b
}

func repoRoot(t *testing.T) string {
	t.Helper()
	dir, err := os.Getwd()
	if err != nil {
		t.Fatal(err)
	}
	for {
		if _, err := os.Stat(filepath.Join(dir, "go.mod")); err == nil {
			return dir
		}
		up := filepath.Dir(dir)
		if up == dir {
			t.Fatal("no go.mod above the test")
		}
		dir = up
	}
}

func sharedJSON(t *testing.T, name string, into any) {
	t.Helper()
	if err := json.Unmarshal(shared(t, name), into); err != nil {
		t.Fatalf("%s: %v", name, err)
	}
}

// table is a CSV file by column name.
type table struct {
	column map[string]int
	rows   [][]string
}

func sharedCSV(t *testing.T, name string) table {
	t.Helper()
	return readCSV(t, name, shared(t, name))
}

func readCSV(t *testing.T, name string, b []byte) table {
	t.Helper()
	r := csv.NewReader(bytes.NewReader(b))
	r.Comment = '#'
	rows, err := r.ReadAll()
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	tb := table{map[string]int{}, rows[1:]}
	for i, c := range rows[0] {
		tb.column[c] = i
	}
	return tb
}

// num is a cell, NaN when empty or NA.
func (tb table) num(t *testing.T, row int, column string) float64 {
	t.Helper()
	i, ok := tb.column[column]
	if !ok {
		t.Fatalf("no column %q", column)
	}
	s := tb.rows[row][i]
	if s == "" || s == "NA" {
		return math.NaN()
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatalf("row %d, column %s: %v", row, column, err)
	}
	return v
}

// near fails unless got is within tol of want, absolutely or relative to a
// want above 1.
func near(t *testing.T, what string, got, want, tol float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > tol*math.Max(1, math.Abs(want)) {
		t.Errorf("%s = %.12g, want %.12g (off by %.3g)", what, got, want, got-want)
	}
}
