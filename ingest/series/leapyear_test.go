package series

import (
	"bytes"
	"encoding/binary"
	"testing"
	"time"
)

// ruled is a zone whose file holds a rule and no list of changes, as in the data that
// is built into the program and used in a bare container (RFC 9636).
func ruled(t *testing.T, rule string) *time.Location {
	t.Helper()
	var b bytes.Buffer
	for range 2 { // 32-bit data, then 64-bit data
		b.WriteString("TZif2")
		b.Write(make([]byte, 15))
		for _, n := range []uint32{0, 0, 0, 0, 1, 4} { // one type, four letters of names
			_ = binary.Write(&b, binary.BigEndian, n)
		}
		_ = binary.Write(&b, binary.BigEndian, int32(-8*3600))
		b.WriteString("\x00\x00PST\x00")
	}
	b.WriteString("\n" + rule + "\n")
	zone, err := time.LoadLocationFromTZData("ruled", b.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	return zone
}

// Every day of leap years too begins at midnight of a zone that goes by a rule. The
// search for it went round for ever on 30 December of leap years.
func TestDaysOfAZoneThatGoesByARuleBeginAtMidnight(t *testing.T) {
	zone := ruled(t, "PST8PDT,M3.2.0,M11.1.0")
	for day := time.Date(2019, 1, 1, 0, 0, 0, 0, zone); day.Year() < 2030; day = day.AddDate(0, 0, 1) {
		date := time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400
		if got := time.UnixMicro(firstInstant(date, zone)).In(zone); !got.Equal(day) {
			t.Fatalf("%s begins at %s", day.Format(time.DateOnly), got)
		}
	}
	if _, offset := time.Date(2024, 7, 1, 12, 0, 0, 0, zone).Zone(); offset != -7*3600 {
		t.Errorf("the rule is not followed: %d", offset)
	}
}
