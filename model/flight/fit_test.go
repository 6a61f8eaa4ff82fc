package flight

import (
	"math"
	"math/rand/v2"
	"os"
	"testing"
)

// region is one invented region: its true season, a book that is off, and ten
// years of observers who are a fifth more each year, twice and a half as many at
// weekends, and out in summer more than in spring. Three records in a hundred
// are of another insect, and places moved on purpose blur the day a little.
type region struct {
	mode, left, right float64
	book              Book
}

func invent(rng *rand.Rand) region {
	r := region{mode: 120 + 120*rng.Float64(), left: 8 + 14*rng.Float64()}
	r.right = r.left * (0.7 + 0.9*rng.Float64())
	off := 8 * rng.NormFloat64()
	r.book = Book{Median: r.quantile(0.5) + off, MedianSD: 12}
	r.book.Start, r.book.End = r.book.Median-z90*r.left*math.Exp(0.3*rng.NormFloat64()), r.book.Median+z90*r.right*math.Exp(0.3*rng.NormFloat64())
	return r
}

func (r region) quantile(p float64) float64 { return quantile(r.mode, r.left, r.right, p) }

func (r region) activity(d float64) float64 {
	sd := r.left
	if d > r.mode {
		sd = r.right
	}
	return math.Exp(-(d - r.mode) * (d - r.mode) / (2 * sd * sd))
}

// look is how many people look on a day of a year.
func look(year, day int) float64 {
	e := math.Pow(1.2, float64(year)) * (0.35 + math.Pow(math.Max(0, math.Sin(math.Pi*float64(day-40)/330)), 2))
	if (day+year*365+year/4)%7 < 2 {
		e *= 2.5
	}
	return e
}

// observe draws n records and the numbers of all insects that people recorded.
func (r region) observe(rng *rand.Rand, n int) (records []Record, effort Effort) {
	var all [Year]float64
	type date struct{ year, day int }
	var dates []date
	var right, other []float64
	for year := range 10 {
		for day := 1; day <= 365; day++ {
			e := look(year, day)
			dates = append(dates, date{year, day})
			right, other = append(right, e*r.activity(float64(day))), append(other, e)
			all[day-1] += float64(int(30*e + math.Sqrt(30*e)*rng.NormFloat64()))
		}
	}
	draw := func(weights []float64) date {
		sum := 0.0
		for _, w := range weights {
			sum += w
		}
		at := rng.Float64() * sum
		for i, w := range weights {
			if at -= w; at < 0 {
				return dates[i]
			}
		}
		return dates[len(dates)-1]
	}
	for range n {
		at := draw(right)
		switch {
		case rng.Float64() < 0.03:
			at = draw(other)
		case rng.Float64() < 0.1: // moved by up to 30 km, up a hill or down
			at.day += int(math.Round(1.5 * rng.NormFloat64()))
		}
		records = append(records, Record{Day: min(max(at.day, 1), 365), Year: 2010 + at.year})
	}
	for d := range all {
		all[d] = math.Max(0, all[d])
	}
	return records, EffortOf(all)
}

func TestWindowsAreRecoveredAndIntervalsHold(t *testing.T) {
	if testing.Short() {
		t.Skip("some hundred fits")
	}
	rng := rand.New(rand.NewPCG(3, 14))
	const regions = 30
	rounds := 1
	if os.Getenv("ECLOSE_LONG") != "" {
		rounds = 6 // enough to judge the intervals
	}
	square, bookSquare, held, of, replaced := 0.0, 0.0, 0, 0, 0
	for range regions * rounds {
		r := invent(rng)
		days, effort := r.observe(rng, 200)
		w := Fit(days, effort, r.book)
		if w.Replaces {
			replaced++
		}
		for _, x := range []struct {
			share float64
			got   Range
			book  float64
		}{{0.05, w.Start, r.book.Start}, {0.5, w.Median, r.book.Median}, {0.95, w.End, r.book.End}} {
			truth := r.quantile(x.share)
			square += (x.got.Mid - truth) * (x.got.Mid - truth)
			bookSquare += (x.book - truth) * (x.book - truth)
			if of++; truth >= x.got.Low && truth <= x.got.High {
				held++
			}
		}
	}
	rms, bookRMS, cover := math.Sqrt(square/float64(of)), math.Sqrt(bookSquare/float64(of)), 100*float64(held)/float64(of)
	t.Logf("%d regions of 200 records: RMS error %.1f days (book %.1f), 80%% intervals hold %.0f%%, %d replace the book", regions*rounds, rms, bookRMS, cover, replaced)
	if rms > 4 || rounds > 1 && (cover < 75 || cover > 85) {
		t.Errorf("RMS %.2f days, intervals hold %.1f%%", rms, cover)
	}
}

func TestTenRecordsKeepTheBook(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 30 {
		r := invent(rng)
		days, effort := r.observe(rng, 10)
		if w := Fit(days, effort, r.book); w.Replaces {
			t.Errorf("%d records replace the book", w.Records)
		}
	}
}

// A summer in which more people are out must not draw a spring insect into it.
func TestEffortIsTakenOut(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	naive, fitted := 0.0, 0.0
	for range 20 {
		r := invent(rng)
		r.mode, r.left, r.right = 115, 20, 20
		r.book = Book{Start: 90, Median: 125, End: 160, MedianSD: 15}
		days, effort := r.observe(rng, 400)
		sum := 0.0
		for _, d := range days {
			sum += float64(d.Day)
		}
		naive += (sum/float64(len(days)) - 115) / 20
		fitted += (Fit(days, effort, r.book).Median.Mid - 115) / 20
	}
	if math.Abs(fitted) > 1.5 || naive < 2*math.Abs(fitted)+1 {
		t.Errorf("the median lies %.1f days off, by the dates alone %.1f", fitted, naive)
	}
}

func BenchmarkFit(b *testing.B) {
	rng := rand.New(rand.NewPCG(1, 1))
	r := invent(rng)
	days, effort := r.observe(rng, 200)
	for b.Loop() {
		Fit(days, effort, r.book)
	}
}
