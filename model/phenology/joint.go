package phenology

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat"
)

// Taxon is one insect at one site, the unit of the joint model: a species of a
// record, or a group of the catalogue at a river.
type Taxon struct {
	Insect     int     // equal for one insect at several sites
	Site       int     // index into the site correlations
	MedianDOY  float64 // usual median date of a season, day of the year; below 1 in the year before
	MedianSD   float64 // days: how far MedianDOY may be off; VagueSD if MedianDOY is the mean of the cases
	ScaleDays  float64 // standard deviation of a season's departure from MedianDOY, days
	SpreadDays float64 // half of the range that holds the central 68 % of a season, days
}

// SeasonDate is the median date of one season of one taxon, as observed.
type SeasonDate struct {
	Taxon    int     // index into the taxa
	Year     int     // the season
	DOY      float64 // its median date, day of the year
	Variance float64 // of DOY as an observation, days²: what a small catch leaves open
	// Thermal is the thermal date of the season, as expected at the lead of the
	// forecast to be made, minus the taxon's mean of it over the seasons of the
	// fit, days; 0 where no temperature is known.
	Thermal float64
}

// Variances of the joint model, as shares of a taxon's squared ScaleDays. They
// were set on the Breitenbach record of 1969 to 1995; refitting them by
// likelihood on earlier seasons alone changes little. See RESULTS.md.
const (
	ownRun      = 0.50 // a slow run of years of the taxon itself
	ownRunYears = 10.0
	commonRun   = 0.05 // a run of years shared by taxa of one time of year
	commonYears = 3.0
	seasonShare = 0.25 // a season's effect shared by taxa of one time of year
	restShare   = 0.35 // of one taxon and season alone
	nearDays    = 90.0 // how far apart in the year two taxa may be and still shift together

	// Weight of the thermal departure: its mean over taxa, how well that is
	// known, and how far single taxa differ.
	thermalWeight   = 0.30
	thermalWeightSD = 0.12
	thermalTaxonSD  = 0.10

	// clipScales bounds what one odd season may teach. A wrong name in a
	// record can be three months off.
	clipScales = 2.5
	// countVariance widens the error of a median from a count, since animals of
	// one trap come in bursts.
	countVariance = 3.0
	// usualCount stands for the catch of a season to come.
	usualCount = 200.0

	// A season longer than longSpread shares less: it has several species or
	// broods, and its median is a poor date.
	longSpread     = 20.0
	longSpreadFall = 25.0
	// The thermal weight falls to half for taxa after late July, when day
	// length rules.
	lateDOY  = 205.0
	lateFall = 10.0
)

// VagueSD is the MedianSD of a taxon of which only its own seasons tell, days.
const VagueSD = 60.0

// betweenSites is the share of the error of a usual date that two sites of one
// insect have in common. Our own default.
const betweenSites = 0.5

// NewScale is ScaleDays at a river without seasons, days: the mean of the
// Breitenbach taxa, rounded.
const NewScale = 10.0

// CountVariance is the variance of the median date of n animals of a season
// with that spread, days².
func CountVariance(spreadDays, n float64) float64 {
	d := 1.25 * spreadDays
	return countVariance * d * d / n
}

// weight is the mean of the thermal weight before any season.
func (t *Taxon) weight() float64 { return thermalWeight * t.Shared() * t.thermalFactor() }

// Shared is how much of what seasons share reaches the taxon, 0 to 1: 1 for a
// season of up to 20 days, falling for longer ones.
func (t *Taxon) Shared() float64 {
	return math.Exp(-math.Max(0, t.SpreadDays-longSpread) / longSpreadFall)
}

// thermalFactor scales the thermal weight by time of year.
func (t *Taxon) thermalFactor() float64 {
	return 0.5 + 0.5/(1+math.Exp((t.MedianDOY-lateDOY)/lateFall))
}

// Joint is a joint normal distribution over taxa and seasons: a calendar date
// for each taxon, slow runs of years, a thermal departure with one shared
// weight, and a season effect that all taxa share, so that what is seen of one
// moves the others.
type Joint struct {
	taxa  []Taxon
	sites *mat.SymDense // correlation of two sites' seasons; nil for one site
	cases []SeasonDate
	chol  mat.Cholesky
	alpha *mat.VecDense // covariance⁻¹ (observed - mean)
	pair  []taxonPair   // of all taxa, row by row
}

// taxonPair is what the covariance of two taxa needs, whatever the seasons.
type taxonPair struct {
	same    bool    // one insect at one site
	insect  bool    // one insect
	site    float64 // correlation of the sites
	scales  float64 // product of the scales
	mean    float64 // covariance of the usual dates, days²
	near    float64 // likeness by time of year, 0 to 1
	shared  float64 // product of Shared
	thermal float64 // covariance of the thermal weights
}

// NewJoint conditions the joint model on the seasons observed. sites holds the
// correlation between the seasons of two sites; nil if there is one site. It
// factorises one matrix, of the size of cases.
func NewJoint(taxa []Taxon, cases []SeasonDate, sites *mat.SymDense) (*Joint, error) {
	j := &Joint{taxa: taxa, cases: cases, sites: sites}
	for i := range taxa {
		if t := &taxa[i]; !(t.ScaleDays > 0) || !(t.SpreadDays > 0) || math.IsNaN(t.MedianDOY) || !(t.MedianSD >= 0) {
			return nil, fmt.Errorf("taxon %d of the joint model: %+v", i, *t)
		}
	}
	j.makePairs()
	n := len(cases)
	if n == 0 {
		return j, nil
	}
	k := mat.NewSymDense(n, nil)
	r := mat.NewVecDense(n, nil)
	for a := range cases {
		ca := &cases[a]
		r.SetVec(a, j.departure(ca))
		for b := a; b < n; b++ {
			cb := &cases[b]
			p := j.at(ca.Taxon, cb.Taxon)
			v := p.level(ca.Year-cb.Year) + p.thermal*ca.Thermal*cb.Thermal
			if a == b {
				v += ca.Variance
			}
			k.SetSym(a, b, v)
		}
	}
	if !j.chol.Factorize(k) {
		return nil, errors.New("the covariance of the seasons is not positive definite")
	}
	j.alpha = mat.NewVecDense(n, nil)
	if err := j.chol.SolveVecTo(j.alpha, r); err != nil {
		return nil, fmt.Errorf("conditioning on %d seasons: %w", n, err)
	}
	return j, nil
}

// at is the pair of two taxa.
func (j *Joint) at(a, b int) *taxonPair { return &j.pair[a*len(j.taxa)+b] }

// departure is a season's departure from what its taxon's usual date and
// thermal date say, clipped.
func (j *Joint) departure(c *SeasonDate) float64 {
	t := &j.taxa[c.Taxon]
	scale := t.ScaleDays
	if t.MedianSD < VagueSD {
		scale = math.Hypot(scale, t.MedianSD) // MedianDOY is a prior, not the cases' mean
	}
	r := c.DOY - t.MedianDOY - t.weight()*c.Thermal
	return max(-clipScales*scale, min(clipScales*scale, r))
}

func (j *Joint) makePairs() {
	n := len(j.taxa)
	j.pair = make([]taxonPair, n*n)
	for a := range n {
		x := &j.taxa[a]
		for b := range n {
			y := &j.taxa[b]
			p := j.at(a, b)
			*p = taxonPair{same: a == b, insect: x.Insect == y.Insect, site: 1,
				scales: x.ScaleDays * y.ScaleDays, shared: x.Shared() * y.Shared(),
				near: math.Exp(-math.Abs(x.MedianDOY-y.MedianDOY) / nearDays)}
			if j.sites != nil {
				p.site = j.sites.At(x.Site, y.Site)
			}
			p.thermal = thermalWeightSD * thermalWeightSD * x.thermalFactor() * y.thermalFactor()
			switch {
			case p.same:
				p.mean = x.MedianSD * x.MedianSD
				p.thermal += thermalTaxonSD * thermalTaxonSD
			case p.insect:
				p.mean = betweenSites * p.site * x.MedianSD * y.MedianSD
				p.thermal += thermalTaxonSD * thermalTaxonSD * p.site
			}
			p.thermal *= p.shared
		}
	}
}

// level is the covariance of the seasons of two taxa so many years apart, days²,
// but for temperature and for what a catch leaves open.
func (p *taxonPair) level(years int) float64 {
	dy := math.Abs(float64(years))
	v := commonRun * p.near * math.Exp(-dy/commonYears)
	if p.insect {
		v += ownRun * math.Exp(-dy/ownRunYears)
	}
	if years == 0 {
		v += seasonShare * p.near * p.shared
		if p.same {
			// What the season does not share with others stays its own.
			v += restShare + seasonShare*(1-p.shared)
		}
	}
	return p.mean + p.scales*p.site*v
}

// SetScales sets the ScaleDays of taxa from the median dates of their seasons:
// each taxon's own scatter, drawn towards the geometric mean of all by eight
// seasons' worth. Taxa of fewer than two seasons get the pool; without any pool,
// NewScale.
func SetScales(taxa []Taxon, dates [][]float64) {
	const (
		worth      = 8.0
		least      = 4.0 // days²: no taxon's scatter counts as less
		leastDates = 4   // seasons from which a taxon enters the pool
	)
	var logs []float64
	variances := make([]float64, len(taxa))
	for i := range taxa {
		if len(dates[i]) >= 2 {
			variances[i] = stat.Variance(dates[i], nil)
		}
		if len(dates[i]) >= leastDates {
			logs = append(logs, math.Log(max(least, variances[i])))
		}
	}
	pool := NewScale * NewScale
	if len(logs) > 0 {
		pool = math.Exp(stat.Mean(logs, nil))
	}
	for i := range taxa {
		n := float64(max(len(dates[i])-1, 0))
		taxa[i].ScaleDays = math.Sqrt((worth*pool + n*variances[i]) / (worth + n))
	}
}
