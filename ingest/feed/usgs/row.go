package usgs

import (
	"math"
	"strconv"
	"strings"

	"example.org/eclose/ingest/feed/response"
	"github.com/go-json-experiment/json/jsontext"
)

// text is a member of an answer as text, whatever JSON type the agency chose
// that year: a string, a number, null (empty) or a list of strings (joined by
// commas). The API writes numbers as strings, and qualifier is a list where its
// schema says string.
type text string

// UnmarshalJSONFrom reads one JSON value of any kind.
func (t *text) UnmarshalJSONFrom(dec *jsontext.Decoder) error {
	switch dec.PeekKind() {
	case '[':
		if _, err := dec.ReadToken(); err != nil {
			return err
		}
		var parts []string
		for dec.PeekKind() != ']' {
			var p text
			if err := p.UnmarshalJSONFrom(dec); err != nil {
				return err
			}
			parts = append(parts, string(p))
		}
		*t = text(strings.Join(parts, ","))
		_, err := dec.ReadToken()
		return err
	case '{':
		v, err := dec.ReadValue()
		*t = text(v)
		return err
	}
	tok, err := dec.ReadToken()
	if err != nil {
		return err
	}
	if tok.Kind() == 'n' {
		*t = ""
		return nil
	}
	*t = text(tok.String())
	return nil
}

// row is one feature of any collection, in the members that we use. A CSV
// answer has the same names as columns.
type row struct {
	ID           text `json:"id"`
	TimeSeriesID text `json:"time_series_id"`
	FieldSeries  text `json:"field_measurements_series_id"`
	Site         text `json:"monitoring_location_id"`
	Parameter    text `json:"parameter_code"`
	Statistic    text `json:"statistic_id"`
	Time         text `json:"time"`
	Value        text `json:"value"`
	Unit         text `json:"unit_of_measure"`
	Approval     text `json:"approval_status"`
	Qualifier    text `json:"qualifier"`

	// channel-measurements
	Channel      text `json:"channel_name"`
	Flow         text `json:"channel_flow"`
	FlowUnit     text `json:"channel_flow_unit"`
	Width        text `json:"channel_width"`
	WidthUnit    text `json:"channel_width_unit"`
	Area         text `json:"channel_area"`
	AreaUnit     text `json:"channel_area_unit"`
	Velocity     text `json:"channel_velocity"`
	VelocityUnit text `json:"channel_velocity_unit"`
	How          text `json:"measurement_type"`

	// time-series-metadata and combined-metadata
	Begin             text `json:"begin"`
	End               text `json:"end"`
	BeginUTC          text `json:"begin_utc"`
	EndUTC            text `json:"end_utc"`
	Computation       text `json:"computation_identifier"`
	ComputationPeriod text `json:"computation_period_identifier"`
	DataType          text `json:"data_type"`
	Primary           text `json:"primary"`
	Sublocation       text `json:"sublocation_identifier"`
	Description       text `json:"parameter_description"`

	// monitoring-locations
	AgencyCode     text `json:"agency_code"`
	LocationNumber text `json:"monitoring_location_number"`
	LocationName   text `json:"monitoring_location_name"`
	StateName      text `json:"state_name"`
	SiteTypeCode   text `json:"site_type_code"`
	Altitude       text `json:"altitude"`
	Drainage       text `json:"drainage_area"`
	TimeZone       text `json:"time_zone_abbreviation"`
	DST            text `json:"uses_daylight_savings"`

	// statistics API
	Data jsontext.Value `json:"data"`

	lon, lat text            // columns x and y of a CSV answer
	geometry jsontext.Value  // of a JSON answer; valid while the row is
	has      map[string]bool // which of the names above stood in the answer at all; shared by the rows of a page
}

// columns gives, for each name, where its cell goes.
func (r *row) columns() map[string]*text {
	return map[string]*text{
		"id": &r.ID, "time_series_id": &r.TimeSeriesID, "field_measurements_series_id": &r.FieldSeries,
		"monitoring_location_id": &r.Site, "parameter_code": &r.Parameter, "statistic_id": &r.Statistic,
		"time": &r.Time, "value": &r.Value, "unit_of_measure": &r.Unit, "approval_status": &r.Approval, "qualifier": &r.Qualifier,
		"channel_name": &r.Channel, "channel_flow": &r.Flow, "channel_flow_unit": &r.FlowUnit,
		"channel_width": &r.Width, "channel_width_unit": &r.WidthUnit, "channel_area": &r.Area, "channel_area_unit": &r.AreaUnit,
		"channel_velocity": &r.Velocity, "channel_velocity_unit": &r.VelocityUnit, "measurement_type": &r.How,
		"begin": &r.Begin, "end": &r.End, "begin_utc": &r.BeginUTC, "end_utc": &r.EndUTC,
		"computation_identifier": &r.Computation, "computation_period_identifier": &r.ComputationPeriod, "data_type": &r.DataType,
		"primary": &r.Primary, "sublocation_identifier": &r.Sublocation, "parameter_description": &r.Description,
		"agency_code": &r.AgencyCode, "monitoring_location_number": &r.LocationNumber, "monitoring_location_name": &r.LocationName,
		"state_name": &r.StateName, "site_type_code": &r.SiteTypeCode, "altitude": &r.Altitude, "drainage_area": &r.Drainage,
		"time_zone_abbreviation": &r.TimeZone, "uses_daylight_savings": &r.DST,
		"x": &r.lon, "y": &r.lat,
	}
}

// kind is what a row describes, told by the members it has.
type kind int

const (
	unknownKind kind = iota
	readingKind
	channelKind
	metadataKind
	locationKind
	normalKind
)

func (r *row) kind() kind {
	switch {
	case r.has["data"]:
		return normalKind
	case r.has["channel_flow"] || r.has["channel_width"]:
		return channelKind
	case r.has["value"] && r.has["time"]:
		return readingKind
	case r.has["computation_identifier"]:
		return metadataKind
	case r.has["monitoring_location_number"]:
		return locationKind
	}
	return unknownKind
}

// point is where the row lies: longitude and latitude in degrees, NaN where
// the answer leaves them out.
func (r *row) point() (lat, lon float64) {
	var g struct {
		Coordinates []float64 `json:"coordinates"`
	}
	if len(r.geometry) > 0 && response.Unmarshal(r.geometry, &g) == nil && len(g.Coordinates) >= 2 {
		return g.Coordinates[1], g.Coordinates[0]
	}
	return number(r.lat), number(r.lon)
}

// number reads a text that may be empty; NaN if it is, or is no number.
func number(t text) float64 {
	f, err := strconv.ParseFloat(strings.TrimSpace(string(t)), 64)
	if err != nil || math.IsInf(f, 0) {
		return math.NaN()
	}
	return f
}
