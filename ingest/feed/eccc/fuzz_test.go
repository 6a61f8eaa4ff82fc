package eccc

import (
	"bytes"
	"testing"

	"example.org/eclose/ingest/feed/replay"
)

func FuzzParse(f *testing.F) {
	for _, b := range replay.Seeds(f, 64<<10, "ca-eccc") {
		f.Add(b)
	}
	f.Add([]byte(office + "05BB001,2026-07-01 00:00:00,5,11.5,,,Provisional/Provisoire,,\n"))
	f.Fuzz(func(t *testing.T, b []byte) { replay.KeepsTheRules(t, Parser{}, b) })
}

func FuzzStations(f *testing.F) {
	f.Add([]byte(replay.Lists["eccc"][0].Body))
	f.Fuzz(func(t *testing.T, b []byte) {
		list, _, err := readStations(bytes.NewReader(b))
		replay.KeepsTheRulesOfLists(t, list, err)
	})
}
