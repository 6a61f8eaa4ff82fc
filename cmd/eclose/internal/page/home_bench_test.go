package page

import (
	"net/http"
	"testing"
	"time"

	"example.org/eclose/model/insects"
)

// BenchmarkHomePageMade is the front page of a hundred rivers with 40 groups each,
// made anew, as happens once a minute.
func BenchmarkHomePageMade(b *testing.B) {
	c, err := insects.Load()
	if err != nil {
		b.Fatal(err)
	}
	at := noon
	h, err := New(Options{Data: crowd(b, c, 100), Catalogue: c, Now: func() time.Time { return at }, PerSecond: 1e9})
	if err != nil {
		b.Fatal(err)
	}
	w := &world{handler: h}
	b.ReportAllocs()
	size := 0
	for b.Loop() {
		at = at.Add(time.Minute)
		rec := w.get("/")
		if rec.Code != http.StatusOK {
			b.Fatal(rec.Code)
		}
		size = rec.Body.Len()
	}
	b.ReportMetric(float64(size), "page-bytes")
}
