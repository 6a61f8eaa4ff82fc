package ingest

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"time"
)

// Variable is what was measured. The unit of each is fixed inside Eclose:
// see Unit.
type Variable string

// The variables that Eclose knows. An agency's parameter that maps to none of
// them is skipped with a note, never guessed.
const (
	WaterTemperature   Variable = "water_temperature"
	Discharge          Variable = "discharge"
	GaugeHeight        Variable = "gauge_height" // the water level; "stage" is kept for insects
	Turbidity          Variable = "turbidity"    // by near infra-red light at 90 degrees (ISO 7027)
	AirTemperature     Variable = "air_temperature"
	Precipitation      Variable = "precipitation"
	Snowfall           Variable = "snowfall" // water equivalent
	SnowDepth          Variable = "snow_depth"
	RelativeHumidity   Variable = "relative_humidity"
	WindSpeed          Variable = "wind_speed"
	ShortwaveRadiation Variable = "shortwave_radiation"
	CloudCover         Variable = "cloud_cover"
	ThunderProbability Variable = "thunder_probability"
	ChannelWidth       Variable = "channel_width"
	ChannelArea        Variable = "channel_area"
	ChannelVelocity    Variable = "channel_velocity"
)

// Unit is the unit in which Eclose keeps a variable, spelt for people.
// It is empty for a variable that Eclose does not know.
func (v Variable) Unit() string { return units[v] }

var units = map[Variable]string{
	WaterTemperature: "°C", AirTemperature: "°C", Discharge: "m3/s", GaugeHeight: "m", Turbidity: "FNU",
	Precipitation: "mm", Snowfall: "mm", SnowDepth: "m", RelativeHumidity: "%", WindSpeed: "m/s",
	ShortwaveRadiation: "W/m2", CloudCover: "%", ThunderProbability: "%",
	ChannelWidth: "m", ChannelArea: "m2", ChannelVelocity: "m/s",
}

// Variables lists every variable that Eclose knows, in alphabetical order.
func Variables() []Variable {
	out := make([]Variable, 0, len(units))
	for v := range units {
		out = append(out, v)
	}
	slices.Sort(out)
	return out
}

// Statistic says how a value sums up its period.
type Statistic string

// Statistics of a reading over its period. Instant has no period.
const (
	Instant Statistic = "instant"
	Mean    Statistic = "mean"
	Min     Statistic = "min"
	Max     Statistic = "max"
	Median  Statistic = "median"
	Sum     Statistic = "sum"
)

// Periods, as ISO 8601 durations; a feed may use others.
const (
	NoPeriod = ""     // an instantaneous value
	Hourly   = "PT1H" // the hour that ENDS at Time
	Daily    = "P1D"  // Time is 00:00 UTC of the calendar date the agency prints; see Series.DayStart
)

// Key names one series for ever. Agencies renumber their features; a key is
// built only of what they promise to keep.
type Key struct {
	Feed       string    // "usgs", "open-meteo", ...
	Site       string    // the agency's own site id, or "lat,lon" for a gridded feed
	Variable   Variable  //
	Statistic  Statistic //
	Period     string    // ISO 8601 duration, "" for instantaneous values
	TimeSeries string    // the agency's id of the time series, sensor or method; "" if it has one only
	Member     int       // 1, 2, ... for an ensemble member (the control run is 1); 0 for a single-valued series
}

// String is the key as one path-like word, stable and unique.
func (k Key) String() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s/%s/%s/%s", k.Feed, k.Site, k.Variable, k.Statistic)
	if k.Period != "" {
		b.WriteString("/" + k.Period)
	}
	if k.TimeSeries != "" {
		b.WriteString("/ts=" + k.TimeSeries)
	}
	if k.Member != 0 {
		fmt.Fprintf(&b, "/member=%02d", k.Member)
	}
	return b.String()
}

// Flag is a quality flag of the QARTOD manuals (US IOOS, "Manual for Real-Time
// Oceanographic Data Quality Control Flags", 2020).
type Flag uint8

// Quality flags with their QARTOD numbers.
const (
	Pass         Flag = 1
	NotEvaluated Flag = 2
	Suspect      Flag = 3
	Fail         Flag = 4
	Missing      Flag = 9
)

// Approval says how far the agency stands by a reading.
type Approval uint8

// Approval levels. Unknown means that the feed does not say.
const (
	ApprovalUnknown Approval = iota
	Provisional
	Approved
)

func (a Approval) String() string {
	switch a {
	case Provisional:
		return "provisional"
	case Approved:
		return "approved"
	default:
		return "unknown"
	}
}

// SiteInfo is where a series was measured or modelled.
type SiteInfo struct {
	Name      string
	Lat, Lon  float64 // degrees, WGS 84; NaN if unknown
	Elevation float64 // m above sea level; NaN if unknown
	Drainage  float64 // km2 that drain to the place; 0 if unknown
	Zone      string  // IANA zone, or "" if unknown
}

// Series is one time series, column by column. Time is strictly ascending;
// every non-nil column has the length of Time.
type Series struct {
	Key
	Place      SiteInfo
	SourceUnit string // the unit as the agency wrote it; Value is already in Variable.Unit()
	DayStart   string // for Daily: where the agency's day begins ("local midnight", "09:00 UTC"), as far as known
	Time       []int64
	Value      []float64
	Qualifier  []string
	Approval   []Approval
	Flag       []Flag
	FlagTest   []string
	Retrieved  []int64
}

// Notes on the columns: Time and Retrieved are microseconds since 1970 UTC.
// A NaN in Value is a reading the agency reported as missing. Qualifier,
// Approval, Flag, FlagTest and Retrieved may be nil; FlagTest names the check
// that set the flag.

// Len is the number of readings, missing ones included.
func (s *Series) Len() int { return len(s.Time) }

// At is the time of reading i in UTC.
func (s *Series) At(i int) time.Time { return time.UnixMicro(s.Time[i]).UTC() }

// MissingCount is the number of readings the agency reported without a value.
func (s *Series) MissingCount() int {
	n := 0
	for _, v := range s.Value {
		if math.IsNaN(v) {
			n++
		}
	}
	return n
}

// TwoValues is the qualifier of a flow or height of which one answer had two
// different values at one time.
const TwoValues = "different values at one time"

// Normalize sorts the readings by time and drops duplicate times. Where two
// readings share a time the later one in the answer wins, unless it is missing
// and the earlier is not. Of two different flows or heights the higher one wins
// and is marked: who stands in the water must not be shown the lower. It returns
// how many were dropped.
func (s *Series) Normalize() (dropped int) {
	n := len(s.Time)
	ascending := true
	for i := 1; i < n; i++ {
		if s.Time[i] <= s.Time[i-1] {
			ascending = false
			break
		}
	}
	if ascending {
		return 0
	}
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	sort.SliceStable(order, func(a, b int) bool { return s.Time[order[a]] < s.Time[order[b]] })
	keep := order[:0:0]
	var twice []int // places in keep
	for _, i := range order {
		if k := len(keep); k > 0 && s.Time[keep[k-1]] == s.Time[i] {
			before := s.Value[keep[k-1]]
			differ := (s.Variable == Discharge || s.Variable == GaugeHeight) && math.Abs(s.Value[i]-before) > 0 // false for NaN
			if differ && (len(twice) == 0 || twice[len(twice)-1] != k-1) {
				twice = append(twice, k-1)
			}
			if differ && s.Value[i] > before || !differ && (!math.IsNaN(s.Value[i]) || math.IsNaN(before)) {
				keep[k-1] = i
			}
			continue
		}
		keep = append(keep, i)
	}
	s.Time = pick(s.Time, keep)
	s.Value = pick(s.Value, keep)
	s.Qualifier = pick(s.Qualifier, keep)
	s.Approval = pick(s.Approval, keep)
	s.Flag = pick(s.Flag, keep)
	s.FlagTest = pick(s.FlagTest, keep)
	s.Retrieved = pick(s.Retrieved, keep)
	if twice != nil && s.Qualifier == nil {
		s.Qualifier = make([]string, len(keep))
	}
	for _, k := range twice {
		if s.Qualifier[k] != "" {
			s.Qualifier[k] += ","
		}
		s.Qualifier[k] += TwoValues
	}
	return n - len(keep)
}

func pick[T any](col []T, keep []int) []T {
	if col == nil {
		return nil
	}
	out := make([]T, len(keep))
	for j, i := range keep {
		out[j] = col[i]
	}
	return out
}

// Check reports the first way in which s breaks the rules stated at Series.
func (s *Series) Check() error {
	n := len(s.Time)
	if s.Feed == "" || s.Site == "" || s.Statistic == "" {
		return fmt.Errorf("series %s: feed, site and statistic must be named", s.Key)
	}
	if s.Variable.Unit() == "" {
		return fmt.Errorf("series %s: variable %q is not supported", s.Key, s.Variable)
	}
	if len(s.Value) != n {
		return fmt.Errorf("series %s: %d times but %d values", s.Key, n, len(s.Value))
	}
	for _, c := range []struct {
		name string
		n    int
	}{{"qualifier", len(s.Qualifier)}, {"approval", len(s.Approval)}, {"flag", len(s.Flag)}, {"flag test", len(s.FlagTest)}, {"retrieval time", len(s.Retrieved)}} {
		if c.n != 0 && c.n != n {
			return fmt.Errorf("series %s: %d times but %d of %s", s.Key, n, c.n, c.name)
		}
	}
	for i := 1; i < n; i++ {
		if s.Time[i] <= s.Time[i-1] {
			return fmt.Errorf("series %s: time %s does not follow %s", s.Key, s.At(i).Format(time.RFC3339), s.At(i-1).Format(time.RFC3339))
		}
	}
	for i, v := range s.Value {
		if math.IsInf(v, 0) {
			return fmt.Errorf("series %s: infinite value at %s", s.Key, s.At(i).Format(time.RFC3339))
		}
	}
	return nil
}
