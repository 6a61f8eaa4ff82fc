package demo

import (
	"math"
	"math/rand/v2"
	"time"
)

// Issue is the fixed moment at which the demo looks ahead, so that two runs
// give the same bytes.
var Issue = time.Date(2026, 5, 18, 12, 0, 0, 0, time.UTC)

// start is the first hour of the invented record: eight whole seasons and the
// one that is running.
var start = time.Date(2018, 1, 1, 0, 0, 0, 0, time.UTC)

// horizon is how far the invented truth goes on after Issue, so that forecasts
// and, later, their scores have something to stand on.
const horizonDays = 240

// River is one invented river.
type River struct {
	Name, Slug, Site string
	Lat, Lon         float64 // in the open ocean, so that nobody drives there
	meanC, ampC      float64 // air temperature: yearly mean and half range, °C
	flowBase         float64 // m3/s
	melt             float64 // m3/s at the height of snowmelt
	meltDay          float64 // day of the year of that height
	spring           float64 // share of the water that comes out of the ground at a steady temperature
	tau              float64 // hours in which the water follows the air at flowBase
	width            float64 // m, at flowBase
	firstYear        int     // the thermometer's first season
	fishableCFS      [2]float64
}

// Rivers are the rivers of the Tarn Fells.
var Rivers = []River{
	{Name: "Wend", Slug: "wend", Site: "99000001", Lat: 45.2, Lon: -131.4, meanC: 7.5, ampC: 11, flowBase: 9, melt: 46, meltDay: 148, spring: 0.1, tau: 60, width: 34, firstYear: 2018, fishableCFS: [2]float64{150, 700}},
	{Name: "Garrow", Slug: "garrow", Site: "99000002", Lat: 44.6, Lon: -131.1, meanC: 8.5, ampC: 10, flowBase: 16, melt: 9, meltDay: 120, spring: 0.45, tau: 90, width: 58, firstYear: 2018, fishableCFS: [2]float64{300, 600}},
	{Name: "Little Ash", Slug: "little-ash", Site: "99000003", Lat: 45.7, Lon: -131.8, meanC: 6.5, ampC: 11.5, flowBase: 2.5, melt: 14, meltDay: 140, spring: 0.05, tau: 30, width: 16, firstYear: 2023, fishableCFS: [2]float64{40, 350}},
}

// Zone is the civil time of the Tarn Fells.
const Zone = "America/Los_Angeles"

// record is the invented truth of one river, hour by hour from start.
type record struct {
	air, water, flow, rain []float64
}

// yearShift is how much warmer than usual the months February to June of a
// year were, in °C. 2026 runs early.
var yearShift = map[int]float64{2018: -0.6, 2019: 0.3, 2020: 0.8, 2021: 0.1, 2022: -1.3, 2023: -0.4, 2024: 1.1, 2025: 0.2, 2026: 1.9}

// build invents the record of a river with the country's own springs.
func build(r River, seed uint64) record { return invent(r, seed, yearShift) }

// invent invents the record of a river in springs so much warmer than usual, °C by
// year. All rivers share the weather of the country; each adds a little of its own.
func invent(r River, seed uint64, yearShift map[int]float64) record {
	hours := int(Issue.Sub(start).Hours()) + horizonDays*24
	rec := record{air: make([]float64, hours), water: make([]float64, hours), flow: make([]float64, hours), rain: make([]float64, hours)}
	w := newWeather(r, seed, yearShift)
	for h := range hours {
		w.hour(h, &rec)
	}
	return rec
}

// weather is the state of a river's weather and water from hour to hour.
type weather struct {
	r                            River
	yearShift                    map[int]float64
	country, own                 *rand.Rand
	anomaly, local, storm, water float64
}

func newWeather(r River, seed uint64, yearShift map[int]float64) weather {
	w := weather{r: r, yearShift: yearShift, water: 3}
	w.roll(seed)
	return w
}

// roll takes the dice of a seed: all rivers of a country have the same weather by it.
func (w *weather) roll(seed uint64) {
	w.country, w.own = rand.New(rand.NewPCG(seed, 1)), rand.New(rand.NewPCG(seed, 2+uint64(w.r.meltDay)))
}

// hour invents hour h of a record.
func (w *weather) hour(h int, rec *record) {
	r := w.r
	t := start.Add(time.Duration(h) * time.Hour)
	doy := float64(t.YearDay()) + float64(t.Hour())/24
	if h%24 == 0 {
		w.anomaly = 0.78*w.anomaly + 2.3*w.country.NormFloat64()
		w.local = 0.6*w.local + 0.5*w.own.NormFloat64()
		if w.country.Float64() < 0.11 {
			w.storm += w.country.ExpFloat64() * 0.5 * r.flowBase
			rec.rain[h] = 3 + 8*w.country.Float64()
		}
		w.storm *= 0.72
	}
	season := math.Cos(2 * math.Pi * (doy - 205) / 365.25)
	spring := math.Exp(-sq((doy - 105) / 45)) // February to June
	// Local noon is about 21 UTC out there; the day peaks a few hours later.
	diel := (3 + 3*math.Max(0, season)) * math.Cos(2*math.Pi*(float64(t.Hour())-23)/24)
	rec.air[h] = r.meanC + r.ampC*season + w.anomaly + w.local + diel + w.yearShift[t.Year()]*spring

	// Snowmelt comes earlier in a warm spring: the day shifts by 6 days per °C.
	snow := r.melt * math.Exp(-sq((doy-r.meltDay+6*w.yearShift[t.Year()])/24))
	rec.flow[h] = r.flowBase*(0.75+0.35*math.Cos(2*math.Pi*(doy-60)/365.25)) + snow + w.storm

	// Water follows a mixture of air and ground with a lag that grows with
	// depth; snowmelt pulls it down; it never freezes.
	lag := r.tau * math.Pow(rec.flow[h]/r.flowBase, 0.35)
	sun := 1.8 * math.Max(0, season+0.4)
	target := (1-r.spring)*(rec.air[h]+sun) + r.spring*8.2 - 3.2*snow/(rec.flow[h]+1)
	w.water += (target - w.water) / lag
	w.water = math.Max(w.water, 0.05)
	rec.water[h] = w.water
}

func sq(x float64) float64 { return x * x }

// fault is what a sensor did wrong.
type fault struct {
	site     string
	from, to time.Time
	bend     func(rec record, h int, v float64) float64 // NaN: no reading at all
}

func day(y, m, d int) time.Time { return time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC) }

// waterFaults are the faults of the thermometers: a gap, a spike, one fallen
// dry so that it shows the air.
var waterFaults = []fault{
	{"99000001", day(2021, 2, 9), day(2021, 3, 2), func(record, int, float64) float64 { return math.NaN() }},
	{"99000001", day(2024, 4, 17).Add(9 * time.Hour), day(2024, 4, 17).Add(10 * time.Hour), func(record, int, float64) float64 { return 48.5 }},
	{"99000002", day(2022, 8, 3), day(2022, 8, 19), func(rec record, h int, _ float64) float64 { return rec.air[h] }},
	{"99000003", day(2025, 1, 11), day(2025, 1, 12), func(record, int, float64) float64 { return math.NaN() }},
}
