package phenology

import (
	"errors"
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat"
)

// Season is the water of one season: the daily mean, °C, of days from 1 January
// to at least the last day observed, without gaps. Without any water the season
// is judged by the calendar alone.
type Season struct{ WaterC []float64 }

// Posterior is what observations made of a prior.
type Posterior struct {
	Before, After Params
	// MovedDays is how much later the median date became, the mean over the
	// seasons observed; the windows are those in the same seasons, by the central
	// parameters.
	MovedDays                 float64
	WindowBefore, WindowAfter Window // of emergence
	EggsBefore, EggsAfter     Window // of egg-laying
	Sightings, Catches        int
	Seasons                   int
	Accepted                  float64 // share of the chain's steps that were taken: 0.1-0.6 is well
	// Sample holds the chain itself, thinned, in standard deviations of the
	// prior: DD50, MedianDOY, Weight, SpreadDays, PeakChance.
	Sample [][numParams]float64

	effects [][][seasonEffects]float64 // beside Sample: of each season
}

// InSeason are the parameters of one of the seasons observed itself, with what
// its own sightings and catches told of it: its requirement, date and numbers in
// place of the usual ones, and no straying of seasons left. They are for the
// forecast of a season under way; After is for seasons to come. Its water must
// have been given as far as the season is expected to last, measured up to the
// last day known and as expected from then on.
func (post *Posterior) InSeason(season int) Params {
	p := post.Before
	if len(post.Sample) == 0 || season < 0 || season >= len(post.effects[0]) {
		return post.After
	}
	// The prior of one season: river and season together.
	wide := p
	wide.DD50CV, wide.MedianSD, wide.PeakCV = math.Hypot(p.DD50CV, p.YearCV), math.Hypot(p.MedianSD, p.YearSD), math.Hypot(p.PeakCV, seasonNumbers)
	by := [numParams][2]float64{
		{p.DD50CV / wide.DD50CV, p.YearCV / wide.DD50CV},
		{p.MedianSD / wide.MedianSD, p.YearSD / wide.MedianSD},
		{1, 0}, {1, 0},
		{p.PeakCV / wide.PeakCV, seasonNumbers / wide.PeakCV},
	}
	sample := make([][numParams]float64, len(post.Sample))
	for i, e := range post.Sample {
		v := post.effects[i][season]
		own := [numParams]float64{v[0], v[1], 0, 0, v[2]}
		for k := range e {
			e[k] = by[k][0]*e[k] + by[k][1]*own[k]
			if math.IsNaN(e[k]) { // a figure known without error
				e[k] = 0
			}
		}
		sample[i] = e
	}
	q := wide.summed(sample)
	q.YearCV, q.YearSD = 0, 0
	q.Measured, q.Seasons = true, post.After.Seasons
	return q
}

// Options tune the chain; the zero value asks for the defaults.
type Options struct {
	Seed  uint64
	Steps int // after as many thirds of warm-up; 0 for 12000
}

// Calibrate is Bayes' rule on the parameters of a group at a river. The prior
// is normal in ln DD50, MedianDOY, logit Weight, ln SpreadDays and the log of
// the records expected on the peak day; each season strays from the requirement
// and the date by YearCV and YearSD and from the usual numbers by seasonNumbers.
// A sighting is judged by SightingChance, so that hours that showed nothing
// count and an observer may miss; a trap's catches of one season by the share of
// the season between visits (multinomial, weighing at most mostAnimals).
//
// The posterior comes from a Markov chain (adaptive Metropolis, see chain.go)
// and is summed up by means, standard deviations and correlations.
func Calibrate(prior Params, obs []Observation, seasons []Season, opt Options) (Posterior, error) {
	if err := prior.check(); err != nil {
		return Posterior{}, fmt.Errorf("calibrating: %w", err)
	}
	t, err := newTarget(prior, obs, seasons)
	if err != nil {
		return Posterior{}, fmt.Errorf("calibrating: %w", err)
	}
	post := Posterior{Before: prior, After: prior, Sightings: t.sightings, Catches: t.catches, Seasons: t.seen}
	if t.sightings+t.catches == 0 {
		return post, nil
	}
	if opt.Steps == 0 {
		opt.Steps = 12000
	}
	post.Sample, post.effects, post.Accepted = t.run(opt)
	post.After = prior.summed(post.Sample)
	post.After.Measured = true
	post.After.Seasons = prior.Seasons + t.seen
	post.moved(seasons, t)
	return post, nil
}

// summed is the parameters with the means, standard deviations and correlations
// of a sample in standard deviations of p.
func (p Params) summed(sample [][numParams]float64) Params {
	var mean, sd [numParams]float64
	cols := [numParams][]float64{}
	for k := range cols {
		for _, e := range sample {
			cols[k] = append(cols[k], e[k])
		}
		mean[k], sd[k] = stat.MeanStdDev(cols[k], nil)
	}
	q := p.at(mean)
	logitSD := p.weightLogitSD()
	q.DD50CV, q.MedianSD, q.SpreadCV, q.PeakCV = p.DD50CV*sd[0], p.MedianSD*sd[1], p.SpreadCV*sd[3], p.PeakCV*sd[4]
	q.WeightSD = logitSD * sd[2] * q.Weight * (1 - q.Weight)
	for i := range numParams {
		for j := range numParams {
			q.Corr[i][j] = stat.Correlation(cols[i], cols[j], nil)
			if i == j {
				q.Corr[i][j] = 1
			}
		}
	}
	return q
}

func (post *Posterior) moved(seasons []Season, t *target) {
	n := 0.0
	for s, season := range seasons {
		if !t.has(s) {
			continue
		}
		before, after := post.Before, post.After
		if len(season.WaterC) == 0 {
			before, after = before.CalendarOnly(), after.CalendarOnly()
		}
		b, a := before.Median(season.WaterC), after.Median(season.WaterC)
		post.MovedDays += a - b
		post.WindowBefore = post.WindowBefore.plus(b, before.SpreadDays)
		post.WindowAfter = post.WindowAfter.plus(a, after.SpreadDays)
		n++
	}
	post.MovedDays /= n
	for _, w := range []*Window{&post.WindowBefore, &post.WindowAfter} {
		w.Start, w.Peak, w.End = w.Start/n, w.Peak/n, w.End/n
	}
	post.EggsBefore, post.EggsAfter = post.Before.laying(post.WindowBefore), post.After.laying(post.WindowAfter)
}

// z90 is the 90 % point of the standard normal distribution.
const z90 = 1.2815515655446004

func (w Window) plus(t50, spread float64) Window {
	return Window{w.Start + t50 - z90*spread, w.Peak + t50, w.End + t50 + z90*spread}
}

// check finds parameters that would give NaN.
func (p Params) check() error {
	switch {
	case !(p.SpreadDays > 0):
		return fmt.Errorf("a spread of %v days", p.SpreadDays)
	case math.IsNaN(p.MedianDOY) || math.IsInf(p.MedianDOY, 0):
		return fmt.Errorf("a median date of day %v", p.MedianDOY)
	case !(p.Weight >= 0 && p.Weight <= 1):
		return fmt.Errorf("a weight of %v", p.Weight)
	case !(p.PeakChance > 0 && p.PeakChance < 1):
		return fmt.Errorf("a chance of %v on the peak day", p.PeakChance)
	case !(p.DD50 >= 0):
		return fmt.Errorf("a requirement of %v °C·d", p.DD50)
	case p.LagMinDays < 0 || p.LagMaxDays < p.LagMinDays:
		return fmt.Errorf("egg-laying %d to %d days after emergence", p.LagMinDays, p.LagMaxDays)
	case p.DD50CV < 0 || p.MedianSD < 0 || p.WeightSD < 0 || p.SpreadCV < 0 || p.PeakCV < 0 || p.YearCV < 0 || p.YearSD < 0:
		return errors.New("a negative standard deviation")
	case p.DD50 > 0 && (p.BiofixDOY < 1 || !(p.UpperC > p.BaseC)):
		return fmt.Errorf("degree-days from day %d between %v and %v °C", p.BiofixDOY, p.BaseC, p.UpperC)
	}
	return nil
}
