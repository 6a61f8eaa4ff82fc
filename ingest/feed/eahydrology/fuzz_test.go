package eahydrology

import (
	"bytes"
	"testing"

	"example.org/eclose/ingest/feed/replay"
)

func FuzzParse(f *testing.F) {
	for _, b := range replay.Seeds(f, 64<<10, "uk-ea-hydrology", "uk-ea-flood") {
		f.Add(b)
	}
	f.Add([]byte("dateTime,measure,value\n2020-05-02T18:15:00Z,http://x/id/measures/2432TH-level-stage-i-15_min-mASD,0.9|0.921\n"))
	f.Fuzz(func(t *testing.T, b []byte) { replay.KeepsTheRules(t, Parser{}, b) })
}

func FuzzStations(f *testing.F) {
	for _, b := range replay.Seeds(f, 64<<10, "uk-ea-flood") {
		f.Add(b)
	}
	f.Add([]byte(replay.Lists["ea"][0].Body))
	f.Fuzz(func(t *testing.T, b []byte) {
		list, _, err := readStations(bytes.NewReader(b))
		replay.KeepsTheRulesOfLists(t, list, err)
	})
}
