package export

import (
	"bufio"
	"encoding/json"
	"io"
	"maps"
	"math"
	"slices"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/wading"
)

// geoSink writes a FeatureCollection (RFC 7946): one point feature for each
// river, group and stage, with the window and the daily chances as arrays from
// "first_day" on, and after those of a river one for its water and flow, day by
// day where an insect has a row. The attributes are members of the collection itself, which
// the standard allows and map programs ignore, so the caution is also a
// property of every feature.
type geoSink struct {
	b     *bufio.Writer
	batch *[]Row
	last  Row
	days  geoDays
	any   bool
	// river holds a row of each day of the river, whatever its stage.
	river map[forecast.Date]Row
}

type geoDays struct {
	first    forecast.Date
	p        []*float64
	calendar []*float64
	plain    []*float64
}

type geoFeature struct {
	Type       string   `json:"type"`
	ID         string   `json:"id"`
	Geometry   geoPoint `json:"geometry"`
	Properties any      `json:"properties"`
}

type geoPoint struct {
	Type        string     `json:"type"`
	Coordinates [2]float64 `json:"coordinates"` // longitude, latitude
}

type geoProperty struct {
	River         string                `json:"river"`
	RiverName     string                `json:"river_name"`
	Zone          string                `json:"zone"`
	Group         string                `json:"group"`
	GroupName     string                `json:"group_name"`
	Stage         string                `json:"stage"`
	Fishable      bool                  `json:"fishable"`
	Grade         forecast.EvidenceCode `json:"grade"`
	Hours         string                `json:"hours"`
	ThermalWeight float64               `json:"thermal_weight"`
	WindowStart   *dates                `json:"window_start"`
	WindowPeak    *dates                `json:"window_peak"`
	WindowEnd     *dates                `json:"window_end"`
	CalendarPeak  *forecast.Date        `json:"window_calendar_peak"`
	PlainPeak     *forecast.Date        `json:"window_plain_calendar_peak"`
	FirstDay      forecast.Date         `json:"first_day"`
	P             []*float64            `json:"p"`
	PCalendar     []*float64            `json:"p_calendar"`
	PPlain        []*float64            `json:"p_plain_calendar"`
	PMax          float64               `json:"p_max"`
	IssuedAt      time.Time             `json:"issued_at"`
	DataCutoff    time.Time             `json:"data_cutoff"`
	SeasonsBehind int                   `json:"seasons_behind"`
	Members       int                   `json:"members"`
	ModelVersion  string                `json:"model_version"`
	Caution       string                `json:"caution"`
}

// geoRiver is what the feature of a river says: arrays from "first_day" on.
type geoRiver struct {
	River         string                 `json:"river"`
	RiverName     string                 `json:"river_name"`
	Zone          string                 `json:"zone"`
	FirstDay      forecast.Date          `json:"first_day"`
	WaterP10      []*float64             `json:"water_p10"`
	WaterP50      []*float64             `json:"water_p50"`
	WaterP90      []*float64             `json:"water_p90"`
	WaterObserved []*float64             `json:"water_observed"`
	FlowP10       []*float64             `json:"flow_p10"`
	FlowP50       []*float64             `json:"flow_p50"`
	FlowP90       []*float64             `json:"flow_p90"`
	FlowObserved  []*float64             `json:"flow_observed"`
	PFishable     []*float64             `json:"p_fishable_flow"`
	WaterSource   forecast.WaterSource   `json:"water_source"`
	WeatherSource forecast.WeatherSource `json:"weather_source"`
	FlowSource    forecast.FlowSource    `json:"flow_source"`
	IssuedAt      time.Time              `json:"issued_at"`
	DataCutoff    time.Time              `json:"data_cutoff"`
	ModelVersion  string                 `json:"model_version"`
	CautionLevel  string                 `json:"caution_level"` // of the day on which the file was written
	CautionRead   *time.Time             `json:"caution_read_at"`
	CautionUntil  *time.Time             `json:"caution_valid_until"`
	Caution       string                 `json:"caution"`
}

// dates is a range as an array of its 10, 50 and 90 % points.
type dates [3]forecast.Date

func rangeOf(r forecast.Range) *dates {
	if r.P50 == 0 {
		return nil
	}
	return &dates{r.P10, r.P50, r.P90}
}

func newGeoJSON(w io.Writer, batch *[]Row, m Meta) (sink, error) {
	s := &geoSink{batch: batch, b: bufio.NewWriterSize(w, 1<<16), river: map[forecast.Date]Row{}}
	t := Outlooks.over(batch)
	buf, err := appendAttributes([]byte("{\n\"type\": \"FeatureCollection\",\n"), t.attributes(m))
	if err != nil {
		return nil, err
	}
	columns, err := json.Marshal(describe(t.columns))
	if err != nil {
		return nil, err
	}
	buf = append(append(append(buf, `"columns": `...), columns...), ",\n\"features\": ["...)
	_, err = s.b.Write(buf)
	return s, err
}

func (s *geoSink) write(rows int) error {
	for _, r := range (*s.batch)[:rows] {
		if r.River != s.last.River || r.Group != s.last.Group || r.Stage != s.last.Stage || !r.IssuedAt.Equal(s.last.IssuedAt) || r.Day < s.last.Day {
			if err := s.flush(); err != nil {
				return err
			}
			s.days = geoDays{first: r.Day}
		}
		if r.River != s.last.River || !r.IssuedAt.Equal(s.last.IssuedAt) {
			if err := s.flushRiver(); err != nil {
				return err
			}
		}
		s.river[r.Day] = r
		for s.days.first+forecast.Date(len(s.days.p)) < r.Day { // a day without a row
			s.days.p, s.days.calendar, s.days.plain = append(s.days.p, nil), append(s.days.calendar, nil), append(s.days.plain, nil)
		}
		s.days.p, s.days.calendar, s.days.plain = append(s.days.p, &r.P), append(s.days.calendar, &r.PCalendar), append(s.days.plain, &r.PPlainCalendar)
		s.last = r
	}
	return nil
}

func (s *geoSink) flush() error {
	if len(s.days.p) == 0 {
		return nil
	}
	r := s.last
	about := geoProperty{
		River: r.River, RiverName: r.RiverName, Zone: r.Zone, Group: r.Group, GroupName: r.GroupName, Stage: r.Stage,
		Fishable: r.Fishable, Grade: r.Grade, Hours: r.Hours, ThermalWeight: r.ThermalWeight,
		WindowStart: rangeOf(r.Window.Start), WindowPeak: rangeOf(r.Window.Peak), WindowEnd: rangeOf(r.Window.End),
		FirstDay: s.days.first, P: s.days.p, PCalendar: s.days.calendar, PPlain: s.days.plain,
		IssuedAt: r.IssuedAt, DataCutoff: r.DataCutoff, SeasonsBehind: r.SeasonsBehind, Members: r.Members,
		ModelVersion: r.ModelVersion, Caution: forecast.StandingCaution,
	}
	if r.WindowCalendar.Peak.P50 != 0 {
		about.CalendarPeak, about.PlainPeak = &r.WindowCalendar.Peak.P50, &r.WindowPlain.Peak.P50
	}
	for _, p := range s.days.p {
		if p != nil {
			about.PMax = max(about.PMax, *p)
		}
	}
	return s.feature(r, r.River+"/"+r.Group+"/"+r.Stage, about)
}

// feature writes one point feature at a row's river.
func (s *geoSink) feature(r Row, id string, properties any) error {
	b, err := json.Marshal(geoFeature{Type: "Feature", ID: id, Geometry: geoPoint{"Point", [2]float64{r.Lon, r.Lat}}, Properties: properties})
	if err != nil {
		return err
	}
	if s.any {
		s.b.WriteByte(',') //nolint:errcheck // the writer keeps its first error
	}
	s.any = true
	s.b.WriteByte('\n') //nolint:errcheck // as above
	_, err = s.b.Write(b)
	return err
}

// flushRiver writes the feature of the river whose rows came last.
func (s *geoSink) flushRiver() error {
	if len(s.river) == 0 {
		return nil
	}
	days := slices.Sorted(maps.Keys(s.river))
	r := s.river[days[0]]
	about := geoRiver{
		River: r.River, RiverName: r.RiverName, Zone: r.Zone, FirstDay: days[0], WaterSource: r.WaterSource, WeatherSource: r.WeatherSource, FlowSource: r.FlowSource,
		IssuedAt: r.IssuedAt, DataCutoff: r.DataCutoff, ModelVersion: r.ModelVersion, CautionLevel: levelCode(wading.Caution{}), Caution: forecast.StandingCaution,
	}
	for d := days[0]; d <= days[len(days)-1]; d++ {
		r, ok := s.river[d]
		if ok && r.CautionLevel != about.CautionLevel { // one day at most was judged
			about.CautionLevel = r.CautionLevel
			if !r.CautionRead.IsZero() {
				about.CautionRead = &r.CautionRead
			}
			if !r.CautionUntil.IsZero() {
				about.CautionUntil = &r.CautionUntil
			}
		}
		for _, c := range []struct {
			into  *[]*float64
			value float64
		}{
			{&about.WaterP10, r.WaterC[0]}, {&about.WaterP50, r.WaterC[1]}, {&about.WaterP90, r.WaterC[2]}, {&about.WaterObserved, r.WaterObservedC},
			{&about.FlowP10, r.FlowM3s[0]}, {&about.FlowP50, r.FlowM3s[1]}, {&about.FlowP90, r.FlowM3s[2]}, {&about.FlowObserved, r.FlowObservedM3s}, {&about.PFishable, r.PFishable},
		} {
			var p *float64
			if ok && !math.IsNaN(c.value) {
				p = &c.value
			}
			*c.into = append(*c.into, p)
		}
	}
	clear(s.river)
	return s.feature(r, r.River, about)
}

func (s *geoSink) close() error {
	if err := s.flush(); err != nil {
		return err
	}
	if err := s.flushRiver(); err != nil {
		return err
	}
	s.b.WriteString("\n]\n}\n") //nolint:errcheck // the writer keeps its first error for Flush
	return s.b.Flush()
}
