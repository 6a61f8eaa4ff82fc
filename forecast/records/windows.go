package records

import (
	"cmp"
	"maps"
	"math"
	"slices"
	"sort"
	"sync"
	"time"

	"example.org/eclose/model/civil"
	"example.org/eclose/model/flight"
	"example.org/eclose/model/insects"
)

// Dated is what a forecast takes of a record.
type Dated struct {
	Group      string         `json:"group,omitempty"` // key; empty: it measures effort only
	Stage      Stage          `json:"stage,omitempty"`
	Region     insects.Region `json:"region"`
	Day        civil.Date     `json:"day"`
	LatDeg     float64        `json:"lat"`
	LonDeg     float64        `json:"lon"`
	ElevationM *float64       `json:"elevation_m,omitempty"` // nil: unknown
	Obscured   bool           `json:"obscured,omitempty"`    // its place was moved on purpose
	Absent     bool           `json:"absent,omitempty"`
	Hours      float64        `json:"hours,omitempty"` // of effort; 0: unknown
	Event      string         `json:"event,omitempty"`
	// Published is when its source gave it out, zero if that is unknown, and Stored
	// when it was kept here, zero where that does not matter.
	Published time.Time `json:"published,omitzero"`
	Stored    time.Time `json:"stored,omitzero"`
}

// known reports whether a record was to be had at a moment of a day: from when its
// source published it on, or else from when it was kept here, but never on its own
// day.
func (d *Dated) known(day civil.Date, at time.Time) bool {
	from := d.Published
	if from.IsZero() {
		from = d.Stored
	}
	return d.Day < day && !from.After(at)
}

// MadeAnew is what forecasts that are made anew may know of the records: when they
// were kept here plays no part. What was published years after its day is known from
// the next month on, so that the windows change once a month and no oftener.
func (o *Open) MadeAnew() *Open {
	if o == nil {
		return nil
	}
	out := &Open{Effort: o.Effort, Records: slices.Clone(o.Records)}
	for i := range out.Records {
		r := &out.Records[i]
		r.Stored = time.Time{}
		if p := r.Published; !p.IsZero() && p.Year() > r.Day.Time().Year() {
			r.Published = time.Date(p.Year(), p.Month()+1, 1, 0, 0, 0, 0, time.UTC)
		}
	}
	return out
}

// Dated is the record as a forecast takes it.
func (r Record) Dated() Dated {
	d := Dated{Group: r.Group, Stage: r.Stage, Region: r.Region, Day: civil.DateOf(r.First), LatDeg: r.LatDeg, LonDeg: r.LonDeg,
		Obscured: r.Obscured, Absent: r.Absent, Event: r.Event, Published: r.Published, Stored: r.Stored}
	if !math.IsNaN(r.ElevationM) {
		d.ElevationM = &r.ElevationM
	}
	if r.EffortHours > 0 {
		d.Hours = r.EffortHours
	}
	if !r.First.Equal(r.Last) || r.Withheld {
		d.Group, d.Stage = "", "" // a span of days dates nothing
	}
	return d
}

// Looked is how many insects of any kind were recorded on a day in a region.
type Looked struct {
	Region insects.Region `json:"region"`
	Day    civil.Date     `json:"day"`
	N      int            `json:"n"`
}

// Open is what open sources hold around rivers. It may be used by several
// goroutines.
type Open struct {
	Records []Dated
	Effort  []Looked // where it is empty for a region, all records there stand for it

	mu     sync.Mutex
	fitted map[fitKey][]Window
}

// fitKey names the windows of past seasons.
type fitKey struct {
	catalogue *insects.Catalogue
	region    insects.Region
	year, n   int // seasons before it, of so many records
}

// A Window is a stage of a group in a region as open records tell it, beside the
// book's.
type Window struct {
	Group   string
	Stage   Stage
	Region  insects.Region
	Book    insects.Window
	Records flight.Window // in days from 1 January = 1
	Past    []Lateness    // seasons before, the first first
	Season  flight.Season // the records of the season under way
	Now     Lateness      // that season; variance 0: they tell nothing
}

// Lateness is by how many days a season is late, negative for early.
type Lateness struct {
	Year     int
	Days     float64
	Variance float64 // days²
}

// Dates reports that the window speaks of what the book's dates are: adults on the
// wing stand for emergence only where the book counted those, too.
func (w Window) Dates() bool { return w.Stage != Flight || w.Book.Flight }

// Replaces reports that the window stands in place of the book's.
func (w Window) Replaces() bool { return w.Records.Replaces && w.Dates() }

// Season is how early or late the season under way is in a region.
type Season struct {
	Region  insects.Region
	Late    flight.Range // days; negative is early
	Records int          // of this season
	Groups  int
	LatDeg  float64 // where about they were made
	LonDeg  float64
}

// Summary is what open records show of a region by a day.
type Summary struct {
	Windows []Window
	Season  Season
	known   []Dated
	year    int // of the season under way
}

// Span is the days of the first and the last record of a stage of a group, in the
// season under way or in those before it; zero where there is none.
func (t *Summary) Span(group string, stage Stage, season bool) (first, last civil.Date) {
	for _, r := range t.known {
		if r.Group != group || r.Stage != stage || r.Absent || (r.Day.Time().Year() == t.year) != season {
			continue
		}
		if first == 0 {
			first = r.Day
		}
		first, last = min(first, r.Day), max(last, r.Day)
	}
	return first, last
}

// Windows is what the records known at a moment of a day tell of a region: windows
// by the seasons before the day's, and how the day's own goes. Nothing of the day
// itself enters. Seasons over New Year are left to the book.
func (o *Open) Windows(region insects.Region, c *insects.Catalogue, day civil.Date, at time.Time) *Summary {
	year, past := day.Time().Year(), 0
	t := &Summary{Season: Season{Region: region}, year: year}
	broods := broods{catalogue: c, region: region, kept: map[groupStage][]brood{}}
	for i := range o.Records {
		r := &o.Records[i]
		if r.Region != region || !r.known(day, at) {
			continue
		}
		x := *r
		x.Group = broods.of(x)
		t.known = append(t.known, x)
		if r.Day.Time().Year() < year {
			past++
		}
	}
	if len(t.known) == 0 {
		return t
	}
	id := fitKey{c, region, year, past}
	newYear := civil.DateOf(time.Date(year, 1, 1, 0, 0, 0, 0, time.UTC))
	o.mu.Lock()
	windows, ok := o.fitted[id]
	o.mu.Unlock()
	if !ok {
		windows = fit(t.known, o.effort(region, t.known, 0, newYear), region, c, year)
		o.mu.Lock()
		if o.fitted == nil || len(o.fitted) >= fitsKept {
			o.fitted = map[fitKey][]Window{}
		}
		o.fitted[id] = windows
		o.mu.Unlock()
	}
	t.Windows = slices.Clone(windows)
	// People look otherwise this year than in others, and tell of the last days late:
	// the season is judged by its own effort. Where that is not known, nobody looked
	// after the last record.
	if slices.ContainsFunc(o.Effort, func(l Looked) bool { return l.Region == region && l.Day >= newYear && l.Day < day }) {
		t.season(o.effort(region, t.known, newYear, day), day)
	} else {
		last := newYear
		for _, r := range t.known {
			last = max(last, r.Day+1)
		}
		t.season(o.effort(region, t.known, 0, last), last)
	}
	return t
}

// broods puts records of a group of several broods to the one that they are nearest
// to by the catalogue's dates, as sightings are put.
type broods struct {
	catalogue *insects.Catalogue
	region    insects.Region
	kept      map[groupStage][]brood
}

type brood struct {
	key            string
	median, spread float64
}

func (b *broods) of(r Dated) string {
	k := groupStage{r.Group, r.Stage}
	list, ok := b.kept[k]
	if !ok {
		stage := insects.Emergence
		if r.Stage == EggLaying {
			stage = insects.EggLaying
		}
		if g, known := b.catalogue.Group(r.Group); known && g.Kind == insects.Parent {
			for _, x := range b.catalogue.Broods(r.Group) {
				if w, ok := x.Window(b.region, stage); ok && !w.AllYear {
					list = append(list, brood{x.Key, float64(w.Median), math.Max(1, w.SpreadSDDays())})
				}
			}
		}
		b.kept[k] = list
	}
	best, key := math.Inf(1), r.Group
	for _, x := range list {
		off := math.Abs(math.Mod(float64(r.Day.Time().YearDay())-x.median+365*1.5, 365) - 365*0.5)
		if off/x.spread < best {
			best, key = off/x.spread, x.key
		}
	}
	return key
}

// fitsKept bounds the memory of kept windows.
const fitsKept = 64

// effort is how much people looked from a day on and before another.
func (o *Open) effort(region insects.Region, known []Dated, from, before civil.Date) effort {
	var counts, hours [flight.Year]float64
	found := false
	for _, l := range o.Effort {
		if l.Region == region && l.Day >= from && l.Day < before {
			counts[l.Day.Time().YearDay()-1] += float64(l.N)
			found = true
		}
	}
	events := map[string]bool{}
	for _, r := range known {
		if r.Day < from || r.Day >= before {
			continue
		}
		k := r.Day.Time().YearDay() - 1
		if !found {
			counts[k]++
		}
		if r.Event != "" && r.Hours > 0 && !events[r.Event] {
			events[r.Event] = true
			hours[k] += r.Hours
		}
	}
	if !found {
		// The records at hand say little of when others would have been seen, least
		// where they are of few insects: half the effort is taken to be even over the
		// year. Our own default.
		sum := 0.0
		for _, n := range counts {
			sum += n
		}
		for d := range counts {
			counts[d] += sum / flight.Year
		}
	}
	return effort{flight.EffortOf(counts), flight.EffortOf(hours)}
}

// effort is how much people looked, and how long traps were open.
type effort struct{ people, traps flight.Effort }

// of is the effort behind the records of a group: a trap's own hours where most
// come from such.
func (e *effort) of(sampled, all int) flight.Effort {
	if 2*sampled > all {
		return e.traps
	}
	return e.people
}

type groupStage struct {
	group string
	stage Stage
}

// byStage sorts records into groups and stages, with how many of each tell their
// effort.
func byStage(known []Dated, region insects.Region, keep func(year int) bool) (of map[groupStage][]flight.Record, sampled map[groupStage]int) {
	of, sampled = map[groupStage][]flight.Record{}, map[groupStage]int{}
	from := region.Place()
	for _, r := range known {
		day := r.Day.Time()
		if r.Group == "" || r.Absent || !keep(day.Year()) {
			continue
		}
		k := groupStage{r.Group, r.Stage}
		if r.Event != "" && r.Hours > 0 {
			sampled[k]++
		}
		x := flight.Record{Day: day.YearDay(), Year: day.Year(), North: math.Abs(r.LatDeg) - math.Abs(from.LatDeg)}
		if r.ElevationM != nil {
			x.Up = (*r.ElevationM - from.ElevationM) / 100
		}
		of[k] = append(of[k], x)
	}
	return of, sampled
}

// fit fits the windows of the seasons before a year.
func fit(known []Dated, e effort, region insects.Region, c *insects.Catalogue, year int) []Window {
	past, sampled := byStage(known, region, func(y int) bool { return y < year })
	var out []Window
	for k, records := range past {
		g, ok := c.Group(k.group)
		if !ok {
			continue
		}
		stage := insects.Emergence
		if k.stage == EggLaying {
			stage = insects.EggLaying
		}
		w := Window{Group: k.group, Stage: k.stage, Region: region}
		if w.Book, ok = g.Window(region, stage); !ok || w.Book.AllYear || w.Book.SeasonStart() != insects.FromJanuary || w.Book.Start < 1 || w.Book.End > 365 {
			continue
		}
		effort := e.of(sampled[k], len(records))
		w.Records = flight.Fit(records, effort, bookOf(g, w.Book))
		w.Past = departures(records, w.Records, effort)
		out = append(out, w)
	}
	sort.Slice(out, func(i, j int) bool {
		a, b := out[i], out[j]
		return cmp.Or(cmp.Compare(a.Records.Median.Mid, b.Records.Median.Mid), cmp.Compare(a.Group, b.Group), cmp.Compare(a.Stage, b.Stage)) < 0
	})
	return out
}

// departures are those of past seasons from the window of all.
func departures(records []flight.Record, w flight.Window, effort flight.Effort) []Lateness {
	of := map[int][]flight.Record{}
	for _, r := range records {
		of[r.Year] = append(of[r.Year], r)
	}
	var out []Lateness
	for _, year := range slices.Sorted(maps.Keys(of)) {
		if late, v, ok := (flight.Season{Records: of[year], Window: w}).ShiftEvidence(effort, flight.Year); ok {
			out = append(out, Lateness{year, late, v})
		}
	}
	return out
}

// bookOf is a window of the catalogue as the prior of its fit.
func bookOf(g *insects.Group, w insects.Window) flight.Book {
	b := flight.Book{Start: float64(w.Start), Median: float64(w.Median), End: float64(w.End), MedianSD: w.MedianSDDays}
	b.PerDegree, b.Per100M = g.Slopes(w)
	return b
}

// season works out how the season under way goes.
func (t *Summary) season(e effort, day civil.Date) {
	now := day.Time()
	current, sampled := byStage(t.known, t.Season.Region, func(y int) bool { return y == now.Year() })
	var seen []flight.Season
	n := 0.0
	for i := range t.Windows {
		w := &t.Windows[i]
		k := groupStage{w.Group, w.Stage}
		w.Season = flight.Season{Records: current[k], Window: w.Records}
		if len(current[k]) == 0 {
			continue
		}
		seen = append(seen, w.Season)
		if late, v, ok := w.Season.ShiftEvidence(e.of(sampled[k], len(current[k])), now.YearDay()-1); ok {
			w.Now = Lateness{now.Year(), late, v}
		}
	}
	for _, r := range t.known {
		if r.Group == "" || r.Absent || r.Day.Time().Year() != now.Year() {
			continue
		}
		n++
		t.Season.LatDeg += (r.LatDeg - t.Season.LatDeg) / n
		t.Season.LonDeg += (r.LonDeg - t.Season.LonDeg) / n
	}
	t.Season.Groups = len(seen)
	for _, s := range seen {
		t.Season.Records += len(s.Records)
	}
	t.Season.Late = flight.Shift(seen, e.people, now.YearDay()-1)
}
