package export

import (
	"fmt"
	"io"
	"iter"
	"math"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
)

// Row is one day of one stage of one group at one river, as issued.
type Row struct {
	Day              forecast.Date
	River            string
	RiverName        string
	Zone             string
	Lat, Lon         float64
	Group            string
	GroupName        string
	Stage            string
	Fishable         bool
	LeadDays         int
	P, PCalendar     float64
	PPlainCalendar   float64
	Activity         [3]float64 // 10, 50, 90 % points over members
	ActivityCalendar float64
	Window           forecast.Window // zero where the season holds none
	WindowCalendar   forecast.Window
	WindowPlain      forecast.Window
	WindowBasis      forecast.BasisCode
	Hours            string
	ThermalWeight    float64
	Grade            forecast.EvidenceCode
	IssuedAt         time.Time
	DataCutoff       time.Time
	SeasonsBehind    int
	Members          int
	WaterSource      forecast.WaterSource
	WeatherSource    forecast.WeatherSource
	ModelVersion     string
	WaterC           [3]float64 // daily mean water temperature, 10, 50, 90 % points; NaN where it is not forecast
	WaterObservedC   float64    // daily mean as measured; NaN where it is not
	FlowM3s          [3]float64 // daily mean flow of the river, 10, 50, 90 % points; NaN where it is not forecast
	FlowObservedM3s  float64    // daily mean as measured; NaN where it is not
	PFishable        float64    // chance that it lies within the owner's range; NaN without one
	FlowSource       forecast.FlowSource
	CautionLevel     string    // see levelCode
	CautionRead      time.Time // when the gauge behind the level was read; zero if it was not
	CautionUntil     time.Time // past this moment the level is unknown; zero where it is already
}

// Outlooks is the table of outlook rows.
var Outlooks = Table[Row]{Name: "outlook", Version: "2", Key: []string{"river", "issued_at", "group", "stage", "day"}, Columns: []Column[Row]{
	{"day", "", "local date at the river", "", func(r *Row) any { return &r.Day }},
	{"river", "", "river slug", "", func(r *Row) any { return &r.River }},
	{"river_name", "", "name of the river", "", func(r *Row) any { return &r.RiverName }},
	{"zone", "", "time zone of the river", "", func(r *Row) any { return &r.Zone }},
	{"lat", "degrees_north", "latitude of the gauge", "latitude", func(r *Row) any { return &r.Lat }},
	{"lon", "degrees_east", "longitude of the gauge", "longitude", func(r *Row) any { return &r.Lon }},
	{"group", "", "key of the insect group", "", func(r *Row) any { return &r.Group }},
	{"group_name", "", "name of the insect group", "", func(r *Row) any { return &r.GroupName }},
	{"stage", "", "emergence or egg-laying", "", func(r *Row) any { return &r.Stage }},
	{"fishable", "", "whether this stage is worth fishing", "", func(r *Row) any { return &r.Fishable }},
	{"lead", "day", "days from the issue date to the day", "", func(r *Row) any { return &r.LeadDays }},
	{"p", "1", "chance that a competent observer, watching suitable water for two hours at the group's time of day, sees more than a few stray insects", "", func(r *Row) any { return &r.P }},
	{"p_calendar", "1", "the same from the calendar only", "", func(r *Row) any { return &r.PCalendar }},
	{"p_plain_calendar", "1", "the same from a calendar that takes all past seasons alike, where p_calendar trusts recent ones more", "", func(r *Row) any { return &r.PPlainCalendar }},
	{"activity_p10", "day-1", "share of the season's total on the day, 10 % point over members", "", func(r *Row) any { return &r.Activity[0] }},
	{"activity_p50", "day-1", "share of the season's total on the day, median over members", "", func(r *Row) any { return &r.Activity[1] }},
	{"activity_p90", "day-1", "share of the season's total on the day, 90 % point over members", "", func(r *Row) any { return &r.Activity[2] }},
	{"activity_calendar", "day-1", "share of the season's total on the day from the calendar alone", "", func(r *Row) any { return &r.ActivityCalendar }},
	{"window_start_p10", "", "10 % of the season's activity has passed, early bound (10 %)", "", func(r *Row) any { return &r.Window.Start.P10 }},
	{"window_start_p50", "", "10 % of the season's activity has passed, median", "", func(r *Row) any { return &r.Window.Start.P50 }},
	{"window_start_p90", "", "10 % of the season's activity has passed, late bound (90 %)", "", func(r *Row) any { return &r.Window.Start.P90 }},
	{"window_peak_p10", "", "half of the season's activity has passed, early bound (10 %)", "", func(r *Row) any { return &r.Window.Peak.P10 }},
	{"window_peak_p50", "", "half of the season's activity has passed, median", "", func(r *Row) any { return &r.Window.Peak.P50 }},
	{"window_peak_p90", "", "half of the season's activity has passed, late bound (90 %)", "", func(r *Row) any { return &r.Window.Peak.P90 }},
	{"window_end_p10", "", "90 % of the season's activity has passed, early bound (10 %)", "", func(r *Row) any { return &r.Window.End.P10 }},
	{"window_end_p50", "", "90 % of the season's activity has passed, median", "", func(r *Row) any { return &r.Window.End.P50 }},
	{"window_end_p90", "", "90 % of the season's activity has passed, late bound (90 %)", "", func(r *Row) any { return &r.Window.End.P90 }},
	{"window_calendar_start", "", "start of the window from the calendar alone, median", "", func(r *Row) any { return &r.WindowCalendar.Start.P50 }},
	{"window_calendar_peak", "", "peak of the window from the calendar alone, median", "", func(r *Row) any { return &r.WindowCalendar.Peak.P50 }},
	{"window_calendar_end", "", "end of the window from the calendar alone, median", "", func(r *Row) any { return &r.WindowCalendar.End.P50 }},
	{"window_plain_calendar_start", "", "the same by the calendar that takes all past seasons alike", "", func(r *Row) any { return &r.WindowPlain.Start.P50 }},
	{"window_plain_calendar_peak", "", "peak by that calendar, median", "", func(r *Row) any { return &r.WindowPlain.Peak.P50 }},
	{"window_plain_calendar_end", "", "end by that calendar, median", "", func(r *Row) any { return &r.WindowPlain.End.P50 }},
	{"window_basis", "", "what the catalogue's dates were collected over" + meanings(insects.OneReach, insects.SeveralReaches, insects.RegionalBook, insects.OpenRecords, insects.Checklist, insects.CommonPractice) + "; :NAME names a record, +flight are adults in flight at light traps, not emergence", "", func(r *Row) any { return (*string)(&r.WindowBasis) }},
	{"hours", "", "hours of the day, local, in words", "", func(r *Row) any { return &r.Hours }},
	{"thermal_weight", "1", "0 calendar only, 1 water temperature only", "", func(r *Row) any { return &r.ThermalWeight }},
	{"grade", "", "evidence for the group's values" + meanings(insects.Measured, insects.Published, insects.PartPublished, insects.Derived, insects.Proxy, insects.Prior, insects.Practice, insects.Guess, insects.Own) +
		"; sightings:N = sightings here in N seasons; records:N = N open records of the region", "", func(r *Row) any { return (*string)(&r.Grade) }},
	{"issued_at", "", "issue time, UTC", "forecast_reference_time", func(r *Row) any { return &r.IssuedAt }},
	{"data_cutoff", "", "time of the newest reading used, UTC", "", func(r *Row) any { return &r.DataCutoff }},
	{"seasons_behind", "1", "past seasons of water temperature at this river used", "", func(r *Row) any { return &r.SeasonsBehind }},
	{"members", "1", "ensemble size", "", func(r *Row) any { return &r.Members }},
	{"water_source", "", "where the water temperature comes from" + meanings[forecast.WaterSource]("measured", "fitted", "fitted-short", "prior", "prior-nearby", "prior-corrected") + "; :air+flow and :air are what drives the model", "", func(r *Row) any { return (*string)(&r.WaterSource) }},
	{"weather_source", "", "source of the weather ahead" + meanings(forecast.PastSeasons, forecast.NoWeather) + "; MxN+past-seasons is a forecast of M members for N days, then past-seasons", "", func(r *Row) any { return (*string)(&r.WeatherSource) }},
	{"model_version", "", "version of the model", "", func(r *Row) any { return &r.ModelVersion }},
	{"water_p10", "degree_Celsius", "daily mean water temperature, modelled, 10 % point over members", "", func(r *Row) any { return &r.WaterC[0] }},
	{"water_p50", "degree_Celsius", "daily mean water temperature, modelled, median over members", "", func(r *Row) any { return &r.WaterC[1] }},
	{"water_p90", "degree_Celsius", "daily mean water temperature, modelled, 90 % point over members", "", func(r *Row) any { return &r.WaterC[2] }},
	{"water_observed", "degree_Celsius", "daily mean water temperature as measured, where the day is over", "", func(r *Row) any { return &r.WaterObservedC }},
	{"flow_p10", "m3 s-1", "daily mean flow at the gauge, modelled, 10 % point over members; says nothing about wading", "", func(r *Row) any { return &r.FlowM3s[0] }},
	{"flow_p50", "m3 s-1", "daily mean flow at the gauge, modelled, median over members; says nothing about wading", "water_volume_transport_in_river_channel", func(r *Row) any { return &r.FlowM3s[1] }},
	{"flow_p90", "m3 s-1", "daily mean flow at the gauge, modelled, 90 % point over members; says nothing about wading", "", func(r *Row) any { return &r.FlowM3s[2] }},
	{"flow_observed", "m3 s-1", "daily mean flow at the gauge as measured, where the day is over; says nothing about wading", "", func(r *Row) any { return &r.FlowObservedM3s }},
	{"p_fishable_flow", "1", "chance that the daily mean flow lies within the range that the owner of this installation fishes at; says nothing about wading", "", func(r *Row) any { return &r.PFishable }},
	{"flow_source", "", "what the flow ahead rests on" + flowMeanings, "", func(r *Row) any { return (*string)(&r.FlowSource) }},
	{"caution_level", "", "wading caution of the row's day as judged when the file was written" + levelMeanings + "; unknown on every day but that one, and after caution_valid_until", "", func(r *Row) any { return &r.CautionLevel }},
	{"caution_read_at", "", "when the gauge behind the level was read, UTC", "", func(r *Row) any { return &r.CautionRead }},
	{"caution_valid_until", "", "past this moment the level is unknown, UTC", "", func(r *Row) any { return &r.CautionUntil }},
}}

// Flatten lists the rows of one outlook between two days; 0 for the day of issue
// and for the last. Days on which nothing is to be expected, by the forecast or by
// the calendar, have no row: they are most of a year.
func Flatten(o *forecast.Outlook, from, to forecast.Date) iter.Seq[Row] {
	return Conditions{}.Flatten(o, from, to)
}

// Flatten is the function Flatten, with what is known beside the outlook.
func (b Conditions) Flatten(o *forecast.Outlook, from, to forecast.Date) iter.Seq[Row] {
	return func(yield func(Row) bool) {
		issued := o.IssueDate()
		if from == 0 {
			from = issued
		}
		for i := range o.Stages {
			s := &o.Stages[i]
			r := Row{
				River: o.River, RiverName: o.RiverName, Zone: o.Zone, Lat: o.Lat, Lon: o.Lon,
				Group: s.Group, GroupName: s.Name, Stage: string(s.Stage), Fishable: s.Fishable,
				Window: s.Window, WindowCalendar: onlyMedians(s.Calendar), WindowPlain: onlyMedians(s.PlainCalendar()), WindowBasis: s.Basis, Hours: s.Hours.String(),
				ThermalWeight: s.Weight, Grade: s.Grade, IssuedAt: micro(o.IssuedAt), DataCutoff: micro(o.DataCutoff),
				SeasonsBehind: o.Seasons, Members: o.Members, WaterSource: o.WaterSource, WeatherSource: o.WeatherSource,
				ModelVersion: o.ModelVersion,
			}
			for _, d := range s.Days.All() {
				if d.Date < from || (to != 0 && d.Date > to) || d.Nothing() {
					continue
				}
				r.Day, r.LeadDays = d.Date, int(d.Date-issued)
				r.river(o, b)
				r.P, r.PCalendar, r.PPlainCalendar = d.P, d.PCalendar, s.PlainChance(d.Date)
				r.ActivityCalendar, r.Activity = d.Calendar, d.Activity
				if !yield(r) {
					return
				}
			}
		}
	}
}

// river takes the water, the flow and the caution of the row's day.
func (r *Row) river(o *forecast.Outlook, b Conditions) {
	none := [3]float64{math.NaN(), math.NaN(), math.NaN()}
	r.WaterC, r.WaterObservedC, r.FlowM3s, r.FlowObservedM3s, r.PFishable, r.FlowSource = none, math.NaN(), none, math.NaN(), math.NaN(), ""
	if d, ok := o.WaterOn(r.Day); ok {
		r.WaterC = [3]float64{d.P10, d.P50, d.P90}
		if d.Observed != nil {
			r.WaterObservedC = *d.Observed
		}
	}
	if d, ok := o.Flow.On(r.Day); ok {
		r.FlowM3s, r.FlowSource = [3]float64{d.P10, d.P50, d.P90}, o.Flow.Source
		if d.Fishable != nil {
			r.PFishable = *d.Fishable
		}
	}
	if v := b.water(r.Day); !math.IsNaN(v) {
		r.WaterObservedC = v
	}
	r.FlowObservedM3s = b.flow(r.Day)
	r.CautionLevel, r.CautionRead, r.CautionUntil = b.caution(r.Day)
}

func micro(t time.Time) time.Time { return t.UTC().Truncate(time.Microsecond) }

// onlyMedians drops the ranges of the calendar window, which has no columns for
// them.
func onlyMedians(w forecast.Window) forecast.Window {
	return forecast.Window{
		Start: forecast.Range{P50: w.Start.P50}, Peak: forecast.Range{P50: w.Peak.P50}, End: forecast.Range{P50: w.End.P50},
	}
}

// check refuses rows that would make a file lie.
func (r *Row) check() error {
	switch {
	case r.River == "" || r.Group == "" || r.Stage == "":
		return fmt.Errorf("river %q, group %q, stage %q: none may be empty", r.River, r.Group, r.Stage)
	case r.Day == 0:
		return fmt.Errorf("%s, %s: a row without a day", r.River, r.Group)
	case r.CautionLevel == "":
		return fmt.Errorf("%s, %s, %s: a row without a caution level; write unknown", r.River, r.Group, r.Day)
	case !(r.P >= 0 && r.P <= 1) || !(r.PCalendar >= 0 && r.PCalendar <= 1) || !(r.PPlainCalendar >= 0 && r.PPlainCalendar <= 1):
		return fmt.Errorf("%s, %s, %s: chances %v and %v are not within 0 to 1", r.River, r.Group, r.Day, r.P, r.PCalendar)
	}
	return nil
}

// Write streams outlook rows in any of the formats. GeoJSON and ICS expect the
// rows of one river, group and stage to follow each other, as Flatten gives
// them. It returns the number of rows taken.
func Write(w io.Writer, f Format, m Meta, rows iter.Seq2[Row, error]) (int, error) {
	rows = checked(rows)
	var batch []Row
	var s sink
	var err error
	switch f {
	case GeoJSON:
		s, err = newGeoJSON(w, &batch, m)
	case ICS:
		s, err = newICS(w, &batch, m)
	default:
		return WriteTable(w, f, Outlooks, m, rows)
	}
	if err != nil {
		return 0, fmt.Errorf("starting outlook as %s: %w", f, err)
	}
	batch = make([]Row, 0, batchRows)
	return drain(s, &batch, rows, f, "outlook")
}

func checked(rows iter.Seq2[Row, error]) iter.Seq2[Row, error] {
	return func(yield func(Row, error) bool) {
		for r, err := range rows {
			if err == nil {
				err = r.check()
			}
			if !yield(r, err) {
				return
			}
		}
	}
}

// WriteFile is Write into a file, all or nothing (see File and WriteTableFile).
func WriteFile(path string, f Format, m Meta, rows iter.Seq2[Row, error]) (n int, err error) {
	if f != GeoJSON && f != ICS {
		return WriteTableFile(path, f, Outlooks, m, checked(rows))
	}
	err = File(path, func(w io.Writer) error {
		n, err = Write(w, f, m, rows)
		return err
	})
	return n, err
}
