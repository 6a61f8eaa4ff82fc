package openmeteo

import (
	"testing"

	"example.org/eclose/ingest/feed/replay"
)

func FuzzParse(f *testing.F) {
	for _, b := range replay.Seeds(f, 64<<10, "open-meteo") {
		f.Add(b)
	}
	f.Add([]byte(`[{"latitude":1,"longitude":2,"utc_offset_seconds":34200,"hourly_units":{"time":"unixtime","temperature_2m_member01":"°F"},"hourly":{"time":[1777593600],"temperature_2m_member01":[50]}}]`))
	f.Fuzz(func(t *testing.T, b []byte) { replay.KeepsTheRules(t, Parser{}, b) })
}
