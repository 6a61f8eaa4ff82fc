package forecast

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"time"

	"gonum.org/v1/gonum/mat"

	"example.org/eclose/forecast/records"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/phenology"
)

// timing holds the joint model of one river's groups. Groups seen on rivers nearby
// are in it too. It is conditioned on the sightings known at the issue.
type timing struct {
	rec     Record
	water   *water
	mean    []float64 // mean water over the members, from water.first on
	groups  []timed   // the river's own, then those seen near by
	own     map[string]int
	joint   *phenology.Joint
	seasons map[int]*phenology.SeasonForecast // by season
	seen    map[int][]phenology.Evidence      // evidence of the season under way, by season
	years   map[int]*phenology.DegreeDayYear  // by start of the season-year
	cases   []phenology.SeasonDate
	entered []Entered
	open    *open
}

// timed is one group at one river within the joint model.
type timed struct {
	key, river string
	name       string // of the river
	params     phenology.Params
	evidence   EvidenceCode // before sightings at the river itself
	taxon      phenology.Taxon
	start      int                       // of its season-year
	watches    map[int][]phenology.Watch // by season
	sightings  int
	recorded   *records.Window // of open records of a region this season; nil for a river's own
	past       []int           // indexes of its cases
	usualMean  float64         // mean thermal departure of its cases, days
}

// newTiming conditions the joint model of a river's groups. One matrix is
// factorised, of the size of the seasons seen.
func (is *Issuer) newTiming(w *water, rec Record, r River, c *insects.Catalogue, region insects.Region, groups []*insects.Group, opt Options) (*timing, error) {
	t := &timing{rec: rec, water: w, own: map[string]int{}, seasons: map[int]*phenology.SeasonForecast{},
		seen: map[int][]phenology.Evidence{}, years: map[int]*phenology.DegreeDayYear{}}
	t.mean = meanOf(w.rows)
	t.open = rec.open(r, region, c, opt)
	sites := []River{r}
	for _, n := range r.Near {
		if n.Slug != r.Slug {
			sites = append(sites, n)
		}
	}
	for _, n := range opt.Sites {
		if Shares(r, n) {
			sites = append(sites, n)
		}
	}
	sightings := rec.known(opt.Sightings)
	t.entered = entered(sightings, sites)
	for k, site := range sites {
		mine := sightingsAt(sightings, site.Slug)
		var chosen []*insects.Group
		if k == 0 {
			chosen = groups
		}
		for _, g := range append(slices.Clone(chosen), seenGroups(mine, c, chosen)...) {
			if p, ok := is.paramsFor(g, region, w.place(rec, site)); ok {
				t.add(site, k, g, w.atRiver(p), region, slices.Contains(chosen, g))
			}
		}
		t.watch(site, mine, c)
	}
	if region, ok := t.open.site(r); ok {
		sites = append(sites, region)
		t.addRecorded(is, len(sites)-1, region, r, c, w)
	}
	return t, t.condition(correlations(sites))
}

// seenGroups are the groups that sightings name, but for those already there.
func seenGroups(sightings []Sighting, c *insects.Catalogue, there []*insects.Group) []*insects.Group {
	var out []*insects.Group
	for _, s := range sightings {
		g, ok := c.Group(s.Group)
		if !ok {
			continue
		}
		for _, b := range broodsOf(c, g) {
			if !slices.Contains(out, b) && !slices.Contains(there, b) {
				out = append(out, b)
			}
		}
	}
	return out
}

// anySeen reports whether any sighting, of whatever season, entered.
func (t *timing) anySeen() bool {
	return slices.ContainsFunc(t.groups, func(m timed) bool { return len(m.watches) > 0 || m.recorded != nil })
}

// broodsOf are the groups that are forecast for a name of the diary: itself, or
// its broods.
func broodsOf(c *insects.Catalogue, g *insects.Group) []*insects.Group {
	if broods := c.Broods(g.Key); g.Kind == insects.Parent && len(broods) > 0 {
		return broods
	}
	return []*insects.Group{g}
}

func (t *timing) add(site River, k int, g *insects.Group, p phenology.Params, region insects.Region, forecast bool) {
	x, _ := g.Window(region, insects.Emergence)
	m := timed{key: g.Key, river: site.Slug, name: site.Name, params: p, evidence: EvidenceCode(g.Grade(region)), start: x.SeasonStart(), watches: map[int][]phenology.Watch{}}
	usual := p.MedianDOY
	if clim := t.water.climatology; !math.IsNaN(clim[0]) && p.DD50 > 0 && p.Weight > 0 {
		// The river's own warmth moves the region's date.
		usual = p.Median(clim[:]) + 1
	}
	if later, dated, ok := t.open.redated(g, p, t.water.place(t.rec, site)); ok {
		usual += later
		p, m.params, m.evidence = dated, dated, evidenceOf(Recorded, t.open.replaces[g.Key].Records.Records)
	}
	m.taxon = p.Taxon(t.insect(g.Key), k, usual)
	if forecast {
		t.own[g.Key] = len(t.groups)
	}
	t.groups = append(t.groups, m)
}

// insect is the number of a group's insect in the joint model.
func (t *timing) insect(key string) int {
	for i := range t.groups {
		if t.groups[i].key == key {
			return t.groups[i].taxon.Insect
		}
	}
	return len(t.groups)
}

// watch puts sightings to the seasons and broods that they are nearest to.
func (t *timing) watch(site River, sightings []Sighting, c *insects.Catalogue) {
	for _, s := range sightings {
		g, ok := c.Group(s.Group)
		if !ok {
			continue
		}
		keys := map[string]bool{}
		for _, b := range broodsOf(c, g) {
			keys[b.Key] = true
		}
		best, at := math.Inf(1), -1
		for i := range t.groups {
			m := &t.groups[i]
			if m.river != site.Slug || !keys[m.key] {
				continue
			}
			if off := math.Abs(m.offset(s)) / m.taxon.SpreadDays; off < best {
				best, at = off, i
			}
		}
		if at < 0 {
			continue
		}
		m := &t.groups[at]
		season := m.season(s.Day)
		day := float64(s.Day-date1(season)) + 1
		m.watches[season] = append(m.watches[season], phenology.Watch{From: day, To: day + 1, Stage: stageNumber[s.Stage], Amount: amounts[s.Amount], Hours: s.Hours})
		m.sightings++
	}
}

// season is the season whose usual median date lies nearest to a date: December's
// winter midges belong to the coming year.
func (m *timed) season(d Date) int {
	year := d.Time().Year()
	best, at := math.Inf(1), year
	for y := year - 1; y <= year+1; y++ {
		if off := math.Abs(float64(d-date1(y)) + 1 - m.taxon.MedianDOY); off < best {
			best, at = off, y
		}
	}
	return at
}

// offset is how many days a sighting lies after the usual middle of its stage.
func (m *timed) offset(s Sighting) float64 {
	usual := m.taxon.MedianDOY
	if s.Stage == EggLaying {
		_, _, later := m.params.Curves()
		usual += later
	}
	return float64(s.Day-date1(m.season(s.Day))) + 1 - usual
}

// day0 is the first day of the season-year of a season.
func (m *timed) day0(season int) Date {
	median := date1(season) + Date(math.Round(m.taxon.MedianDOY)) - 1
	return seasonFirst(median, m.start)
}

// usualDay is the usual median date in days of the season-year, 1 the first.
func (m *timed) usualDay() float64 { return insects.SeasonDay(m.taxon.MedianDOY, m.start) + 1 }

// condition enters past seasons as cases and the season under way as evidence.
func (t *timing) condition(sites *mat.SymDense) error {
	taxa := make([]phenology.Taxon, len(t.groups))
	for i := range t.groups {
		taxa[i] = t.groups[i].taxon
	}
	alone, err := phenology.NewJoint(taxa, nil, sites)
	if err != nil {
		return err
	}
	prior, err := alone.Season(t.rec.Issue.Time().Year())
	if err != nil {
		return err
	}
	for i := range t.groups {
		if t.groups[i].recorded != nil {
			t.pastRecorded(i)
		} else {
			t.past(i, prior)
		}
	}
	if t.joint = alone; len(t.cases) == 0 {
		return t.conditionNow()
	}
	if t.joint, err = phenology.NewJoint(taxa, t.cases, sites); err != nil {
		return fmt.Errorf("joint model of %d groups and %d seasons: %w", len(taxa), len(t.cases), err)
	}
	return t.conditionNow()
}

// conditionNow enters the season under way as evidence.
func (t *timing) conditionNow() error {
	for i := range t.groups {
		m := &t.groups[i]
		season := m.season(t.rec.Issue)
		if len(m.watches[season]) == 0 {
			continue
		}
		s, err := t.season(season)
		if err != nil {
			return err
		}
		if _, e, ok := s.Read(m.watched(i, season, t.departure(i, season))); ok {
			t.seen[season] = append(t.seen[season], e)
		}
	}
	t.seeRecorded()
	return nil
}

// past turns the sightings of a group's past seasons into cases, and what they
// tell of its numbers and its length into its parameters.
func (t *timing) past(i int, prior *phenology.SeasonForecast) {
	m := &t.groups[i]
	now := m.season(t.rec.Issue)
	var numbers, stretch pooled
	for _, season := range slices.Sorted(maps.Keys(m.watches)) {
		if season > now {
			continue
		}
		seen, e, telling := prior.Read(m.watched(i, season, 0))
		n := m.params.SightingNumbers()
		numbers.add(seen.LogNumbers-n.MeanLog, seen.NumbersVar, n.SDLog*n.SDLog)
		stretch.add(seen.LogStretch, seen.StretchVar, seen.PriorStretchVar)
		if season == now {
			continue
		}
		if telling {
			m.past = append(m.past, len(t.cases))
			t.cases = append(t.cases, phenology.SeasonDate{Taxon: i, Year: season, DOY: e.DOY, Variance: e.Variance, Thermal: t.departure(i, season)})
		}
	}
	t.centre(i)
	if own, ok := t.own[m.key]; ok && own == i {
		t.widenGate(m)
	}
	m.params = m.params.Learnt(numbers.mean(), stretch.mean())
}

// centre takes the mean thermal departure of a group's past seasons out of them.
func (t *timing) centre(i int) {
	m := &t.groups[i]
	for _, k := range m.past {
		m.usualMean += t.cases[k].Thermal / float64(len(m.past))
	}
	for _, k := range m.past {
		t.cases[k].Thermal -= m.usualMean
	}
}

// pooled gathers what seasons tell of a figure, each with its prior divided out.
type pooled struct{ weight, sum float64 }

func (p *pooled) add(mean, variance, prior float64) {
	if w := 1/variance - 1/prior; w > 0 {
		p.weight += w
		p.sum += mean / variance
	}
}

// mean is the departure from the prior, drawn to 0 by one season's worth.
func (p *pooled) mean() float64 {
	if p.weight == 0 {
		return 0
	}
	const worth = 4.0 // 1/0.5²: what seasons differ by
	return p.sum / (p.weight + worth)
}

// median is the median date of one of the river's own groups in a season, given
// all that was seen, and who moved it by how much.
func (t *timing) median(key string, season int) (phenology.MedianDate, []Influence, error) {
	i := t.own[key]
	m := &t.groups[i]
	s, err := t.season(season)
	if err != nil {
		return phenology.MedianDate{}, nil, err
	}
	d, err := s.Given(i, t.seen[season])
	if err != nil {
		return d, nil, fmt.Errorf("median date of %s: %w", key, err)
	}
	x := t.departure(i, season)
	with, _ := d.At(x)
	var moved []Influence
	for k, e := range t.seen[season] {
		if e.Taxon == i {
			continue
		}
		others := slices.Delete(slices.Clone(t.seen[season]), k, k+1)
		less, err := s.Given(i, others)
		if err != nil {
			return d, nil, fmt.Errorf("median date of %s: %w", key, err)
		}
		without, _ := less.At(x)
		moved = append(moved, t.influence(e.Taxon, season, with-without))
	}
	if len(m.watches[season]) > 0 {
		d = s.Own(d, m.watched(i, season, x))
		mean, _ := d.At(x)
		moved = append(moved, t.influence(i, season, mean-with))
	}
	sort.SliceStable(moved, func(i, j int) bool { return cmp.Compare(math.Abs(moved[j].Days), math.Abs(moved[i].Days)) < 0 })
	return d, moved[:min(len(moved), influencesShown)], nil
}

// influencesShown is how many of the sightings that moved a date most are kept.
const influencesShown = 3

func (t *timing) influence(i, season int, days float64) Influence {
	m := &t.groups[i]
	out := Influence{River: m.name, Group: m.key, Sightings: len(m.watches[season]), Days: round(days, 10)}
	if m.recorded != nil {
		out.Kind, out.Sightings = Records, len(m.recorded.Season.Records)
	}
	last := math.Inf(-1)
	for _, w := range m.watches[season] {
		if w.Amount != phenology.None && w.From > last {
			last = w.From
			out.Stage, out.Day = Emergence, date1(season)+Date(math.Round(w.From))-1
			if w.Stage == phenology.EggLaying {
				out.Stage = EggLaying
			}
		}
	}
	return out
}

// usual is the median date of a season by the calendar alone: the prior and past
// seasons, of which the weight falls to half in so many years.
func (t *timing) usual(key string, season int, halfLife float64) phenology.MedianDate {
	m := &t.groups[t.own[key]]
	year := phenology.NewScale * phenology.NewScale
	weight := 1 / math.Max(1, m.params.MedianSD*m.params.MedianSD)
	sum := weight * m.params.MedianDOY
	for _, k := range m.past {
		c := &t.cases[k]
		w := math.Exp2(-math.Abs(float64(season-c.Year))/halfLife) / (year + c.Variance)
		weight, sum = weight+w, sum+w*c.DOY
	}
	return phenology.MedianDate{Level: sum / weight, LevelVar: year + 1/weight}
}

// blend is what the engine must know of a group for the season-year that begins on
// a day.
func (t *timing) blend(key string, day0 Date) (phenology.Blend, []Influence, error) {
	m := &t.groups[t.own[key]]
	season := m.season(day0 + Date(math.Round(m.usualDay())) - 1)
	d, moved, err := t.median(key, season)
	if err != nil {
		return phenology.Blend{}, nil, err
	}
	b := phenology.Blend{Median: d, Usual: t.usual(key, season, phenology.RecentHalfLife), Shift: insects.SeasonDay(m.taxon.MedianDOY, m.start) - m.taxon.MedianDOY}
	if y := t.year(m.start); y != nil {
		b.Requirement = y.Requirement(m.usualDay())
		b.ThermalZero = math.RoundToEven(m.usualDay()) + m.usualMean
	}
	return b, moved, nil
}

// plainLater is by how many days the calendar that takes all past seasons alike
// lies after the one that trusts recent seasons more.
func (t *timing) plainLater(key string, day0 Date) int {
	m := &t.groups[t.own[key]]
	season := m.season(day0 + Date(math.Round(m.usualDay())) - 1)
	return int(math.Round(t.usual(key, season, math.Inf(1)).Level - t.usual(key, season, phenology.RecentHalfLife).Level))
}

// early is by how many days the water of a season makes a group earlier than in
// the mean of past seasons.
func (t *timing) early(key string, day0 Date) (float64, bool) {
	i := t.own[key]
	m := &t.groups[i]
	season := m.season(day0 + Date(math.Round(m.usualDay())) - 1)
	s, err := t.season(season)
	if err != nil || t.year(m.start) == nil {
		return 0, false
	}
	return round(-s.Taxon(i).Slope*t.departure(i, season), 10), true
}

// watched is what was seen of a group in a season; i is its index.
func (m *timed) watched(i, season int, thermal float64) phenology.Watched {
	curve, eggs, later := m.params.Curves()
	return phenology.Watched{Taxon: i, Thermal: thermal, Curve: curve, Eggs: eggs, EggsDays: later, Numbers: m.params.SightingNumbers(), Watches: m.watches[season]}
}

func (t *timing) season(season int) (*phenology.SeasonForecast, error) {
	if s := t.seasons[season]; s != nil {
		return s, nil
	}
	s, err := t.joint.Season(season)
	t.seasons[season] = s
	return s, err
}

// year is the mean year of degree-days of the river, from the start of a
// season-year; nil where no climatology of the water is known.
func (t *timing) year(start int) *phenology.DegreeDayYear {
	y, ok := t.years[start]
	if !ok {
		if clim := t.water.climatology; !math.IsNaN(clim[0]) {
			from := make([]float64, len(clim))
			for d := range from {
				from[d] = clim[(d+start-1)%len(clim)]
			}
			y = phenology.NewDegreeDayYear([][]float64{from})
		}
		t.years[start] = y
	}
	return y
}

// departure is by how many days the water puts the thermal date of a group after
// its usual date, less the mean of its past seasons: in the season under way by
// the members' mean water, in past seasons by what had been measured on the same
// day of the season.
func (t *timing) departure(i, season int) float64 {
	m := &t.groups[i]
	y := t.year(m.start)
	if y == nil {
		return 0
	}
	day0 := m.day0(season)
	if now := m.season(t.rec.Issue); season < now {
		issue := int(t.rec.Issue-m.day0(now)) + 1
		return y.Departure(t.rec.from(day0, issue), m.usualDay(), issue) - m.usualMean
	}
	if day0 < t.water.first {
		return 0
	}
	k := min(int(day0-t.water.first), len(t.mean))
	return y.Departure(t.mean[k:], m.usualDay(), len(t.mean)-k+1) - m.usualMean
}

// from is the measured water of n days, NaN where unknown.
func (rec Record) from(day0 Date, n int) []float64 {
	out := make([]float64, max(0, n))
	for i := range out {
		out[i] = math.NaN()
		if k := int(day0-rec.Day0) + i; k >= 0 && k < len(rec.Water) {
			out[i] = rec.Water[k]
		}
	}
	return out
}

func meanOf(rows [][]float64) []float64 {
	out := make([]float64, len(rows[0]))
	for _, r := range rows {
		for d, v := range r {
			out[d] += v / float64(len(rows))
		}
	}
	return out
}

func date1(year int) Date { return DateOf(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC)) }

func sightingsAt(sightings []Sighting, river string) []Sighting {
	var out []Sighting
	for _, s := range sightings {
		if s.River == river {
			out = append(out, s)
		}
	}
	return out
}

// Shares reports whether the seasons of two rivers are near enough for sightings on
// one to move the other's dates.
func Shares(a, b River) bool { return phenology.SitesShare(distanceKm(a, b)) }

// correlations are those between the seasons of rivers.
func correlations(sites []River) *mat.SymDense {
	if len(sites) == 1 {
		return nil
	}
	out := mat.NewSymDense(len(sites), nil)
	for a := range sites {
		out.SetSym(a, a, 1)
		for b := range a {
			height := 0.0
			if ea, eb := sites[a].ElevationM, sites[b].ElevationM; ea != nil && eb != nil {
				height = *ea - *eb
			}
			out.SetSym(a, b, phenology.SiteCorrelation(distanceKm(sites[a], sites[b]), height, sites[a].Regulated == sites[b].Regulated))
		}
	}
	return out
}
