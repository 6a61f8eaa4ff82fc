package export

import (
	"cmp"
	"iter"
	"maps"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/forecast"
)

// Prediction is one number of a forecast in the long form of the Ecological
// Forecasting Initiative's convention, version 1.0 (Dietze et al. 2023, Ecosphere
// 14(11):e4686, tables 2, S1 and S2). The columns project_id, model_id and duration
// are those of the Initiative's forecasting challenges.
//
// A variable's numbers of one day are of one family: "ensemble", whose parameters
// are the members 1 to n; "summary", with the median and the bounds of predictive
// intervals; "bernoulli", whose prob is the chance of an event.
type Prediction struct {
	Project    string
	Model      string // see ModelID and CalendarID
	Reference  time.Time
	Day        forecast.Date
	Duration   string // ISO 8601: a day
	Site       string // river slug
	Family     string
	Parameter  string
	Variable   string // see the constants below and EventVariable
	Prediction float64
}

// Observation is a measured or watched value in the targets format of the
// Initiative's challenges, to score predictions of the same site, day and variable.
type Observation struct {
	Project  string
	Site     string
	Day      forecast.Date
	Duration string
	Variable string
	Value    float64
}

// The variables of rivers. Names have letters, digits and underscores only, as the
// convention wants; that of flow is the CF standard name.
const (
	WaterVariable = "water_temperature"
	FlowVariable  = "water_volume_transport_in_river_channel"
)

const (
	project = "eclose"
	daily   = "P1D"
)

// ModelID names the model behind an outlook's numbers.
func ModelID(version string) string { return project + "-" + version }

// CalendarID names the model behind the chances that the calendar alone gives.
func CalendarID(version string) string { return ModelID(version) + "-calendar" }

// EventVariable names the event that a stage of a group is seen: in two hours of
// watching suitable water, in more than stray numbers.
func EventVariable(stage forecast.Stage, group string) string {
	return strings.ReplaceAll(string(stage)+"_of_"+group, "-", "_")
}

const aboutVariable = "water_temperature: daily mean, degree_Celsius. water_volume_transport_in_river_channel: daily mean flow, m3 s-1; says nothing about wading. " +
	"emergence_of_GROUP, egg_laying_of_GROUP: 1 where a competent observer, watching suitable water for two hours at the group's time of day, sees more than a few stray insects"

// EFI is the table of predictions.
var EFI = Table[Prediction]{Name: "efi-forecast", Version: "1",
	Key: []string{"model_id", "reference_datetime", "datetime", "site_id", "family", "parameter", "variable"},
	Columns: []Column[Prediction]{
		{"project_id", "", "project", "", func(p *Prediction) any { return &p.Project }},
		{"model_id", "", "model and its version; -calendar is the calendar alone", "", func(p *Prediction) any { return &p.Model }},
		{"reference_datetime", "", "issue time, UTC", "forecast_reference_time", func(p *Prediction) any { return &p.Reference }},
		{"datetime", "", "local date at the river", "", func(p *Prediction) any { return &p.Day }},
		{"duration", "", "what datetime spans, ISO 8601", "", func(p *Prediction) any { return &p.Duration }},
		{"site_id", "", "river slug", "", func(p *Prediction) any { return &p.Site }},
		{"family", "", "ensemble, summary or bernoulli", "", func(p *Prediction) any { return &p.Family }},
		{"parameter", "", "ensemble: number of the member; summary: median or pred_interv_NN.N, a quantile in percent; bernoulli: prob", "", func(p *Prediction) any { return &p.Parameter }},
		{"variable", "", aboutVariable, "", func(p *Prediction) any { return &p.Variable }},
		{"prediction", "", "value of the parameter, in the variable's unit; a chance for bernoulli", "", func(p *Prediction) any { return &p.Prediction }},
	}}

// Targets is the table of observations.
var Targets = Table[Observation]{Name: "efi-targets", Version: "1", Key: []string{"site_id", "datetime", "duration", "variable"},
	Columns: []Column[Observation]{
		{"project_id", "", "project", "", func(o *Observation) any { return &o.Project }},
		{"site_id", "", "river slug", "", func(o *Observation) any { return &o.Site }},
		{"datetime", "", "local date at the river", "", func(o *Observation) any { return &o.Day }},
		{"duration", "", "what datetime spans, ISO 8601", "", func(o *Observation) any { return &o.Duration }},
		{"variable", "", aboutVariable, "", func(o *Observation) any { return &o.Variable }},
		{"observation", "", "measured value, in the variable's unit; 1 seen or 0 not seen for insects", "", func(o *Observation) any { return &o.Value }},
	}}

// Predictions lists the numbers of an outlook between two days; 0 for the day of
// issue and for the last. With members, water and flow are given member by member.
// As in Flatten, days on which neither forecast nor calendar expects an insect have
// no row of it.
func Predictions(o *forecast.Outlook, members *forecast.Ensemble, from, to forecast.Date) iter.Seq[Prediction] {
	if from == 0 {
		from = o.IssueDate()
	}
	if to == 0 {
		to = math.MaxInt32
	}
	p := Prediction{Project: project, Model: ModelID(o.ModelVersion), Reference: micro(o.IssuedAt), Duration: daily, Site: o.River}
	return func(yield func(Prediction) bool) {
		rivers := summaries
		if members != nil {
			rivers = func(o *forecast.Outlook) iter.Seq[Prediction] { return ensembles(members) }
		}
		for _, all := range []iter.Seq[Prediction]{rivers(o), chances(o)} {
			for x := range all {
				if x.Day < from || x.Day > to {
					continue
				}
				p.Day, p.Family, p.Parameter, p.Variable, p.Prediction = x.Day, x.Family, x.Parameter, x.Variable, x.Prediction
				p.Model = ModelID(o.ModelVersion)
				if x.Model != "" {
					p.Model = x.Model
				}
				if !yield(p) {
					return
				}
			}
		}
	}
}

// quantile is a number of the family "summary".
type quantile struct {
	parameter string
	value     float64
}

func summaries(o *forecast.Outlook) iter.Seq[Prediction] {
	return func(yield func(Prediction) bool) {
		of := func(d forecast.Date, variable string, all ...quantile) bool {
			for _, q := range all {
				if !yield(Prediction{Day: d, Family: "summary", Parameter: q.parameter, Variable: variable, Prediction: q.value}) {
					return false
				}
			}
			return true
		}
		for _, d := range o.Water {
			if !of(d.Date, WaterVariable, quantile{"pred_interv_10.0", d.P10}, quantile{"median", d.P50}, quantile{"pred_interv_90.0", d.P90}) {
				return
			}
		}
		if o.Flow == nil {
			return
		}
		for _, d := range o.Flow.Days {
			if !of(d.Date, FlowVariable, quantile{"pred_interv_05.0", d.P05}, quantile{"pred_interv_10.0", d.P10}, quantile{"pred_interv_25.0", d.P25},
				quantile{"median", d.P50}, quantile{"pred_interv_75.0", d.P75}, quantile{"pred_interv_90.0", d.P90}, quantile{"pred_interv_95.0", d.P95}) {
				return
			}
		}
	}
}

func ensembles(e *forecast.Ensemble) iter.Seq[Prediction] {
	return func(yield func(Prediction) bool) {
		for _, x := range []struct {
			variable string
			rows     [][]float64
			round    func(float64) float64
		}{{WaterVariable, e.WaterC, hundredths}, {FlowVariable, e.FlowM3s, fourDigits}} {
			for m, row := range x.rows {
				for d, v := range row {
					if !yield(Prediction{Day: e.From + forecast.Date(d), Family: "ensemble", Parameter: strconv.Itoa(m + 1), Variable: x.variable, Prediction: x.round(v)}) {
						return
					}
				}
			}
		}
	}
}

// A thermometer knows no more than 0.01 °C, a gauge no more than four digits.
func hundredths(v float64) float64 { return math.Round(v*100) / 100 }

func fourDigits(v float64) float64 {
	if v == 0 {
		return 0
	}
	scale := math.Pow(10, 3-math.Floor(math.Log10(math.Abs(v))))
	return math.Round(v*scale) / scale
}

func chances(o *forecast.Outlook) iter.Seq[Prediction] {
	return func(yield func(Prediction) bool) {
		calendar := CalendarID(o.ModelVersion)
		for i := range o.Stages {
			s := &o.Stages[i]
			p := Prediction{Family: "bernoulli", Parameter: "prob", Variable: EventVariable(s.Stage, s.Group)}
			for _, d := range s.Days.All() {
				if d.Nothing() {
					continue
				}
				p.Day = d.Date
				p.Model, p.Prediction = "", d.P
				if !yield(p) {
					return
				}
				p.Model, p.Prediction = calendar, d.PCalendar
				if !yield(p) {
					return
				}
			}
		}
	}
}

// The chance is that of two hours of watching. A visit of this many hours is held
// against it, seen or not; shorter and longer ones would bias what is scored. Our
// own default.
const leastHours, mostHours = 1, 4

// Observed lists what is known of a river between two days; 0 for the first and for
// the last: daily means of water and flow, and what was seen of insects. Only the
// owner's own sightings are given, for those of others are not the owner's to
// publish.
func Observed(river string, rec forecast.Record, sightings []forecast.Sighting, from, to forecast.Date) iter.Seq[Observation] {
	if to == 0 {
		to = math.MaxInt32
	}
	return func(yield func(Observation) bool) {
		o := Observation{Project: project, Site: river, Duration: daily}
		for _, x := range []struct {
			variable string
			values   []float64
			steps    float64
		}{{WaterVariable, rec.Water, 100}, {FlowVariable, rec.Flow, 1000}} {
			for i := range x.values {
				d := rec.Day0 + forecast.Date(i)
				v := on(rec.Day0, x.values, x.steps, d)
				if math.IsNaN(v) || d < from || d > to {
					continue
				}
				if o.Day, o.Variable, o.Value = d, x.variable, v; !yield(o) {
					return
				}
			}
		}
		for _, x := range visits(river, sightings, from, to) {
			if o.Day, o.Variable, o.Value = x.day, x.variable, x.seen; !yield(o) {
				return
			}
		}
	}
}

type visit struct {
	day      forecast.Date
	variable string
	seen     float64
}

// visits are the days on which a stage was watched for about two hours; it counts
// as seen if any visit of the day saw it.
func visits(river string, sightings []forecast.Sighting, from, to forecast.Date) []visit {
	type key struct {
		day      forecast.Date
		variable string
	}
	seen := map[key]float64{}
	for _, s := range sightings {
		if s.River != river || s.Kind != forecast.Own || s.Hours < leastHours || s.Hours > mostHours || s.Day < from || s.Day > to {
			continue
		}
		k := key{s.Day, EventVariable(s.Stage, s.Group)}
		v := 0.0
		if s.Seen() {
			v = 1
		}
		seen[k] = max(seen[k], v)
	}
	keys := slices.Collect(maps.Keys(seen))
	sort.Slice(keys, func(i, j int) bool {
		a, b := keys[i], keys[j]
		return cmp.Or(cmp.Compare(a.day, b.day), strings.Compare(a.variable, b.variable)) < 0
	})
	out := make([]visit, len(keys))
	for i, k := range keys {
		out[i] = visit{k.day, k.variable, seen[k]}
	}
	return out
}
