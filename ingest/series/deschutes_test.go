package series

import (
	"bufio"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
)

// deschutes reads the daily series of one recorded file of the USGS daily
// values service (RDB, or the same rewritten by a spreadsheet): temperature
// maximum, minimum, mean and mean flow of the Deschutes River, Oregon. Days
// without a value are left out, as the service does today.
func deschutes(t testing.TB, file string) []ingest.Series {
	t.Helper()
	f, err := os.Open(filepath.Join(sharedFolder(t), "feeds", "usgs-series", file))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	columnName := regexp.MustCompile(`^(\d+)_(000(?:10|60))_0000([123])$`)
	statistic := map[string]ingest.Statistic{"1": ingest.Max, "2": ingest.Min, "3": ingest.Mean}
	cfs, err := ingest.ConversionOf(ingest.Discharge, "ft3/s")
	if err != nil {
		t.Fatal(err)
	}
	var all []*ingest.Series
	var columns []int
	lines := bufio.NewScanner(f)
	for lines.Scan() {
		field := strings.Split(lines.Text(), "\t")
		switch {
		case strings.HasPrefix(lines.Text(), "#"), strings.HasPrefix(field[0], "5s"):
			continue
		case field[0] == "agency_cd":
			for i, name := range field {
				m := columnName.FindStringSubmatch(name)
				if m == nil {
					continue
				}
				s := &ingest.Series{Key: ingest.Key{Feed: "usgs", Variable: ingest.WaterTemperature, Statistic: statistic[m[3]], Period: ingest.Daily, TimeSeries: m[1]}, SourceUnit: "degC"}
				if m[2] == "00060" {
					s.Variable, s.SourceUnit = ingest.Discharge, "ft3/s"
				}
				all, columns = append(all, s), append(columns, i)
			}
			continue
		}
		at, err := time.Parse("2006-01-02", field[2])
		if err != nil {
			if at, err = time.Parse("1/2/06", field[2]); err != nil {
				t.Fatal(err)
			}
			if at.Year() > 2020 { // the spreadsheet kept two digits of the year
				at = at.AddDate(-100, 0, 0)
			}
		}
		for k, i := range columns {
			if field[i] == "" {
				continue
			}
			v, err := strconv.ParseFloat(field[i], 64)
			if err != nil {
				continue // an ice code or the like
			}
			s := all[k]
			s.Site = field[1]
			if s.Variable == ingest.Discharge {
				v = cfs.Apply(v)
			}
			approval := ingest.Provisional
			if strings.HasPrefix(field[i+1], "A") {
				approval = ingest.Approved
			}
			s.Time, s.Value = append(s.Time, at.UnixMicro()), append(s.Value, v)
			s.Approval, s.Qualifier = append(s.Approval, approval), append(s.Qualifier, strings.TrimPrefix(strings.TrimLeft(field[i+1], "AP"), ":"))
		}
	}
	if err := lines.Err(); err != nil {
		t.Fatal(err)
	}
	out := make([]ingest.Series, len(all))
	for i, s := range all {
		out[i] = *s
	}
	return out
}

// sharedFolder is where the recorded files lie; without them a test is
// skipped, except in CI.
func sharedFolder(t testing.TB) string {
	t.Helper()
	folder := os.Getenv("ECLOSE_SHARED")
	if folder == "" {
		root, err := os.Getwd()
		if err != nil {
			t.Fatal(err)
		}
		for {
			if _, err := os.Stat(filepath.Join(root, "go.mod")); err == nil {
				break
			}
			root = filepath.Dir(root)
		}
		folder = filepath.Join(root, "..", "shared")
	}
	if _, err := os.Stat(folder); err != nil {
		skip(t, "the recorded files are not there: "+err.Error())
	}
	return folder
}

// skip skips a test that cannot run here, which in CI is a failure.
func skip(t testing.TB, why string) {
	t.Helper()
	if os.Getenv("ECLOSE_CI") == "1" {
		t.Fatal(why)
	}
	t.Skip(why)
}

// Bytes on the disk for each value, all columns and the index counted: the
// bound of three bytes is our own requirement.
func TestSixtyYearsOfARealRiverTakeAtMostThreeBytesAValue(t *testing.T) {
	for _, file := range []string{"deschutes-culver-14076500-1967-2020.rdb", "deschutes-madras-14092500-1952-2020.tsv"} {
		t.Run(file, func(t *testing.T) {
			s := mustOpen(t, "file://"+t.TempDir())
			all := deschutes(t, file)
			if _, err := s.PutAll(t.Context(), all, day(2020, 8, 18)); err != nil {
				t.Fatal(err)
			}
			var total Info
			for _, one := range all {
				i, err := s.Info(t.Context(), one.Key)
				if err != nil {
					t.Fatal(err)
				}
				if i.Count != one.Len() {
					t.Errorf("%s: %d readings stored, %d in the file", one.Key, i.Count, one.Len())
				}
				t.Logf("%s: %d values, %.2f bytes each", one.Key, i.Count, float64(i.Bytes)/float64(i.Count))
				total.Count += i.Count
				total.Bytes += i.Bytes
			}
			each := float64(total.Bytes) / float64(total.Count)
			t.Logf("all: %d values, %.2f bytes each", total.Count, each)
			if each > 3 {
				t.Errorf("%.2f bytes a value, more than 3", each)
			}
		})
	}
}
