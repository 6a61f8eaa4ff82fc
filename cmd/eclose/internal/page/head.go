package page

import (
	"cmp"
	"fmt"
	"math"
	"net/http"
	"sort"
	"strings"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/wading"
)

// head is what stands at the top of everything about one river.
type head struct {
	Slug, Name string
	Tab        string // which page of the river this is
	Recent     string // how its water was, beside past seasons; empty: not known
	Missing    bool   // no outlook yet
	Problem    string
	Caution    wading.View
	Line       cautionLine // the same in short
	Warnings   []officialWarning
	Water      string
	Flow       string
	ReadAt     string // when the newest of the two was read; empty: none
	Stale      string // why the forecast is too old to answer; empty: it is not
	O          *forecast.Outlook
	Today      forecast.Date
	judged     wading.Caution // as it stands now
	since      time.Duration  // since it was judged
}

// judgedFor is how long a caution counts. Our own default: whoever judges them
// does so every minute, so an older one means that nobody does any more.
const judgedFor = 15 * time.Minute

// staleForecast is the age from which a forecast counts as old. Our own default:
// four issues that did not come, at the default schedule.
const staleForecast = 24 * time.Hour

// headAsked is the river of the address with its head and its state, the forecast read
// whole; no state where nothing is known of it.
func (s *site) headAsked(r *http.Request) (forecast.River, head, *State, error) {
	river, err := s.asksForRiver(r)
	if err != nil {
		return river, head{}, nil, err
	}
	h, st, err := s.whole(r, river)
	return river, h, st, err
}

func (s *site) head(r *http.Request, river forecast.River) (head, *State, error) {
	h := head{Slug: river.Slug, Name: river.Name, Missing: true}
	st, err := s.Data.State(r.Context(), river.Slug)
	if err != nil {
		return h, nil, fmt.Errorf("reading the state of %s: %w", river.Slug, err)
	}
	if st == nil || st.Outlook == nil {
		if st != nil {
			h.Problem, h.Warnings = st.Problem, warningLines(st.Warnings, river.Zone, s.Now())
		}
		return h, nil, nil
	}
	u := unitsOf(r.Context())
	h.Missing, h.Problem, h.O = false, st.Problem, st.Outlook
	h.judged, h.since = st.Judged(s.Now()), s.Now().Sub(st.CautionAt)
	h.Caution = h.judged.View(u)
	h.Line = cautionNow(st, h.judged, u, river.Regulated)
	h.Line.Known = h.Line.Known && !s.OwnClock
	h.Flow = readingText(st.Caution.Flow, h.since, u.Flow)
	h.Water = readingText(st.Caution.Water, h.since, u.Temperature)
	age := time.Duration(-1)
	for _, x := range []wading.Reading{st.Caution.Flow, st.Caution.Water} {
		if x.Present && (age < 0 || x.Age < age) {
			age = x.Age
		}
	}
	if age >= 0 {
		h.ReadAt = st.CautionAt.Add(-age).In(forecast.ZoneOf(river.Zone)).Format("15:04")
		if age+h.since > 20*time.Hour {
			h.ReadAt = st.CautionAt.Add(-age).In(forecast.ZoneOf(river.Zone)).Format("Mon 2 Jan 15:04")
		}
	}
	h.Warnings = warningLines(st.Warnings, river.Zone, s.Now())
	h.Today = localDay(st.Outlook, s.Now())
	if age := s.Now().Sub(st.Outlook.IssuedAt); age > staleForecast {
		h.Stale = "This forecast was issued " + ago(age) + ". Newer weather and flow are not in it."
	}
	if d := st.Outlook.Departure; d != nil {
		h.Recent = d.Words(st.Outlook.Seasons, u == wading.US)
	}
	return h, st, nil
}

// Stamp says when the forecast was issued and what it rests on.
func (h head) Stamp() string {
	if h.O == nil {
		return ""
	}
	zone := forecast.ZoneOf(h.O.Zone)
	s := "Issued " + h.O.IssuedAt.In(zone).Format("Mon 2 Jan 2006, 15:04 MST")
	if h.O.DataCutoff.IsZero() {
		s += "; no reading of this river was at hand"
	} else {
		s += "; newest reading " + h.O.DataCutoff.In(zone).Format("Mon 2 Jan 15:04")
	}
	return s + fmt.Sprintf("; %d past seasons of water temperature.", h.O.Seasons)
}

// readingText is a reading with its age now.
func readingText(r wading.Reading, since time.Duration, print func(float64) string) string {
	if !r.Present {
		return "unknown"
	}
	out := print(r.Value) + ", " + ago(r.Age+since)
	if r.Doubt != "" {
		out += ", doubtful: " + r.Doubt
	}
	return out
}

func ago(d time.Duration) string {
	switch {
	case d < 2*time.Hour:
		return fmt.Sprintf("%d min ago", int(d.Minutes()))
	case d < 48*time.Hour:
		return fmt.Sprintf("%d h ago", int(d.Hours()))
	}
	return fmt.Sprintf("%d days ago", int(d.Hours()/24))
}

// localDay is the civil date at the river.
func localDay(o *forecast.Outlook, now time.Time) forecast.Date {
	return forecast.DateOf(now.In(forecast.ZoneOf(o.Zone)))
}

// chanceLine is one stage with its chance on a day.
type chanceLine struct {
	Name, Group string
	Stage       forecast.Stage
	Up          bool
	P, Calendar float64
	Hours       forecast.Hours
	Window      forecast.Window
}

// on lists the fishable stages of a day that live in the river's kind of water, the
// likeliest first.
func on(o *forecast.Outlook, d forecast.Date, least float64) []chanceLine {
	var out []chanceLine
	for i := range o.Stages {
		st := &o.Stages[i]
		x, ok := st.On(d)
		if !ok || !st.Fishable || st.Elsewhere || x.P < least {
			continue
		}
		out = append(out, chanceLine{Name: forecast.UpperFirst(st.Name), Group: st.Group, Stage: st.Stage, Up: st.Stage == forecast.Emergence, P: x.P, Calendar: x.PCalendar, Hours: st.Hours, Window: st.Window})
	}
	sort.SliceStable(out, func(i, j int) bool { return cmp.Compare(out[j].P, out[i].P) < 0 })
	return out
}

// nan leaves a gap in a picture.
var nan = math.NaN()

// joinNames lists at most n names.
func joinNames(names []string, n int) string {
	if len(names) > n {
		names = names[:n]
	}
	return strings.Join(names, ", ")
}
