package phenology

import (
	"fmt"
	"math"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// siteSeason names the catch of one season of one insect at one site.
type siteSeason struct {
	insect, site string
	year         int
}

// catchOfSites is the catch per unit of effort of seasons by day of the year.
type catchOfSites map[siteSeason]map[int]float64

func (c catchOfSites) add(insect, site string, date time.Time, n float64) {
	k := siteSeason{insect, site, date.Year()}
	if c[k] == nil {
		c[k] = map[int]float64{}
	}
	c[k][date.YearDay()] += n
}

// quantile is the first day by which a share of a season has passed.
func quantile(days map[int]float64, q float64) float64 {
	var total, sum float64
	var order []int
	for d, n := range days {
		total += n
		order = append(order, d)
	}
	slices.Sort(order)
	for _, d := range order {
		if sum += days[d]; sum >= q*total {
			return float64(d)
		}
	}
	return math.NaN()
}

// sharing is the log likelihood of the seasons of several sites as the correlation
// of sites changes, from none.
type sharing struct {
	taxa  []Taxon
	cases []SeasonDate
	sites []string
}

func (c catchOfSites) sharing(leastAnimals float64, leastSeasons int) sharing {
	type key struct{ insect, site string }
	dates, spreads, years, counts := map[key][]float64{}, map[key][]float64{}, map[key][]int{}, map[key][]float64{}
	var seasons []siteSeason
	for k := range c {
		seasons = append(seasons, k)
	}
	slices.SortFunc(seasons, func(a, b siteSeason) int { return a.year - b.year })
	for _, k := range seasons {
		var n float64
		for _, x := range c[k] {
			n += x
		}
		if n < leastAnimals {
			continue
		}
		id := key{k.insect, k.site}
		dates[id] = append(dates[id], quantile(c[k], 0.5))
		spreads[id] = append(spreads[id], (quantile(c[k], 0.84)-quantile(c[k], 0.16))/2)
		years[id], counts[id] = append(years[id], k.year), append(counts[id], n)
	}
	var ids []key
	for id := range dates {
		if len(dates[id]) >= leastSeasons {
			ids = append(ids, id)
		}
	}
	slices.SortFunc(ids, func(a, b key) int { return slices.Compare([]string{a.insect, a.site}, []string{b.insect, b.site}) })
	var s sharing
	insects := map[string]int{}
	var all [][]float64
	for i, id := range ids {
		if _, ok := insects[id.insect]; !ok {
			insects[id.insect] = len(insects)
		}
		if !slices.Contains(s.sites, id.site) {
			s.sites = append(s.sites, id.site)
		}
		slices.Sort(spreads[id])
		spread := max(2, spreads[id][len(spreads[id])/2])
		s.taxa = append(s.taxa, Taxon{Insect: insects[id.insect], Site: slices.Index(s.sites, id.site),
			MedianDOY: stat.Mean(dates[id], nil), MedianSD: VagueSD, SpreadDays: spread})
		all = append(all, dates[id])
		for j, d := range dates[id] {
			s.cases = append(s.cases, SeasonDate{Taxon: i, Year: years[id][j], DOY: d, Variance: CountVariance(spread, min(counts[id][j], 200)) + 9})
		}
	}
	SetScales(s.taxa, all)
	return s
}

func (s sharing) logLikelihood(t *testing.T, r func(a, b string) float64) float64 {
	sites := mat.NewSymDense(len(s.sites), nil)
	for a := range s.sites {
		for b := range a + 1 {
			v := 1.0
			if a != b {
				v = r(s.sites[a], s.sites[b])
			}
			sites.SetSym(a, b, v)
		}
	}
	j, err := NewJoint(s.taxa, s.cases, sites)
	if err != nil {
		t.Fatal(err)
	}
	dep := mat.NewVecDense(len(s.cases), nil)
	for k := range s.cases {
		dep.SetVec(k, j.departure(&s.cases[k]))
	}
	return -0.5*mat.Dot(dep, j.alpha) - 0.5*j.chol.LogDet()
}

// withinRange is by how much the log likelihood may lie below its best for a value
// to belong to the 90 % range.
const withinRange = 1.35

// Seven watersheds a few kilometres apart, three to seven seasons each. The season
// effect of brooks side by side is shared nearly whole, and the constant lies in
// the range that the record leaves.
func TestNeighbouringBrooksShareTheirSeasons(t *testing.T) {
	caught := catchOfSites{}
	for _, r := range shared(t, "emergence/hubbard-brook/sticky-trap-counts.csv") {
		d, count := parseDay(t, r["date"]), func(col string) float64 { return orNone(t, r[col]) }
		caught.add("caddis", r["watershed"], d, count("caddisfly_large")+count("caddisfly_small"))
		caught.add("stoneflies", r["watershed"], d, count("stonefly_large"))
		if d.YearDay() <= 190 { // by then the flies of spring are over
			caught.add("spring flies", r["watershed"], d, count("dipteran_large")+count("dipteran_small"))
		}
	}
	s := caught.sharing(40, 3)
	at := func(r float64) float64 { return s.logLikelihood(t, func(_, _ string) float64 { return r }) }
	best := math.Inf(-1)
	low := math.NaN()
	for r := 0.0; r < 1; r += 0.01 {
		best = max(best, at(r))
	}
	for r := 0.99; r >= 0 && at(r) > best-withinRange; r -= 0.01 {
		low = r
	}
	own := at(SiteCorrelation(0, 0, true))
	t.Logf("%d insects at sites, %d seasons: 90 %% range of the share %.2f to 1; log likelihood at none %.1f, at %.2f %.1f, best %.1f",
		len(s.taxa), len(s.cases), low, at(0), SiteCorrelation(0, 0, true), own, best)
	if len(s.cases) < 50 {
		t.Fatalf("only %d seasons read", len(s.cases))
	}
	if own < best-withinRange || at(0) > best-2*withinRange {
		t.Errorf("a share of %.2f lies %.1f below the best, none %.1f", SiteCorrelation(0, 0, true), best-own, best-at(0))
	}
}

// The main stem of the Colorado in stretches of 40 miles, light traps of 2012 to
// 2016. A regulated river with few insects: the record allows any distance from
// about 50 km on, so that the constant is a default, but not a refuted one.
func TestTheColoradoSetsNoDistance(t *testing.T) {
	s, mile := coloradoSeasons(t)
	at := func(km float64) float64 {
		return s.logLikelihood(t, func(a, b string) float64 { return siteShare * math.Exp(-1.609*math.Abs(mile[a]-mile[b])/km) })
	}
	none := s.logLikelihood(t, func(_, _ string) float64 { return 0 })
	best := math.Inf(-1)
	for _, km := range []float64{10, 25, 50, 100, 200, 400, 1000, 1e6} {
		best = max(best, at(km))
		t.Logf("%8.0f km: log likelihood %.2f above that of no sharing", km, at(km)-none)
	}
	if len(s.cases) < 60 {
		t.Fatalf("only %d seasons read", len(s.cases))
	}
	if at(siteKm) < best-withinRange {
		t.Errorf("%.0f km lies %.1f below the best", siteKm, best-at(siteKm))
	}
}

func coloradoSeasons(t *testing.T) (sharing, map[string]float64) {
	t.Helper()
	const stretchMiles, binDays, leastBins = 40.0, 10, 14
	type sample struct {
		site string
		date time.Time
	}
	type bin struct {
		site      string
		year, bin int
	}
	mile := map[string]float64{}
	samples, hours, bins := map[string]sample{}, map[bin]float64{}, map[siteSeason]int{}
	for _, r := range shared(t, "emergence/gcmrc-light-traps/samples.csv") {
		if r["has_specimen_rows"] != "1" || r["flag_delete"] == "1" || r["reach"] != "CRGrandCanyon" && r["reach"] != "CRLeesFerry" || orNone(t, r["hours"]) == 0 {
			continue
		}
		k := math.Floor(num(t, r["river_mile"]) / stretchMiles)
		x := sample{fmt.Sprint(k), parseDay(t, r["date"])}
		mile[x.site], samples[r["sample"]] = k*stretchMiles, x
		b := bin{x.site, x.date.Year(), x.date.YearDay() / binDays}
		if hours[b] == 0 {
			bins[siteSeason{site: x.site, year: x.date.Year()}]++
		}
		hours[b] += orNone(t, r["hours"])
	}
	rates, animals := catchOfSites{}, map[siteSeason]float64{}
	for _, r := range shared(t, "emergence/gcmrc-light-traps/aquatic-counts.csv") {
		x, ok := samples[r["sample"]]
		year := x.date.Year()
		if !ok || bins[siteSeason{site: x.site, year: year}] < leastBins {
			continue
		}
		n, b := num(t, r["count"]), x.date.YearDay()/binDays
		middle := time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, b*binDays+binDays/2-1)
		rates.add(r["species_id"], x.site, middle, n/hours[bin{x.site, year, b}])
		animals[siteSeason{r["species_id"], x.site, year}] += n
	}
	for k, days := range rates { // rates as animals, so that the least count means what it says
		var sum float64
		for _, v := range days {
			sum += v
		}
		for d := range days {
			days[d] *= animals[k] / sum
		}
	}
	return rates.sharing(100, 3), mile
}

func parseDay(t *testing.T, s string) time.Time {
	t.Helper()
	d, err := time.Parse(time.DateOnly, s)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// orNone is a number, 0 where the cell is empty: in these tables a blank mostly
// means none.
func orNone(t *testing.T, s string) float64 {
	t.Helper()
	if s == "" || s == "NA" {
		return 0
	}
	return num(t, s)
}
