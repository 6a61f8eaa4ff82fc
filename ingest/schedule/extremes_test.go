package schedule_test

import (
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed"
	"example.org/eclose/ingest/feed/csvfile"
	"example.org/eclose/ingest/feed/replay"
	"example.org/eclose/ingest/qc"
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
)

// TestApprovedDaysThatContradictThemselvesFail reads recorded files of daily
// values. How many days have a minimum above their maximum was counted in the
// raw files by a script apart from our parsers.
func TestApprovedDaysThatContradictThemselvesFail(t *testing.T) {
	for _, c := range []struct {
		file, layout, high, low, unit string
		want                          int
	}{
		{"deschutes-culver-14076500-1952-1967-fahrenheit.rdb", "", "218322_00011_00001", "218323_00011_00002", "°F", 2},
		{"deschutes-madras-14092500-1952-2020.tsv", "1/2/06", "113433_00010_00001", "113434_00010_00002", "°C", 3},
	} {
		t.Run(c.file, func(t *testing.T) {
			path := replay.Shared(t, "feeds", "usgs-series", c.file)
			store, err := series.Open(t.Context(), t.TempDir())
			if err != nil {
				t.Fatal(err)
			}
			defer store.Close()
			now := time.Date(2021, 1, 1, 0, 0, 0, 0, time.UTC)
			clock := func() time.Time { return now }
			in := schedule.Intake{Store: store, Now: clock, Backfill: 80 * 8766 * time.Hour, Overlap: 24 * time.Hour}
			column := func(name string, statistic ingest.Statistic) csvfile.Column {
				return csvfile.Column{Name: name, Variable: ingest.WaterTemperature, Unit: c.unit, Statistic: statistic, Period: ingest.Daily}
			}
			table := csvfile.Parser{Site: "deschutes", TimeColumn: "datetime", Layout: c.layout, TwoDigitYearsFrom: 1930, Columns: []csvfile.Column{column(c.high, ingest.Max), column(c.low, ingest.Min)}}
			out, err := in.Run(t.Context(), []schedule.RiverTasks{{Name: "deschutes", Tasks: []schedule.Task{{Source: feed.Saved{Parser: table, Path: path, Now: clock},
				Request: ingest.Request{Site: "deschutes", Period: ingest.Daily, Variables: []ingest.Variable{ingest.WaterTemperature}}}}}})
			if err != nil || len(out) != 1 || out[0].Err != nil {
				t.Fatalf("%+v, %v", out, err)
			}
			keys, err := store.Keys(t.Context())
			if err != nil {
				t.Fatal(err)
			}
			got := map[ingest.Statistic]int{}
			for _, k := range keys {
				s, err := store.Read(t.Context(), k, series.Query{})
				if err != nil {
					t.Fatal(err)
				}
				for i, test := range s.FlagTest {
					if test == qc.TestExtremes && s.Flag[i] == ingest.Fail {
						got[k.Statistic]++
					}
				}
			}
			if got[ingest.Min] != c.want || got[ingest.Max] != c.want {
				t.Errorf("failed %v, want %d minima and maxima", got, c.want)
			}
		})
	}
}
