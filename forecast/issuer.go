package forecast

import (
	"math"

	"example.org/eclose/forecast/engine"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/phenology"
	"example.org/eclose/model/watertemp"
)

// Issuer makes one outlook after another and keeps what they share: the
// engine's buffers and the draws of parameters. What it keeps changes no byte of
// an outlook. It is not for use by two goroutines at once.
type Issuer struct {
	engine engine.Engine
	result engine.Result
	temp   []float32
	draws  map[drawn]engine.Group
	params map[paramsKey]atLat
}

// paramsKey names a belief before the river's water has moved it.
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
		if is.params == nil || len(is.params) >= drawsKept {
			is.params = map[paramsKey]atLat{}
		}
		is.params[id] = x
	}
	return x.params, x.ok
}

// drawn names a draw by all that it depends on.
type drawn struct {
	key     string
	params  phenology.Params
	members int
	day0    Date
	start   int
}

// drawsKept bounds the memory of kept draws: 200 members take 6 kB each.
const drawsKept = 1024

// draw gives each member its own parameters of a group. They are drawn once for
// a season, so that from one issue to the next an outlook moves only as far as
// the river does. Its days count from day0, which is the day of the year start.
func (is *Issuer) draw(key string, p phenology.Params, members int, day0 Date, start int) engine.Group {
	id := drawn{key, p, members, day0, start}
	if g, ok := is.draws[id]; ok {
		return g
	}
	g := engine.Group{
		Clock:  engine.Clock{BaseC: p.BaseC, UpperC: p.UpperC, Start: int(insects.SeasonDay(float64(p.BiofixDOY), start))},
		Gate:   engine.Gate{MinC: p.GateMinC, MaxC: p.GateMaxC},
		LagMin: p.LagMinDays, LagMax: p.LagMaxDays, Rate: p.Rate(), RateEggs: p.RateEggs(),
	}
	shift := insects.SeasonDay(p.MedianDOY, start) - p.MedianDOY
	for _, q := range p.Draw(seedOf(key, day0), members) {
		if q.DD50 <= 0 { // no thermal rule: any requirement will do at weight 0
			q.DD50, q.Weight = 1, 0
		}
		g.DD50, g.Calendar = append(g.DD50, q.DD50), append(g.Calendar, q.MedianDOY+shift)
		g.Weight, g.SpreadDays = append(g.Weight, q.Weight), append(g.SpreadDays, q.SpreadDays)
	}
	if is.draws == nil || len(is.draws) >= drawsKept {
		is.draws = make(map[drawn]engine.Group)
	}
	is.draws[id] = g
	return g
}

// WaterInput is the record as the water model takes it.
func (rec Record) WaterInput() watertemp.Input {
	in := watertemp.Input{Day0: int(rec.Day0), Air: rec.Air, Water: rec.Water, Flow: rec.Flow}
	if count(rec.Flow) == 0 {
		in.Flow = nil
	}
	return in
}

// FitWater fits the water model to the record, for Options.Fitted. The error is
// a *watertemp.TooLittleError where the record is too short.
func (rec Record) FitWater() (*watertemp.Model, error) {
	m, err := (*Fits)(nil).fit(rec.WaterInput(), rec.Issue)
	if err != nil {
		return nil, err
	}
	return &m, nil
}

func (opt Options) fit(in watertemp.Input, issue Date) (watertemp.Model, error) {
	if opt.Fitted != nil {
		return *opt.Fitted, nil
	}
	return opt.Fits.fit(in, issue)
}
