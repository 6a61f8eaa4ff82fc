package schedule_test

import (
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed"
	"example.org/eclose/ingest/feed/replay"
	"example.org/eclose/ingest/feed/usgslegacy"
	"example.org/eclose/ingest/qc"
	"example.org/eclose/ingest/schedule"
	"example.org/eclose/ingest/series"
)

// TestApprovedDaysThatContradictThemselvesFail reads recorded files of daily
// values. How many days have a minimum above their maximum was counted in the
// raw files by a script apart from our parsers.
func TestApprovedDaysThatContradictThemselvesFail(t *testing.T) {
	for _, c := range []struct {
		file, site string
		want       int
	}{
		{"deschutes-culver-14076500-1952-1967-fahrenheit.rdb", "USGS-14076500", 2},
		{"deschutes-madras-14092500-1952-2020.tsv", "USGS-14092500", 3},
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
			out, err := in.Run(t.Context(), []schedule.RiverTasks{{Name: "deschutes", Tasks: []schedule.Task{{Source: feed.Saved{Parser: usgslegacy.Parser{TwoDigitYearsFrom: 1930}, Path: path, Now: clock},
				Request: ingest.Request{Site: c.site, Period: ingest.Daily, Variables: []ingest.Variable{ingest.WaterTemperature}}}}}})
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
			if got[ingest.Min] != c.want || got[ingest.Max] != c.want || got[ingest.Mean] != 0 {
				t.Errorf("failed %v, want %d minima and maxima", got, c.want)
			}
		})
	}
}
