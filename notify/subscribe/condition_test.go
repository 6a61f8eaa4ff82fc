package subscribe

import (
	"strings"
	"testing"

	"example.org/eclose/model/wading"
)

func TestConditionsAreReadAsPeopleWriteThem(t *testing.T) {
	for _, c := range []struct{ text, kept, words, fault string }{
		{"flow < 600 cfs", "read flow < 16.99010796 m3/s", "flow at or below 600 cfs (17.0 m³/s)", ""},
		{"forecast flow below 17 m3/s", "forecast flow < 17 m3/s", "forecast flow at or below 600 cfs (17.0 m³/s)", ""},
		{"height > 2 ft", "read height > 0.6096 m", "gauge height at or above 2.0 ft (0.61 m)", ""},
		{"forecast water >= 54 °F", "forecast water > 12.22222222 °C", "forecast water temperature at or above 54 °F (12.2 °C)", ""},
		{"read discharge<=600cfs", "read flow < 16.99010796 m3/s", "flow at or below 600 cfs (17.0 m³/s)", ""},
		{"flow < 600", "", "", "a number and a unit"},
		{"flow < 600 ft", "", "", "unit"},
		{"flow = 600 cfs", "", "", "< or >"},
		{"forecast height < 2 ft", "", "", "no forecast of height"},
		{"wind < 2 m/s", "", "", "unknown"},
		{"flow < 0 cfs", "", "", "out of range"},
		{"flow < 600 cfs\r\nBcc: x@example.org", "", "", "write it like"},
	} {
		got, err := ParseCondition(c.text)
		if c.fault != "" {
			if err == nil || !strings.Contains(err.Error(), c.fault) || strings.ContainsAny(err.Error(), "\r\n") {
				t.Errorf("%q: %v, want %q", c.text, err, c.fault)
			}
			continue
		}
		if err != nil || got.String() != c.kept || got.Words(wading.US) != c.words {
			t.Errorf("%q: %q, %q, %v; want %q, %q", c.text, got.String(), got.Words(wading.US), err, c.kept, c.words)
		}
		if again, err := ParseCondition(got.String()); err != nil || again.String() != got.String() {
			t.Errorf("%q is kept as %q, which is read as %q, %v", c.text, got.String(), again.String(), err)
		}
	}
}
