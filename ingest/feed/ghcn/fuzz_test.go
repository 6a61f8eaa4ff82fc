package ghcn

import (
	"testing"

	"example.org/eclose/ingest/feed/replay"
)

func FuzzParse(f *testing.F) {
	for _, b := range replay.Seeds(f, 64<<10, "ghcn") {
		f.Add(b)
	}
	f.Add([]byte(line("TMAX", 2024, 2, map[int]string{1: "  311  X", 29: "  -50 IX"}) + line("PRCP", 2024, 2, map[int]string{1: "    0T X"})))
	f.Add([]byte("USC00011084,20240201,TMAX,311,,I,7,0700\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		for _, units := range []string{"", Metric} {
			replay.KeepsTheRules(t, Parser{Units: units}, b)
		}
	})
}
