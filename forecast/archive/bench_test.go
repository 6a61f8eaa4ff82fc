package archive

import (
	"encoding/json"
	"math"
	"testing"

	"github.com/klauspost/compress/zstd"

	"example.org/eclose/forecast"
)

// BenchmarkRead reads an outlook of ninety stages and 424 days back; beside it
// the same as versions before the columns kept it, JSON packed by zstd.
func BenchmarkRead(b *testing.B) {
	o := example()
	day := forecast.DateOf(o.IssuedAt)
	stage := o.Stages[0]
	o.Stages = nil
	for n := range 90 {
		days := make([]forecast.Day, 424)
		for i := range days {
			p := math.Exp(-math.Pow(float64(i-4*n)/20, 2))
			days[i] = forecast.Day{Date: day + forecast.Date(i), P: p, PCalendar: p * 0.9, Activity: [3]float64{p / 60, p / 40, p / 30}, Calendar: p / 45}
		}
		stage.Days = forecast.DaysOf(days)
		o.Stages = append(o.Stages, stage)
	}
	content, err := unpacked(o)
	if err != nil {
		b.Fatal(err)
	}
	file, err := pack(content)
	if err != nil {
		b.Fatal(err)
	}
	text, err := json.Marshal(o)
	if err != nil {
		b.Fatal(err)
	}
	z, err := zstd.NewWriter(nil)
	if err != nil {
		b.Fatal(err)
	}
	old := z.EncodeAll(text, nil)
	for _, x := range []struct {
		name string
		file []byte
	}{{"a.outlook.gz", file}, {"a.json.zst", old}} {
		b.Run(x.name, func(b *testing.B) {
			b.ReportMetric(float64(len(x.file)), "bytes")
			for b.Loop() {
				content, read, err := contentOf(x.name, x.file)
				if err != nil {
					b.Fatal(err)
				}
				if _, err := read(content); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
