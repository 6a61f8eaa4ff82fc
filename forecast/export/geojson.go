package export

import (
	"bufio"
	"encoding/json"
	"io"
	"time"

	"example.org/eclose/forecast"
)

// geoSink writes a FeatureCollection (RFC 7946): one point feature for each
// river, group and stage, with the window and the daily chances as arrays from
// "first_day" on. The attributes are members of the collection itself, which
// the standard allows and map programs ignore, so the caution is also a
// property of every feature.
type geoSink struct {
	b    *bufio.Writer
	last Row
	days geoDays
	any  bool
}

type geoDays struct {
	first    forecast.Date
	p        []*float64
	calendar []*float64
	plain    []*float64
}

type geoFeature struct {
	Type       string      `json:"type"`
	ID         string      `json:"id"`
	Geometry   geoPoint    `json:"geometry"`
	Properties geoProperty `json:"properties"`
}

type geoPoint struct {
	Type        string     `json:"type"`
	Coordinates [2]float64 `json:"coordinates"` // longitude, latitude
}

type geoProperty struct {
	River         string         `json:"river"`
	RiverName     string         `json:"river_name"`
	Zone          string         `json:"zone"`
	Group         string         `json:"group"`
	GroupName     string         `json:"group_name"`
	Stage         string         `json:"stage"`
	Fishable      bool           `json:"fishable"`
	Grade         string         `json:"grade"`
	Hours         string         `json:"hours"`
	ThermalWeight float64        `json:"thermal_weight"`
	WindowStart   *dates         `json:"window_start"`
	WindowPeak    *dates         `json:"window_peak"`
	WindowEnd     *dates         `json:"window_end"`
	CalendarPeak  *forecast.Date `json:"window_calendar_peak"`
	PlainPeak     *forecast.Date `json:"window_plain_calendar_peak"`
	FirstDay      forecast.Date  `json:"first_day"`
	P             []*float64     `json:"p"`
	PCalendar     []*float64     `json:"p_calendar"`
	PPlain        []*float64     `json:"p_plain_calendar"`
	PMax          float64        `json:"p_max"`
	IssuedAt      time.Time      `json:"issued_at"`
	DataCutoff    time.Time      `json:"data_cutoff"`
	SeasonsBehind int            `json:"seasons_behind"`
	Members       int            `json:"members"`
	ModelVersion  string         `json:"model_version"`
	Caution       string         `json:"caution"`
}

// dates is a range as an array of its 10, 50 and 90 % points.
type dates [3]forecast.Date

func rangeOf(r forecast.Range) *dates {
	if r.P50 == 0 {
		return nil
	}
	return &dates{r.P10, r.P50, r.P90}
}

func newGeoJSON(w io.Writer, m Meta) (sink[Row], error) {
	s := &geoSink{b: bufio.NewWriterSize(w, 1<<16)}
	buf, err := appendAttributes([]byte("{\n\"type\": \"FeatureCollection\",\n"), Outlooks.attributes(m))
	if err != nil {
		return nil, err
	}
	columns, err := json.Marshal(describe(Outlooks.Columns))
	if err != nil {
		return nil, err
	}
	buf = append(append(append(buf, `"columns": `...), columns...), ",\n\"features\": ["...)
	_, err = s.b.Write(buf)
	return s, err
}

func (s *geoSink) write(rows []Row) error {
	for _, r := range rows {
		if r.River != s.last.River || r.Group != s.last.Group || r.Stage != s.last.Stage || !r.IssuedAt.Equal(s.last.IssuedAt) || r.Day < s.last.Day {
			if err := s.flush(); err != nil {
				return err
			}
			s.days = geoDays{first: r.Day}
		}
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
	f := geoFeature{Type: "Feature", ID: r.River + "/" + r.Group + "/" + r.Stage,
		Geometry: geoPoint{"Point", [2]float64{r.Lon, r.Lat}},
		Properties: geoProperty{
			River: r.River, RiverName: r.RiverName, Zone: r.Zone, Group: r.Group, GroupName: r.GroupName, Stage: r.Stage,
			Fishable: r.Fishable, Grade: r.Grade, Hours: r.Hours, ThermalWeight: r.ThermalWeight,
			WindowStart: rangeOf(r.Window.Start), WindowPeak: rangeOf(r.Window.Peak), WindowEnd: rangeOf(r.Window.End),
			FirstDay: s.days.first, P: s.days.p, PCalendar: s.days.calendar, PPlain: s.days.plain,
			IssuedAt: r.IssuedAt, DataCutoff: r.DataCutoff, SeasonsBehind: r.SeasonsBehind, Members: r.Members,
			ModelVersion: r.ModelVersion, Caution: forecast.StandingCaution,
		}}
	if r.WindowCalendar.Peak.P50 != 0 {
		f.Properties.CalendarPeak, f.Properties.PlainPeak = &r.WindowCalendar.Peak.P50, &r.WindowPlain.Peak.P50
	}
	for _, p := range s.days.p {
		if p != nil {
			f.Properties.PMax = max(f.Properties.PMax, *p)
		}
	}
	b, err := json.Marshal(f)
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

func (s *geoSink) close() error {
	if err := s.flush(); err != nil {
		return err
	}
	s.b.WriteString("\n]\n}\n") //nolint:errcheck // the writer keeps its first error for Flush
	return s.b.Flush()
}
