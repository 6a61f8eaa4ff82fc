package sensorthings

import (
	"bytes"
	"testing"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/replay"
)

func FuzzThings(f *testing.F) {
	f.Add([]byte(replay.Lists["sensorthings"][0].Body))
	f.Fuzz(func(t *testing.T, b []byte) {
		a, _, err := readAnswer(bytes.NewReader(b))
		var list []ingest.Gauge
		if err == nil && a.Value != nil {
			list, err = readThings(*a.Value)
		}
		replay.KeepsTheRulesOfLists(t, list, err)
	})
}
