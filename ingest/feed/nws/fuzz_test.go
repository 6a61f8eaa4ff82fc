package nws

import (
	"testing"

	"example.org/eclose/ingest/feed/replay"
)

func FuzzParse(f *testing.F) {
	for _, b := range replay.Seeds(f, 64<<10, "nws") {
		f.Add(b)
	}
	f.Add([]byte(grid(`"quantitativePrecipitation":{"uom":"wmoUnit:mm","values":[{"validTime":"2026-05-01T06:00:00+00:00/PT6H","value":3}]}`)))
	f.Fuzz(func(t *testing.T, b []byte) { replay.KeepsTheRules(t, Parser{Site: "s"}, b) })
}
