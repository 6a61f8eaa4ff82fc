package feed_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/usgs"
	"example.org/eclose/ingest/series"
)

// year is an invented year of quarter hours of temperature and flow, 70,080
// values, written by row.
func year(open, between, closing string, row func(b *bytes.Buffer, code string, at time.Time, v float64)) []byte {
	var b bytes.Buffer
	b.WriteString(open)
	for i, code := range []string{"00010", "00060"} {
		if i > 0 {
			b.WriteString(between)
		}
		for j := range 35040 {
			if j > 0 {
				b.WriteByte(',')
			}
			row(&b, code, time.Date(2025, 1, 1, 0, 15*j, 0, 0, time.UTC), 100*float64(i)+float64(j%173)/10)
		}
	}
	b.WriteString(closing)
	return b.Bytes()
}

func ogc() []byte {
	return year(`{"type":"FeatureCollection","features":[`, `,`, `],"links":[]}`, func(b *bytes.Buffer, code string, at time.Time, v float64) {
		unit := map[string]string{"00010": "degC", "00060": "ft^3/s"}[code]
		fmt.Fprintf(b, `{"type":"Feature","properties":{"time_series_id":"%032s","monitoring_location_id":"USGS-99000001","parameter_code":%q,"statistic_id":"00011","time":%q,"value":"%.1f","unit_of_measure":%q,"approval_status":"Provisional","qualifier":null},"id":"%s-%d","geometry":null}`,
			code, code, at.Format("2006-01-02T15:04:05+00:00"), v, unit, code, at.Unix())
	})
}

// BenchmarkYearFromJSONToParquet takes a year of quarter hours of temperature
// and flow from the bytes of an answer to Parquet files synced on the disk.
// Beside it, in the same run, the standard library decodes the same bytes into
// maps and stops there.
func BenchmarkYearFromJSONToParquet(b *testing.B) {
	at := time.Date(2026, 1, 2, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		name   string
		in     []byte
		parser ingest.Parser
	}{{"OGC", ogc(), usgs.Parser{}}} {
		b.Run(c.name+"/parse and store", func(b *testing.B) {
			b.SetBytes(int64(len(c.in)))
			b.ReportAllocs()
			for b.Loop() {
				got, err := c.parser.Parse(bytes.NewReader(c.in))
				if err != nil {
					b.Fatal(err)
				}
				s, err := series.Open(b.Context(), b.TempDir())
				if err != nil {
					b.Fatal(err)
				}
				change, err := s.PutAll(b.Context(), got, at)
				if err != nil || change.Added != 70080 {
					b.Fatal(change, err)
				}
				if err := s.Close(); err != nil {
					b.Fatal(err)
				}
			}
		})
		b.Run(c.name+"/encoding-json into maps", func(b *testing.B) {
			b.SetBytes(int64(len(c.in)))
			b.ReportAllocs()
			for b.Loop() {
				var v map[string]any
				if err := json.Unmarshal(c.in, &v); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
