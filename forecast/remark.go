package forecast

import (
	"encoding/json"
	"fmt"

	"example.org/eclose/forecast/records"
)

// A Remark is something to know of a forecast, or the reason for a date: a code
// with its figures. String puts it into words; so a stored forecast does not
// change when the words do. Fields that its code does not name are zero.
type Remark struct {
	Code    RemarkCode `json:"code,omitempty"`
	Days    int        `json:"days,omitempty"`
	Of      int        `json:"of_days,omitempty"`
	Date    Date       `json:"date,omitempty"`
	Seasons int        `json:"seasons,omitempty"`
	River   string     `json:"river,omitempty"`
	Water   *Departure `json:"water_departure,omitempty"`
	By      *Influence `json:"moved_by,omitempty"`
	// Records are the dates by open records, and Season how it goes by them.
	Records *RecordsWindow `json:"records,omitempty"`
	Season  *RecordsSeason `json:"season,omitempty"`
	// Text is the whole remark in a forecast of a version that kept words.
	Text string `json:"text,omitempty"`
}

// RemarkCode says what a remark is about.
type RemarkCode string

// What is to be known of a forecast.
const (
	NoSightings     RemarkCode = "no-sightings"      // neither here nor nearby: the region's dates
	RegionalModel   RemarkCode = "regional-model"    // Days of water and air temperature, Of needed; River was the donor
	PartialModel    RemarkCode = "partial-model"     // Days of readings behind the water model
	RevisedReadings RemarkCode = "revised-readings"  // downloaded after the issue date
	NoRecentReading RemarkCode = "no-recent-reading" // of any gauge in ten days
	OldReading      RemarkCode = "old-reading"       // the latest is Days old
	FewSeasons      RemarkCode = "few-seasons"       // Seasons of water temperature
	SeasonSoFar     RemarkCode = "season-so-far"     // Season by open records
)

// The reasons for a date.
const (
	AllYear       RemarkCode = "all-year"
	OutOfPeriod   RemarkCode = "out-of-period" // no season within the forecast
	CalendarRules RemarkCode = "calendar"      // water temperature barely shifts it
	Peaked        RemarkCode = "peaked"        // Days after the calendar's Date
	ExpectedPeak  RemarkCode = "expected-peak" // the same, and still ahead
	Running       RemarkCode = "running"       // Days later than usual at this river, by Water where that explains it
	MovedBy       RemarkCode = "moved"         // By sightings of this season
	ByRecords     RemarkCode = "records"       // Records beside the catalogue's dates
	NotRecorded   RemarkCode = "not-recorded"  // near by, in Days of records of others, of which Of were expected
	LongSeason    RemarkCode = "long-season"   // of several species or broods: the median stands for no peak
)

// UnmarshalJSON also reads the plain text that older versions kept.
func (r *Remark) UnmarshalJSON(b []byte) error {
	if len(b) > 0 && b[0] == '"' {
		*r = Remark{}
		return json.Unmarshal(b, &r.Text)
	}
	type plain Remark
	return json.Unmarshal(b, (*plain)(r))
}

// String puts a remark into words.
func (r Remark) String() string {
	switch r.Code {
	case NoSightings:
		return "No sightings here or nearby: dates are the region's, adjusted to this river. How good that is has not been measured."
	case RegionalModel:
		by := ""
		if r.River != "" {
			by = ", adjusted partly towards " + r.River
		}
		return fmt.Sprintf("Water temperature is modelled from air and flow, as at similar rivers%s: only %d of the %d days of water and air temperature needed to fit one here.", by, r.Days, r.Of)
	case PartialModel:
		return fmt.Sprintf("The water model has only %d days of readings here (less than a year); the rest comes from similar rivers.", r.Days)
	case RevisedReadings:
		return "Readings were downloaded after the issue date and include later revisions."
	case NoRecentReading:
		return "No gauge reading in the last ten days: water temperature is modelled, not measured."
	case OldReading:
		return fmt.Sprintf("The latest reading is %d days old.", r.Days)
	case FewSeasons:
		return fmt.Sprintf("Only %d past seasons of water temperature here: give the calendar at least as much weight.", r.Seasons)
	case AllYear:
		return "There all year."
	case OutOfPeriod:
		return "Its season falls outside the forecast period."
	case CalendarRules:
		return "Set by the calendar; water temperature barely shifts it."
	case Peaked:
		return "By water temperature it peaked " + shiftWords(r.Days, r.Date) + "."
	case ExpectedPeak:
		return "Expected to peak " + shiftWords(r.Days, r.Date) + "."
	case Running:
		why := ""
		if r.Water != nil {
			why = ": " + r.Water.Words(r.Seasons, false)
		}
		return fmt.Sprintf("Running %s for this river%s.", earlyWords(-float64(r.Days)), why)
	case LongSeason:
		return "Its season is long, of several species or broods: no single date stands for it."
	case ByRecords:
		return r.Records.Words()
	case NotRecorded:
		return fmt.Sprintf("No open record of it within %d km of the river: about %d would be expected beside %d of other insects.", records.NearKm, r.Of, r.Days)
	case SeasonSoFar:
		return r.Season.Words()
	case MovedBy:
		return r.By.Words()
	default:
		return r.Text
	}
}
