package forecast

import (
	"math"

	"golang.org/x/sync/errgroup"

	"example.org/eclose/forecast/engine"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/phenology"
	"example.org/eclose/model/watertemp"
)

// Issuer makes one outlook after another and keeps what they share: the
// engine's buffers and the draws of parameters. What it keeps changes no byte of
// an outlook. It is not for use by two goroutines at once.
type Issuer struct {
	halves [2]half
	temp   []float32
	scores map[scored]*phenology.Scores
	params map[paramsKey]atLat
}

// half runs the engine for every second group, beside the other half: a reader waits
// for one river, on a machine of at least two processors.
type half struct {
	engine engine.Engine
	result engine.Result
}

// run is the engine's result of each group, in order.
func (is *Issuer) run(in engine.River) ([]engine.GroupResult, error) {
	if in.On != nil { // a backtest, which has other rivers for the other processors
		x := &is.halves[0]
		err := x.engine.Forecast(&in, &x.result)
		return x.result.Groups, err
	}
	var tasks errgroup.Group
	for h := range is.halves {
		x, part := &is.halves[h], in
		part.Groups = nil
		for k := h; k < len(in.Groups); k += len(is.halves) {
			part.Groups = append(part.Groups, in.Groups[k])
		}
		tasks.Go(func() error { return x.engine.Forecast(&part, &x.result) })
	}
	if err := tasks.Wait(); err != nil {
		return nil, err
	}
	out := make([]engine.GroupResult, len(in.Groups))
	for k := range out {
		out[k] = is.halves[k%len(is.halves)].result.Groups[k/len(is.halves)]
	}
	return out, nil
}

// paramsKey names a prior before the river's water has moved it.
type paramsKey struct {
	group      *insects.Group
	region     insects.Region
	latDeg     float64
	elevationM float64 // -Inf if unknown
	warmth     bool    // the river's own water is known
}

type atLat struct {
	params phenology.Params
	ok     bool
}

// paramsFor is paramsAt with what was worked out kept: looking for the day with the
// cue's day length at another latitude takes a while.
func (is *Issuer) paramsFor(g *insects.Group, region insects.Region, s site) (phenology.Params, bool) {
	id := paramsKey{g, region, s.LatDeg, s.ElevationM, s.warmth}
	if math.IsNaN(id.elevationM) {
		id.elevationM = math.Inf(-1)
	}
	x, ok := is.params[id]
	if !ok {
		x.params, x.ok = paramsAt(g, region, s)
		if is.params == nil || len(is.params) >= scoresKept {
			is.params = map[paramsKey]atLat{}
		}
		is.params[id] = x
	}
	return x.params, x.ok
}

// scored names the scores of a group's season.
type scored struct {
	key     string
	day0    Date
	members int
}

// scoresKept bounds the memory of kept scores: 200 members take 8 kB each.
const scoresKept = 1024

// draw gives each member its own parameters of a group's season.
func (is *Issuer) draw(t *timing, key string, b phenology.Blend, members int, day0 Date) engine.Group {
	id := scored{key, day0, members}
	z, ok := is.scores[id]
	if !ok {
		s := phenology.NewScores(seedOf(key, day0), members)
		z = &s
		if is.scores == nil || len(is.scores) >= scoresKept {
			is.scores = map[scored]*phenology.Scores{}
		}
		is.scores[id] = z
	}
	m := &t.groups[t.own[key]]
	p, d := m.params, b.Draw(z, m.params.Course())
	return engine.Group{
		Clock:  engine.Clock{BaseC: phenology.BaseC, UpperC: math.Inf(1), Start: phenology.Biofix(m.usualDay()) - 1},
		Gate:   engine.Gate{MinC: p.GateMinC, MaxC: p.GateMaxC},
		LagMin: p.LagMinDays, LagMax: p.LagMaxDays, Rate: d.Rate, RateEggs: d.RateEggs,
		DD50: d.DD50, Calendar: d.Calendar, Weight: d.Weight, SpreadDays: d.SpreadDays, Usual: d.Usual,
	}
}

// WaterInput is the record as the water model takes it.
func (rec Record) WaterInput() watertemp.Input {
	in := watertemp.Input{Day0: int(rec.Day0), Air: rec.Air, Water: rec.Water, Flow: rec.Flow, DrainageKm2: rec.DrainageKm2}
	if count(rec.Flow) == 0 {
		in.Flow = nil
	}
	return in
}

// FitWater fits the water model to the record, for Options.Fitted. The error is
// a *watertemp.TooLittleError where the record is too short.
func (rec Record) FitWater() (*watertemp.Model, error) {
	m, err := (*Fits)(nil).fit(rec.WaterInput(), rec.Issue, nil)
	if err != nil {
		return nil, err
	}
	return &m, nil
}

func (opt Options) fit(in watertemp.Input, issue Date, donor *watertemp.Model) (watertemp.Model, error) {
	if opt.Fitted != nil {
		return *opt.Fitted, nil
	}
	return opt.Fits.fit(in, issue, donor)
}
