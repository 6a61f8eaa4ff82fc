package flight

import (
	"math"
	"math/rand/v2"
	"testing"
)

// Records from all over a region, a few degrees and some hundred metres apart,
// give the window of its middle, and by how much the season is later to the north
// and uphill. Taken as of one place they give a season that is too long.
func TestLatitudeAndHeightAreFitted(t *testing.T) {
	rng := rand.New(rand.NewPCG(16, 9))
	const regions, north, up = 12, 2.0, 4.5 // days a degree and a hundred metres
	var off, offBlind, slopeNorth, slopeUp float64
	held, of := 0, 0
	for range regions {
		r := invent(rng)
		r.mode = 110 + 70*rng.Float64() // rules of spring
		r.book.Median, r.book.Start, r.book.End = r.quantile(0.5), r.quantile(0.05), r.quantile(0.95)
		r.book.PerDegree, r.book.Per100M = 4, 3.3
		records, effort := r.observe(rng, 400)
		for i := range records {
			x := &records[i]
			x.North, x.Up = 1+1.5*rng.NormFloat64(), 2+3*rng.NormFloat64()
			x.Day = min(max(x.Day+int(math.Round(north*x.North+up*x.Up)), 1), Year)
		}
		w := Fit(records, effort, r.book)
		blind := make([]Record, len(records))
		for i, x := range records {
			blind[i] = Record{Day: x.Day, Year: x.Year}
		}
		b := Fit(blind, effort, r.book)
		for _, x := range []struct{ truth, got, blind float64 }{
			{r.quantile(0.05), w.Start.Mid, b.Start.Mid}, {r.quantile(0.5), w.Median.Mid, b.Median.Mid}, {r.quantile(0.95), w.End.Mid, b.End.Mid},
		} {
			off += (x.got - x.truth) * (x.got - x.truth) / (3 * regions)
			offBlind += (x.blind - x.truth) * (x.blind - x.truth) / (3 * regions)
		}
		slopeNorth, slopeUp = slopeNorth+w.PerDegree.Days/regions, slopeUp+w.Per100M.Days/regions
		for _, s := range []struct {
			slope Slope
			truth float64
		}{{w.PerDegree, north}, {w.Per100M, up}} {
			if of++; math.Abs(s.slope.Days-s.truth) < 2*s.slope.SDDays {
				held++
			}
		}
	}
	t.Logf("RMS error %.1f days, as of one place %.1f; slopes %.1f and %.1f days, %d of %d within two standard deviations", math.Sqrt(off), math.Sqrt(offBlind), slopeNorth, slopeUp, held, of)
	if math.Sqrt(off) > 4 || off > offBlind/2 || math.Abs(slopeNorth-north) > 0.6 || math.Abs(slopeUp-up) > 0.6 || held < of*8/10 {
		t.Error("latitude and height are not found")
	}
}

// BenchmarkFitOfManyPlaces is a window of 400 records made here and there.
func BenchmarkFitOfManyPlaces(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	r := invent(rng)
	records, effort := r.observe(rng, 400)
	for i := range records {
		records[i].North = rng.NormFloat64()
	}
	for b.Loop() {
		Fit(records, effort, r.book)
	}
}
