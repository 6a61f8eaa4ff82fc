package insects

import (
	"fmt"
	"math"
	"strings"
	"time"
)

// Stage is the part of the adult's life that a window or an hour speaks of.
type Stage string

// The two stages.
const (
	Emergence Stage = "emergence"
	EggLaying Stage = "egg-laying"
)

// Stages in the order in which they happen.
var Stages = []Stage{Emergence, EggLaying}

// Window is when a stage happens in a region in an ordinary year: the dates by
// which 5, 50 and 95 % of it has passed over the whole region. One reach is
// shorter. Days count from 1 January = 1 in a year without 29 February; a season
// that runs over New Year starts at zero or below, or ends above 365.
type Window struct {
	Region             Region
	Stage              Stage
	Start, Median, End int
	MedianSDDays       float64 // how far the median itself may be off
	Basis              Basis   // what the dates were collected over
	Record             string  // the record that they come from, such as "breitenbach"; empty for none
	Flight             bool    // adults on the wing were counted, at light traps, and not emergence
	AllYear            bool    // present throughout the year: Start, Median and End mean nothing more
	Origin             Fact
	presence           bool // of a group that is there without a pulse: every reach has the whole of it
	Shifted            bool // egg-laying worked out from emergence and the days in between
}

// WindowSDs is the width of the central 90 % of a normal curve, from start to end
// of a window, in standard deviations.
const WindowSDs = 2 * 1.6449

// flatSDDays stands for a season without a peak: over one year a normal curve so
// wide falls by less than 2 %. Our own default.
const flatSDDays = 1000

// SpreadSDDays is the length of the season as a standard deviation in days.
func (w Window) SpreadSDDays() float64 {
	if w.AllYear {
		return flatSDDays
	}
	return float64(w.End-w.Start) / WindowSDs
}

// ReachSpreadSDDays is the length of the season at one reach, as a standard
// deviation in days: the whole of it where one reach was watched or the group is
// there continuously, a share where the dates were collected over a region.
func (w Window) ReachSpreadSDDays() float64 {
	if w.AllYear || w.presence {
		return w.SpreadSDDays()
	}
	return w.SpreadSDDays() * w.Basis.ReachShare()
}

// BasisCode is what stands behind the dates: a Basis, with ":RECORD" behind it where
// a record has a name, and "+flight" where adults on the wing were counted.
func (w Window) BasisCode() string {
	s := string(w.Basis)
	if w.Record != "" {
		s += ":" + w.Record
	}
	if w.Flight {
		s += "+flight"
	}
	return s
}

// EvidenceWords says for people what stands behind the dates.
func (w Window) EvidenceWords() string {
	s := w.Basis.Words()
	if w.Record != "" {
		s += " (" + w.Record + ")"
	}
	if w.Flight {
		s += ", adults in flight at light traps, not emergence"
	}
	return s
}

// InMonth reports whether the window touches the month.
func (w Window) InMonth(m time.Month) bool {
	from := time.Date(2023, m, 1, 0, 0, 0, 0, time.UTC).YearDay()
	to := from + daysIn[m-1] - 1
	for _, year := range []int{-365, 0, 365} {
		if from+year <= w.End && to+year >= w.Start {
			return true
		}
	}
	return false
}

// Contains reports whether a day of the year (1-365) lies within the window.
func (w Window) Contains(doy int) bool {
	for _, d := range []int{doy - 365, doy, doy + 365} {
		if d >= w.Start && d <= w.End {
			return true
		}
	}
	return false
}

func (w Window) String() string {
	if w.AllYear {
		return "all year"
	}
	return fmt.Sprintf("%s to %s, middle %s", dayMonth(w.Start), dayMonth(w.End), dayMonth(w.Median))
}

// later moves the window by a lag in days with its own spread: the lag's spread
// widens both flanks in the proportion of the two standard deviations.
func (w Window) later(lag, lagSD float64) Window {
	if w.AllYear {
		w.Shifted, w.Stage = true, EggLaying
		return w
	}
	sd := w.SpreadSDDays()
	stretch := 1.0
	if sd > 0 {
		stretch = math.Sqrt(sd*sd+lagSD*lagSD) / sd
	}
	m := float64(w.Median) + lag
	w.Start = int(math.Round(m - stretch*float64(w.Median-w.Start)))
	w.End = int(math.Round(m + stretch*float64(w.End-w.Median)))
	w.Median = int(math.Round(m))
	w.MedianSDDays = math.Sqrt(w.MedianSDDays*w.MedianSDDays + lagSD*lagSD)
	w.Shifted = true
	w.Stage = EggLaying
	return w
}

var daysIn = [12]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

// dayMonth prints a day of the year, which may lie outside 1-365.
func dayMonth(doy int) string {
	return time.Date(2023, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, doy-1).Format("2 Jan")
}

// parseMonthDay reads MM-DD as a day of a year without 29 February.
func parseMonthDay(s string) (int, error) {
	var m, d int
	if len(s) != 5 || s[2] != '-' || !isDigits(s[:2]) || !isDigits(s[3:]) {
		return 0, fmt.Errorf("%q is not a date: write MM-DD, such as 06-21", s)
	}
	m, d = int(s[0]-'0')*10+int(s[1]-'0'), int(s[3]-'0')*10+int(s[4]-'0')
	if m < 1 || m > 12 || d < 1 || d > daysIn[m-1] {
		return 0, fmt.Errorf("%q is not a date; write MM-DD, e.g. 06-21 (29 February is not allowed)", s)
	}
	return time.Date(2023, time.Month(m), d, 0, 0, 0, 0, time.UTC).YearDay(), nil
}

func isDigits(s string) bool {
	for _, c := range []byte(s) {
		if c < '0' || c > '9' {
			return false
		}
	}
	return s != ""
}

// parseWindow reads "MM-DD MM-DD MM-DD": start, middle and end, in order, where
// the start may lie in the year before and the end in the year after; or
// "all-year".
func parseWindow(s string) (w Window, err error) {
	if s == "all-year" {
		return Window{Start: 1, Median: 183, End: 365, AllYear: true}, nil
	}
	parts := strings.Fields(s)
	if len(parts) != 3 {
		return w, fmt.Errorf("%q is not a window; write start, middle and end as MM-DD, or all-year", s)
	}
	var d [3]int
	for i, p := range parts {
		if d[i], err = parseMonthDay(p); err != nil {
			return w, err
		}
	}
	if d[0] > d[1] {
		d[0] -= 365
	}
	if d[2] < d[1] {
		d[2] += 365
	}
	if d[2]-d[0] > 365 {
		return w, fmt.Errorf("%q is not a window: start, middle and end do not follow each other within a year", s)
	}
	w.Start, w.Median, w.End = d[0], d[1], d[2]
	return w, nil
}
