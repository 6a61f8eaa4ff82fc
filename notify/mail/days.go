package mail

import (
	"fmt"
	"strings"

	"example.org/eclose/model/civil"
	"example.org/eclose/notify/alert"
)

// dayBar is one day of the little table of chances: numbers, and a bar that needs no
// picture to load.
type dayBar struct {
	Day, Month string
	P          int // whole percent
	Calendar   int
	Best       bool
}

// barDays is how many days the table shows: as many as a phone is wide. Our own.
const barDays = 8

// Above and Below are the heights of the blank and of the bar, pixels.
func (d dayBar) Above() int { return barHigh - d.Below() }

// Below is the height of the bar.
func (d dayBar) Below() int { return max(1, d.P*barHigh/100) }

const barHigh = 60

// dayBars are the days from the eve of a window, or from today where it is open, with
// the best of them marked; nil where nothing is known.
func dayBars(s *alert.Stage, today civil.Date) []dayBar {
	from := today
	if start, err := civil.Parse(s.From); err == nil {
		from = max(today, start-1)
	}
	var out []dayBar
	top := -1.0
	at := 0
	for day := from; len(out) < barDays; day++ {
		d, ok := s.Days.On(day)
		if !ok {
			break
		}
		if d.P > top {
			top, at = d.P, len(out)
		}
		t := day.Time()
		out = append(out, dayBar{Day: t.Format("2"), Month: t.Format("Jan"), P: whole100(d.P), Calendar: whole100(d.PCalendar)})
	}
	if len(out) < 2 {
		return nil
	}
	out[at].Best = true
	return out
}

// whole100 is a chance in whole percent, never 0 or 100.
func whole100(p float64) int { return min(99, max(1, int(100*p+0.5))) }

// barText is the table as plain text.
func barText(bars []dayBar) string {
	head, row, cal := fmt.Sprintf("%-12s", bars[0].Month), fmt.Sprintf("%-12s", "chance, %"), fmt.Sprintf("%-12s", "calendar, %")
	for _, d := range bars {
		head += fmt.Sprintf("%5s", d.Day)
		row += fmt.Sprintf("%5d", d.P)
		cal += fmt.Sprintf("%5d", d.Calendar)
	}
	return strings.Join([]string{head, row, cal}, "\n") + "\n"
}
