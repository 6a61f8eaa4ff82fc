package phenology

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

func taxonAt(insect, site int, doy float64) Taxon {
	return Taxon{Insect: insect, Site: site, MedianDOY: doy, MedianSD: VagueSD, ScaleDays: 10, SpreadDays: 10}
}

func season(t testing.TB, taxa []Taxon, cases []SeasonDate, sites *mat.SymDense, year int) *SeasonForecast {
	t.Helper()
	j, err := NewJoint(taxa, cases, sites)
	if err != nil {
		t.Fatal(err)
	}
	s, err := j.Season(year)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// One taxon and one past season: the conditional normal by hand.
func TestOnePastSeasonMovesTheNextAsTheNormalSays(t *testing.T) {
	taxa := []Taxon{taxonAt(0, 0, 150)}
	s := season(t, taxa, []SeasonDate{{Taxon: 0, Year: 2000, DOY: 160, Variance: 4}}, nil, 2001)
	cross := 3600 + 100*(0.5*math.Exp(-0.1)+0.05*math.Exp(-1.0/3))
	k := 3600 + 100*(0.5+0.05+0.25+0.35) + 4
	new := 3600 + 100*(0.5+0.05+0.25+0.35) + 3*12.5*12.5/200
	mean, variance := s.Taxon(0).At(0)
	if want := 150 + cross/k*10; math.Abs(mean-want) > 1e-9 {
		t.Errorf("mean %.6f, by hand %.6f", mean, want)
	}
	if want := new - cross*cross/k; math.Abs(variance-want) > 1e-9 {
		t.Errorf("variance %.6f, by hand %.6f", variance, want)
	}
}

// Slopes and levels together must be the normal that a grid of departures gives
// one by one.
func TestTheSlopeIsThatOfTheJointNormal(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	taxa := []Taxon{taxonAt(0, 0, 120), taxonAt(1, 0, 150), taxonAt(2, 0, 240)}
	var cases []SeasonDate
	for y := range 10 {
		for i := range taxa {
			x := 6 * rng.NormFloat64()
			cases = append(cases, SeasonDate{Taxon: i, Year: y, DOY: taxa[i].MedianDOY + 0.6*x + 4*rng.NormFloat64(), Variance: 2, Thermal: x})
		}
	}
	s := season(t, taxa, cases, nil, 10)
	for i := range taxa {
		d := s.Taxon(i)
		m0, _ := d.At(0)
		m1, _ := d.At(1)
		if math.Abs(m1-m0-d.Slope) > 1e-9 {
			t.Errorf("taxon %d: slope %.4f, means differ by %.4f", i, d.Slope, m1-m0)
		}
		if i < 2 && !(d.Slope > thermalWeight && d.Slope < 0.7) {
			t.Errorf("taxon %d: dates answer by 0.6, the slope went from 0.3 to %.2f", i, d.Slope)
		}
	}
}

func TestALateInsectMovesTheOthersOfItsSeasonOnly(t *testing.T) {
	taxa := []Taxon{taxonAt(0, 0, 120), taxonAt(1, 0, 150), taxonAt(2, 0, 270)}
	s := season(t, taxa, nil, nil, 2020)
	e, ok := s.Taxon(0).EvidenceOf(0, 0, 135, 9)
	if !ok {
		t.Fatal("a date known to three days tells nothing")
	}
	move := func(i int, evidence ...Evidence) float64 {
		d, err := s.Given(i, evidence)
		if err != nil {
			t.Fatal(err)
		}
		m, _ := d.At(0)
		return m - taxa[i].MedianDOY
	}
	near, far := move(1, e), move(2, e)
	if !(near > 0 && far > 0 && near > 2*far) {
		t.Errorf("fifteen days late moves the next by %.2f and the autumn one by %.2f", near, far)
	}
	if own := move(0, e); own != 0 {
		t.Errorf("evidence on the taxon itself moved it by %.2f in Given", own)
	}
	if _, ok := s.Taxon(0).EvidenceOf(0, 0, 120, 3700); ok {
		t.Error("a posterior as wide as the forecast counts as evidence")
	}
	early := e
	early.DOY = 240 - e.DOY
	if !(move(1, early) < 0) {
		t.Error("an early insect does not make the next one early")
	}
}

func TestSitesShareASeasonAsFarAsTheyAreAlike(t *testing.T) {
	var moves []float64
	for _, r := range []float64{0, 0.4, 0.8} {
		sites := mat.NewSymDense(2, []float64{1, r, r, 1})
		taxa := []Taxon{taxonAt(0, 0, 150), taxonAt(0, 1, 150)}
		taxa[0].MedianSD, taxa[1].MedianSD = 10, 10
		s := season(t, taxa, nil, sites, 2020)
		e, _ := s.Taxon(1).EvidenceOf(1, 0, 170, 9)
		d, err := s.Given(0, []Evidence{e})
		if err != nil {
			t.Fatal(err)
		}
		m, _ := d.At(0)
		moves = append(moves, m-150)
	}
	if moves[0] != 0 || !(moves[1] > 0.5 && moves[2] > moves[1]) {
		t.Errorf("moves of %v days at likeness 0, 0.4 and 0.8", moves)
	}
}

// Seasons drawn from the model itself must fall within its 80 % ranges.
func TestRangesHoldSeasonsOfTheModelItself(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	in, n := 0, 0
	for range 40 {
		var taxa []Taxon
		common := map[int]float64{}
		for i := range 6 {
			taxa = append(taxa, taxonAt(i, 0, 110+12*float64(i)))
		}
		var cases []SeasonDate
		truth := map[[2]int]float64{}
		for i := range taxa {
			run := 7 * rng.NormFloat64()
			usual := taxa[i].MedianDOY + 20*rng.NormFloat64()
			for y := range 12 {
				if _, ok := common[y]; !ok {
					common[y] = 5 * rng.NormFloat64()
				}
				run = math.Exp(-0.1)*run + 7*math.Sqrt(1-math.Exp(-0.2))*rng.NormFloat64()
				d := usual + run + common[y] + 6*rng.NormFloat64()
				truth[[2]int{i, y}] = d
				if y < 11 {
					cases = append(cases, SeasonDate{Taxon: i, Year: y, DOY: d, Variance: 1})
				}
			}
		}
		for i := range taxa {
			var dates []float64
			for _, c := range cases {
				if c.Taxon == i {
					dates = append(dates, c.DOY)
				}
			}
			taxa[i].MedianDOY = stat.Mean(dates, nil)
		}
		s := season(t, taxa, cases, nil, 11)
		for i := range taxa {
			m, v := s.Taxon(i).At(0)
			if math.Abs(truth[[2]int{i, 11}]-m) <= 1.2816*math.Sqrt(v) {
				in++
			}
			n++
		}
	}
	if c := float64(in) / float64(n); c < 0.74 || c > 0.87 {
		t.Errorf("80 %% ranges hold %.0f %% of %d", 100*c, n)
	}
}

func sighting(day float64, a Amount) Watch { return Watch{From: day, To: day + 1, Amount: a, Hours: 2} }

func TestWatchesMoveTheDateTheirWay(t *testing.T) {
	p := inventGroup()
	curve, eggs, later := p.Curves()
	at := func(w ...Watch) float64 {
		return seenIn(curve, eggs, later, p.SightingNumbers(), w, 165, 150).DOY
	}
	if m := at(); m != 165 {
		t.Errorf("no watch moved the date to %.2f", m)
	}
	none := at(sighting(155, None), sighting(160, None))
	many := at(sighting(150, Many), sighting(152, Many))
	if !(none > 166 && many < 163) {
		t.Errorf("none yet puts it on %.1f, many early on %.1f", none, many)
	}
	// Eggs seen on a day tell of an emergence before it.
	laying := sighting(165, Many)
	laying.Stage = EggLaying
	if got := at(laying); !(got < at(sighting(165, Many))) {
		t.Errorf("egg-laying on day 165 puts the emergence on %.1f", got)
	}
}

func TestAWatchOfWinterTellsNothingOfSummer(t *testing.T) {
	p := inventGroup()
	curve, eggs, later := p.Curves()
	s := seenIn(curve, eggs, later, p.SightingNumbers(), []Watch{sighting(20, None)}, 165, 150)
	if math.Abs(s.DOY-165) > 0.05 || s.DOYVariance < 0.97*150 {
		t.Errorf("none in January: %.2f days, variance %.1f of 150", s.DOY-165, s.DOYVariance)
	}
}

// A watch on every day of a season puts all weight on one node of the grid.
func TestADailyWatchTellsMuchButNotEverything(t *testing.T) {
	p := inventGroup()
	curve, eggs, later := p.Curves()
	var watches []Watch
	for d := 110.0; d < 200; d++ {
		a := None
		if d > 130 {
			a = Many
		}
		watches = append(watches, sighting(d, a))
	}
	s := seenIn(curve, eggs, later, p.SightingNumbers(), watches, 165, 150)
	for name, v := range map[string]float64{"date": s.DOYVariance, "numbers": s.NumbersVar, "length": s.StretchVar} {
		if !(v > 0) {
			t.Errorf("a variance of %v for the %s", v, name)
		}
	}
}

func TestTheThermalDateFollowsTheWater(t *testing.T) {
	year := make([]float64, 365)
	for d := range year {
		year[d] = 8 - 6*math.Cos(2*math.Pi*float64(d-20)/365)
	}
	c := NewDegreeDayYear([][]float64{year})
	if x := c.Departure(year, 160, 366); math.Abs(x) > 0.2 {
		t.Errorf("the mean year departs from itself by %.2f days", x)
	}
	warm := make([]float64, len(year))
	for d := range warm {
		warm[d] = year[d] + 1
	}
	full, half, nothing := c.Departure(warm, 160, 366), c.Departure(warm, 160, 120), c.Departure(warm, 160, 60)
	if !(full < half && half < 0 && math.Abs(nothing) < 1e-9) {
		t.Errorf("one degree more: %.1f days known whole, %.1f until day 120, %.1f before the biofix", full, half, nothing)
	}
	// A day after the issue must not count.
	late := append([]float64(nil), warm...)
	for d := 120; d < len(late); d++ {
		late[d] = 30
	}
	if c.Departure(late, 160, 121) != c.Departure(warm, 160, 121) {
		t.Error("water after the issue moved the thermal date")
	}
	if c.Departure(late, 160, 122) == c.Departure(warm, 160, 122) {
		t.Error("the last day before the issue does not count")
	}
}

// The chance of a count against a plain simulation of what it says: so many
// independent animals, each caught or not.
func TestTheChanceOfACountIsThatOfASimulation(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for _, expected := range []float64{0, 0.02, 0.7, 3, 12} {
		for _, k := range []int{1, 3, 10} {
			const draws, animals = 20000, 400
			hits := 0
			for range draws {
				caught := 0
				for range animals {
					if rng.Float64() < expected/animals {
						caught++
					}
				}
				if caught >= k {
					hits++
				}
			}
			if got, want := AtLeast(expected, k), float64(hits)/draws; math.Abs(got-want) > 0.012 {
				t.Errorf("at least %d of %g expected: %.3f, simulated %.3f", k, expected, got, want)
			}
		}
	}
}

// BenchmarkJoint conditions 40 groups on 20 seasons once, beside once for each
// group.
func BenchmarkJoint(b *testing.B) {
	var taxa []Taxon
	var cases []SeasonDate
	rng := rand.New(rand.NewPCG(1, 1))
	for i := range 40 {
		taxa = append(taxa, taxonAt(i, 0, 90+4*float64(i)))
		for y := range 20 {
			cases = append(cases, SeasonDate{Taxon: i, Year: y, DOY: taxa[i].MedianDOY + 8*rng.NormFloat64(), Variance: 4, Thermal: 5 * rng.NormFloat64()})
		}
	}
	for _, times := range []int{1, 40} {
		b.Run(fmt.Sprintf("factorised-%d-times", times), func(b *testing.B) {
			for b.Loop() {
				for range times {
					season(b, taxa, cases, nil, 20)
				}
			}
		})
	}
}
