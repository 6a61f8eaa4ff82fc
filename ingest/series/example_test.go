package series_test

import (
	"context"
	"fmt"
	"os"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
)

// A revised reading replaces the first one, which can still be read as of the
// day before.
func Example() {
	ctx := context.Background()
	folder, err := os.MkdirTemp("", "series")
	if err != nil {
		panic(err)
	}
	defer os.RemoveAll(folder)
	store, err := series.Open(ctx, folder)
	if err != nil {
		panic(err)
	}
	defer store.Close()
	key := ingest.Key{Feed: "example", Site: "wend", Variable: ingest.WaterTemperature, Statistic: ingest.Instant}
	noon := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	for day, value := range []float64{11.5, 12} {
		s := ingest.Series{Key: key, SourceUnit: "°C", Time: []int64{noon.UnixMicro()}, Value: []float64{value}}
		if _, err := store.PutAll(ctx, []ingest.Series{s}, noon.AddDate(0, 0, day)); err != nil {
			panic(err)
		}
	}
	for _, asOf := range []time.Time{noon.AddDate(0, 0, 1), noon} {
		s, err := store.Read(ctx, key, series.Query{AsOf: asOf})
		if err != nil {
			panic(err)
		}
		fmt.Printf("as of %s: %v °C\n", asOf.Format(time.DateOnly), s.Value)
	}
	// Output:
	// as of 2026-05-02: [12] °C
	// as of 2026-05-01: [11.5] °C
}
