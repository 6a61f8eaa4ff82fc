package csvfile

import (
	"testing"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/replay"
)

// The recorded tables of other feeds are seeds too: people will save those and
// hope that they are read.
func FuzzParse(f *testing.F) {
	for _, b := range replay.Seeds(f, 32<<10, "usgs-legacy-rdb", "ca-eccc", "uk-ea-flood") {
		f.Add(b)
	}
	f.Add([]byte("time,t\n2026-10-25 01:30,9\n2026-10-25 01:00,9\n2026-10-25 01:30,\n"))
	f.Add([]byte("\xef\xbb\xbf# logger\ntime;t\n31/12/25 23:00;50,0\n"))
	f.Add([]byte("time,water_temperature (°F)\n2026-05-01T00:00Z,50\n"))
	parsers := []Parser{
		{},
		{Columns: water, Zone: "Europe/London", Missing: []string{"-9999"}},
		{Columns: []Column{{Name: "#2", Variable: ingest.WaterTemperature, Unit: "°F", Qualifier: "Note"}}, Layout: "02/01/06 15:04", Zone: "Australia/Lord_Howe", TwoDigitYearsFrom: 1950, DecimalComma: true, SkipLines: 1},
		{Columns: []Column{{Name: "#2", Variable: ingest.Discharge, Unit: "ft3/s", Period: ingest.Daily}}, Layout: "unix"},
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, p := range parsers {
			replay.KeepsTheRules(t, p, b)
		}
	})
}
