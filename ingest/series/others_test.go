package series

import (
	"encoding/json"
	"errors"
	"math"
	"os"
	"os/exec"
	"strconv"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"example.org/eclose/ingest"
)

// TestOtherProgramsReadTheFiles hands the files of a store to DuckDB and Polars, which
// must see each row with all columns. It runs only where ECLOSE_NODE names a folder
// that holds both (.ci/others makes one).
func TestOtherProgramsReadTheFiles(t *testing.T) {
	modules := os.Getenv("ECLOSE_NODE")
	if modules == "" {
		if os.Getenv("ECLOSE_CI") != "" {
			t.Fatal("ECLOSE_NODE is not set")
		}
		t.Skip("ECLOSE_NODE is not set: DuckDB and Polars are not asked")
	}
	folder := t.TempDir()
	s := mustOpen(t, "file://"+folder)
	one := quarterHours(ingest.Discharge, 2024, 2)
	one.Qualifier, one.FlagTest = make([]string, one.Len()), make([]string, one.Len())
	for i := range one.Time {
		switch {
		case i%700 < 40:
			one.Value[i] = math.NaN()
		case i%50 == 3:
			one.Flag[i], one.FlagTest[i] = ingest.Suspect, []string{"spike", "rate of change"}[i%2]
		}
		if i%900 > 600 {
			one.Qualifier[i], one.Approval[i] = "e;\"x\",\né"+strconv.Itoa(i/900), ingest.Approved
		}
	}
	mustPut(t, s, one, day(2026, 1, 1))
	again := regular(one.Key, day(2025, 3, 1), 15*time.Minute, make([]float64, 300)...)
	mustPut(t, s, again, day(2026, 1, 2).Add(time.Microsecond))
	lone := quarterHours(ingest.AirTemperature, 2025, 1)
	lone.Statistic, lone.Period = ingest.Mean, ingest.Daily
	lone.Time, lone.Value, lone.Flag, lone.Approval = []int64{day(2025, 1, 1).UnixMicro()}, []float64{math.NaN()}, nil, nil
	mustPut(t, s, lone, day(2026, 1, 1))
	members := ensemble(day(2026, 1, 1), 700, 40, 1)
	if _, err := s.PutAll(t.Context(), members, day(2026, 1, 1)); err != nil {
		t.Fatal(err)
	}
	from := day(2025, 6, 1).UnixMicro()
	for _, group := range [][]ingest.Series{{one}, {lone}, members} {
		path := bundleOf(group[0].Key).path()
		out, err := exec.CommandContext(t.Context(), "node", "testdata/open.mjs", modules, folder, path, strconv.FormatInt(from, 10)).Output()
		if err != nil {
			exit := new(exec.ExitError)
			errors.As(err, &exit)
			t.Fatalf("node: %v\n%s", err, exit.Stderr)
		}
		var got struct {
			Rows, Polars [][]any
			Since        int
		}
		if err := json.Unmarshal(out, &got); err != nil {
			t.Fatal(err)
		}
		var want [][]any
		since := 0
		for i := range group {
			read := mustRead(t, s, group[i].Key, Query{})
			for k, at := range read.Time {
				var value any
				if !math.IsNaN(read.Value[k]) {
					value = read.Value[k]
				}
				want = append(want, []any{float64(read.Member), strconv.FormatInt(at, 10), value, read.Qualifier[k], float64(read.Approval[k]),
					float64(read.Flag[k]), read.FlagTest[k], strconv.FormatInt(read.Retrieved[k], 10)})
				if at >= from {
					since++
				}
			}
		}
		for who, rows := range map[string][][]any{"DuckDB": got.Rows, "Polars": got.Polars} {
			if diff := cmp.Diff(want, rows); diff != "" {
				t.Errorf("%s sees other rows in %s: %.2000s", who, path, diff)
			}
		}
		if got.Since != since {
			t.Errorf("DuckDB finds %d rows of %s since a time, %d are there", got.Since, path, since)
		}
	}
}
