package forecast

import (
	"context"
	"errors"
	"fmt"
	"hash/fnv"
	"math"
	"slices"
	"time"

	"example.org/eclose/forecast/engine"
	"example.org/eclose/forecast/records"
	"example.org/eclose/forecast/verify"
	"example.org/eclose/model/degreeday"
	"example.org/eclose/model/flow"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/watertemp"
)

// ModelVersion names the arithmetic behind an outlook. It changes whenever the
// same inputs would give other numbers.
const ModelVersion = "7"

// Options of an issue.
type Options struct {
	Members int // possible futures; 0: 200
	Ahead   int // days from the issue on that the outlook looks at; 0: 365
	// Sightings are those of this river and of rivers near by. Only those that
	// were known at the issue enter.
	Sightings []Sighting
	// Without leaves out kinds of sightings, so that what each is worth can be
	// measured.
	Without []SightingKind
	// Open is what open sources recorded of insects; nil: nothing. Only what was
	// known at the issue enters.
	Open *records.Open
	// Sites are rivers without a forecast that sightings name: those of
	// neighbouring installations.
	Sites []River
	// Donor, if set, adjusts the water model of a river without a thermometer (watertemp.Model.Lent).
	Donor *watertemp.Model
	// Fitted, if set, is used in place of a fit to the record: one of the same
	// river, made from no more than the record holds (see Record.FitWater).
	Fitted *watertemp.Model
	// FittedFlow does so for the flow model (see Record.FitFlow).
	FittedFlow *flow.Model
	// Fits, if set, keeps water models from one outlook to the next.
	Fits *Fits
	// ChancesOnly leaves out what only a reader wants: days of water, heat, spread of
	// activity, hours and reasons. Chances and windows are the same.
	ChancesOnly bool
	// ChancesOn, with ChancesOnly, are the days whose chances are wanted, in rising order;
	// nil: all days. See engine.River.On.
	ChancesOn []Date
	// Ensemble, if set, receives the members' water and flow.
	Ensemble *Ensemble
}

// Ensemble holds the members of an issue, each one possible future: daily means
// from the day of the issue on, in the order of the members. Where the water is
// modelled, each member's water follows from that member's flow.
type Ensemble struct {
	From    Date
	WaterC  [][]float64 // °C by member and day
	FlowM3s [][]float64 // m3/s by member and day; nil where the flow is not forecast
}

// ErrNothingKnown is wrapped where a river has neither water nor weather.
var ErrNothingKnown = errors.New("no water temperature and no weather data")

// Issue makes the outlook of a river at a moment from what the store knew then.
func Issue(ctx context.Context, store Reader, r River, c *insects.Catalogue, at time.Time, opt Options) (*Outlook, error) {
	rec, err := Gather(ctx, store, r, at)
	if err != nil {
		return nil, err
	}
	return rec.Outlook(r, c, opt)
}

// Outlook makes the outlook of a record. The same record, river, catalogue and
// options give the same outlook.
func (rec Record) Outlook(r River, c *insects.Catalogue, opt Options) (*Outlook, error) {
	return new(Issuer).Outlook(rec, r, c, opt)
}

// Outlook is Record.Outlook with buffers and draws kept from one to the next.
func (is *Issuer) Outlook(rec Record, r River, c *insects.Catalogue, opt Options) (*Outlook, error) {
	if opt.Members == 0 {
		opt.Members = 200
	}
	if opt.Ahead == 0 {
		opt.Ahead = 365
	}
	opt.Sightings = without(opt.Sightings, opt.Without)
	if slices.Contains(opt.Without, Records) {
		opt.Open = nil
	}
	region, err := r.region()
	if err != nil {
		return nil, err
	}
	o := &Outlook{
		River: r.Slug, RiverName: r.Name, Zone: r.Zone, Lat: r.Lat, Lon: r.Lon,
		IssuedAt: rec.IssuedAt, DataCutoff: rec.Cutoff, ModelVersion: ModelVersion, Members: opt.Members,
		Notes: []Remark{},
	}
	groups, err := chosen(r, c, region)
	if err != nil {
		return nil, err
	}
	w := &water{day0: yearStart(rec.Issue, r.Lat), seed: seedOf(r.Slug, rec.Issue)}
	w.first = firstDay(w.day0, rec.Issue, groups, region)
	flowAhead := (*FlowAhead)(nil)
	weather := rec.weather(opt, w.seed)
	if w.flowAhead, flowAhead = rec.flows(r, opt, w.seed, weather); !opt.ChancesOnly {
		o.Flow = flowAhead
	}
	if err := rec.future(w, o, opt, weather); err != nil {
		return nil, fmt.Errorf("water temperature of %s: %w", r.Slug, err)
	}
	if opt.Ensemble != nil {
		*opt.Ensemble = w.ensemble(rec.Issue)
	}
	if !opt.ChancesOnly {
		o.Water = w.days(rec)
		o.Heat = w.heat(rec)
		if d, days := w.departed(rec, rec.Issue); days > 0 {
			o.Departure = &Departure{MeanC: round(d, 100), Days: days}
		}
	}
	t, err := is.newTiming(w, rec, r, c, region, groups, opt)
	if err != nil {
		return nil, fmt.Errorf("timing of %s: %w", r.Slug, err)
	}
	if err := is.stages(w, o, rec, r, region, groups, t, opt); err != nil {
		return nil, fmt.Errorf("outlook of %s: %w", r.Slug, err)
	}
	if !opt.ChancesOnly {
		o.Entered = slices.Concat(t.entered, t.open.entered(r, o))
	}
	o.notes(rec)
	o.Notes = append(o.Notes, t.open.notes()...)
	if !t.anySeen() {
		o.Notes = append(o.Notes, Remark{Code: NoSightings})
	}
	return o, nil
}

// region is that of the catalogue: as the config says, or by the place.
func (r River) region() (insects.Region, error) {
	if r.Region != "" {
		region := insects.Region(r.Region)
		if err := region.CheckLatitude(r.Lat); err != nil {
			return "", fmt.Errorf("river %s: %w", r.Slug, err)
		}
		return region, nil
	}
	region, ok := insects.RegionOf(r.Lat, r.Lon)
	if !ok {
		return "", fmt.Errorf("river %s: no catalogue region at %g, %g; set region in the config", r.Slug, r.Lat, r.Lon)
	}
	return region, nil
}

func seedOf(slug string, d Date) uint64 {
	h := fnv.New64a()
	fmt.Fprintf(h, "%s %d", slug, d) // a hash never fails
	return h.Sum64()
}

func chosen(r River, c *insects.Catalogue, region insects.Region) ([]*insects.Group, error) {
	if len(r.Groups) == 0 {
		// Insects of lakes and ponds are forecast only where somebody asks for them.
		return slices.DeleteFunc(c.Forecastable(region), func(g *insects.Group) bool { return g.Habitat == insects.Still }), nil
	}
	var out []*insects.Group
	for _, key := range r.Groups {
		g, ok := c.Group(key)
		if !ok {
			return nil, fmt.Errorf("river %s: unknown insect group %q; see eclose group find", r.Slug, key)
		}
		if broods := c.Broods(key); g.Kind == insects.Parent && len(broods) > 0 {
			out = append(out, broods...)
		} else {
			out = append(out, g)
		}
	}
	return out, nil
}

// water is the water temperature of a season and its future, member by member.
type water struct {
	day0        Date // the first day of the season-year: 1 January, south of the equator 1 July
	members     [][]float64
	first       Date         // the first day of rows, not after day0
	rows        [][]float64  // the same as members, from first on: seasons over New Year begin before it
	climatology [365]float64 // °C by day of the year; NaN if no season is known
	diel        watertemp.Diel
	seed        uint64
	flowAhead   [][]float64   // m3/s by member and day from the issue on; nil where it is not forecast
	before      *[365]float64 // normal of past seasons only
}

// firstDay is the day from which the water of an issue is wanted: the start of the
// earliest season that is not over.
func firstDay(day0, issue Date, groups []*insects.Group, region insects.Region) Date {
	for _, g := range groups {
		if x, ok := g.Window(region, insects.Emergence); ok {
			day0 = min(day0, seasonFirst(issue, x.SeasonStart()))
		}
	}
	return day0
}

// future works out the water temperature from w.first to the end of what the
// outlook looks at.
func (rec Record) future(w *water, o *Outlook, opt Options, weather func() []watertemp.Future) error {
	seed := w.seed
	w.climatology = climatology(rec.Day0, rec.Water)
	if !opt.ChancesOnly {
		w.diel = watertemp.FitDiel(int(rec.Day0), rec.Water, rec.WaterMax)
	}
	o.Seasons = seasonsOf(rec.Day0, rec.Water, w.day0)

	known, airKnown := count(rec.Water), count(rec.Air)
	in := rec.WaterInput()
	past := int(rec.Issue - w.first)
	if airKnown >= 300 {
		donor, by := opt.Donor, ""
		if donor == nil && rec.Donor != nil {
			donor, by = rec.Donor, rec.DonorName
		}
		m, err := opt.fit(in, rec.Issue, donor)
		var little *watertemp.TooLittleError
		switch {
		case errors.As(err, &little):
			if m = watertemp.Prior(donor).At(in); !m.FromDonor {
				by = ""
			}
			o.Notes = append(o.Notes, Remark{Code: RegionalModel, Days: little.Have, Of: little.Need, River: by})
			if w.diel.Days == 0 {
				w.diel = m.Diel
			}
		case err != nil:
			return err
		case m.Partial():
			o.Notes = append(o.Notes, Remark{Code: PartialModel, Days: m.Days})
		}
		o.WaterSource = WaterSource(m.Grade + ":air+flow")
		if in.Flow == nil {
			o.WaterSource = WaterSource(m.Grade + ":air")
		}
		if rows := m.ForecastWithFlow(in, weather(), w.flowAhead, opt.Ahead, seed); rows != nil {
			o.WeatherSource = PastSeasons
			if len(rec.AirAhead) > 0 {
				o.WeatherSource = WeatherSource(fmt.Sprintf("%dx%d+%s", len(rec.AirAhead), len(rec.AirAhead[0]), PastSeasons))
			}
			w.join(rows, past, filled(&m, in, past, seed))
			if slices.ContainsFunc(w.climatology[:], math.IsNaN) {
				w.climatology = climatology(rec.Day0, m.Simulate(in.Day0, in.Air, in.Flow, 6))
			}
			return nil
		}
	}
	if known < 300 {
		return fmt.Errorf("%w: %d days of water and %d of air temperature stored; 300 of either needed", ErrNothingKnown, known, airKnown)
	}
	rows := traced(rec, opt.Ahead, opt.Members, seed)
	if rows == nil {
		return fmt.Errorf("%w for a full year: no past season to start from (%d days of water and %d of air temperature stored)", ErrNothingKnown, known, airKnown)
	}
	o.WaterSource, o.WeatherSource = MeasuredWater, NoWeather
	season := rec.season(w.first)
	fill(season, w.first, w.climatology)
	w.join(rows, past, func(_ int, into []float64) { copy(into, season) })
	return nil
}

// season is the water from a day on to the issue, NaN where unknown.
func (rec Record) season(day0 Date) []float64 { return rec.from(day0, int(rec.Issue-day0)) }

// filled is the season so far, member by member: readings as they are, gaps
// drawn within their error, the same error for a whole gap, since a model that
// is wrong today is wrong tomorrow.
func filled(m *watertemp.Model, in watertemp.Input, past int, seed uint64) func(member int, into []float64) {
	from := max(0, len(in.Air)-past)
	tail := watertemp.Input{Day0: in.Day0 + from, Air: in.Air[from:], Water: in.Water[from:]}
	if in.Flow != nil {
		tail.Flow = in.Flow[from:]
	}
	mean, sd := m.FillGaps(tail)
	return func(member int, into []float64) {
		var z [1]float64
		engine.Normals(z[:], seed, fmt.Sprintf("gap %d", member))
		for i := range into {
			k := i - (len(into) - len(mean))
			if k < 0 {
				into[i] = math.NaN()
				continue
			}
			into[i] = math.Max(0, mean[k]+z[0]*sd[k])
		}
	}
}

// join puts the season so far and a future together for each member.
func (w *water) join(rows [][]float64, past int, before func(member int, into []float64)) {
	w.members, w.rows = make([][]float64, len(rows)), make([][]float64, len(rows))
	n := past + len(rows[0])
	room := make([]float64, len(rows)*n)
	for m := range rows {
		all := room[m*n : (m+1)*n : (m+1)*n]
		b := all[:past]
		before(m, b)
		if count(b) < past {
			fill(b, w.first, w.climatology)
			for i := range b {
				if math.IsNaN(b[i]) {
					b[i] = rows[m][0] // nothing is known before: winter hardly counts
				}
			}
		}
		copy(all[past:], rows[m])
		w.rows[m], w.members[m] = all, all[w.day0-w.first:]
	}
}

func count(v []float64) int {
	n := 0
	for _, x := range v {
		if !math.IsNaN(x) {
			n++
		}
	}
	return n
}

// ensemble copies the members from the day of the issue on.
func (w *water) ensemble(issue Date) Ensemble {
	e := Ensemble{From: issue, WaterC: make([][]float64, len(w.rows))}
	for m, row := range w.rows {
		e.WaterC[m] = slices.Clone(row[issue-w.first:])
	}
	for _, row := range w.flowAhead {
		e.FlowM3s = append(e.FlowM3s, slices.Clone(row))
	}
	return e
}

// middle is the middle of the members' water on a date, °C; NaN where they do not
// reach.
func (w *water) middle(d Date) float64 {
	k := int(d - w.first)
	if k < 0 || k >= len(w.rows[0]) {
		return math.NaN()
	}
	column := make([]float64, len(w.rows))
	for m := range w.rows {
		column[m] = w.rows[m][k]
	}
	slices.Sort(column)
	return verify.QuantileOfSorted(column, 0.5)
}

// days sums the members up by day, from the start of the season-year on, to
// 0.01 °C: a thermometer knows no more.
func (w *water) days(rec Record) []WaterDay {
	n := len(w.members[0])
	out := make([]WaterDay, n)
	column := make([]float64, len(w.members))
	for d := range out {
		for m := range w.members {
			column[m] = w.members[m][d]
		}
		slices.Sort(column)
		date := w.day0 + Date(d)
		up, sd := w.diel.Above(int(date))
		out[d] = WaterDay{Date: date, P10: verify.QuantileOfSorted(column, 0.1), P50: verify.QuantileOfSorted(column, 0.5), P90: verify.QuantileOfSorted(column, 0.9)}
		out[d].MaxP50 = out[d].P50 + up
		out[d].MaxP90 = out[d].P50 + up + math.Hypot(1.2816*sd, out[d].P90-out[d].P50)
		for _, v := range []*float64{&out[d].P10, &out[d].P50, &out[d].P90, &out[d].MaxP50, &out[d].MaxP90} {
			*v = round(*v, 100)
		}
		if v := w.climatology[dayOfYear(date)]; !math.IsNaN(v) {
			v = round(v, 100)
			out[d].Climatology = &v
		}
		if k := int(date - rec.Day0); k >= 0 && k < len(rec.Water) && !math.IsNaN(rec.Water[k]) {
			v := round(rec.Water[k], 100)
			out[d].Observed = &v
		}
	}
	return out
}

// heatBases are the bases that people quote, °C: none, and the 4 °C of the trap
// records' authors.
var heatBases = []float64{0, 4}

func (w *water) heat(rec Record) []HeatSum {
	n := int(rec.Issue - w.day0)
	if n <= 0 {
		return nil
	}
	season := rec.season(w.day0)
	usual := make([]float64, n)
	for d := range usual {
		usual[d] = w.climatologyBefore(rec, d)
	}
	var out []HeatSum
	sums, run := make([]float64, len(w.members)), make([]float64, n)
	for _, base := range heatBases {
		h := HeatSum{Since: w.day0, BaseC: base, Days: n, Measured: count(season)}
		for m := range w.members {
			degreeday.RunningSum(run, w.members[m][:n], base, math.Inf(1))
			sums[m] = run[n-1]
		}
		slices.Sort(sums)
		h.SumCDays = round(verify.QuantileOfSorted(sums, 0.5), 10)
		if count(usual) == n {
			degreeday.RunningSum(run, usual, base, math.Inf(1))
			h.Climatology = round(run[n-1], 10)
		}
		out = append(out, h)
	}
	return out
}

// notes adds what a reader must know of how the outlook came about.
func (o *Outlook) notes(rec Record) {
	if !rec.AsOf {
		o.Notes = append(o.Notes, Remark{Code: RevisedReadings})
	}
	if age := rec.IssuedAt.Sub(rec.Cutoff); rec.Cutoff.IsZero() {
		o.Notes = append(o.Notes, Remark{Code: NoRecentReading})
	} else if age > 48*time.Hour {
		o.Notes = append(o.Notes, Remark{Code: OldReading, Days: int(math.Round(age.Hours() / 24))})
	}
	if o.Seasons < 3 {
		o.Notes = append(o.Notes, Remark{Code: FewSeasons, Seasons: o.Seasons})
	}
}
