package usgslegacy

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"
)

// aYear is an invented year of quarter hours of temperature and flow, 70,080
// values, as compact as the legacy service writes it.
func aYear() []byte {
	var list [2]string
	for i, code := range []string{"00010", "00060"} {
		var b strings.Builder
		at := time.Date(2019, 1, 1, 0, 0, 0, 0, time.FixedZone("", -8*3600))
		for j := range 35040 {
			if j > 0 {
				b.WriteByte(',')
			}
			b.WriteString(point(at.Format("2006-01-02T15:04:05.000-07:00"), fmt.Sprintf("%.1f", 100*float64(i)+float64(j%173)/10), "A"))
			at = at.Add(15 * time.Minute)
		}
		s := waterML(code, []string{"deg C", "ft3/s"}[i], "00000", "-999999.0", b.String())
		start := strings.Index(s, `"timeSeries":[`) + len(`"timeSeries":[`)
		list[i] = s[start : len(s)-len(`]}}`)]
	}
	return []byte(`{"name":"x","value":{"queryInfo":{},"timeSeries":[` + list[0] + "," + list[1] + `]}}`)
}

// BenchmarkWaterMLJSON reads a year of quarter hours to checked series; beside
// it, in the same run, the standard library decodes the same bytes into maps
// and stops there.
func BenchmarkWaterMLJSON(b *testing.B) {
	in := aYear()
	b.Run("to series", func(b *testing.B) {
		b.SetBytes(int64(len(in)))
		b.ReportAllocs()
		for b.Loop() {
			got, err := Parser{}.Parse(bytes.NewReader(in))
			if err != nil || len(got) != 2 || got[0].Len()+got[1].Len() != 70080 {
				b.Fatal(len(got), err)
			}
		}
	})
	b.Run("encoding-json into maps", func(b *testing.B) {
		b.SetBytes(int64(len(in)))
		b.ReportAllocs()
		for b.Loop() {
			var v map[string]any
			if err := json.Unmarshal(in, &v); err != nil {
				b.Fatal(err)
			}
		}
	})
}
