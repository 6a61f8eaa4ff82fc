package verdict

import (
	"cmp"
	"slices"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/wading"
)

// Question is what somebody asks.
type Question struct {
	Now    time.Time
	Days   int      // from today on; 0: DefaultDays
	Groups []string // the reader's own wish list; it outdoes the catalogue's order
	Units  wading.Units
}

// defaultDays is how far ahead a verdict looks.
const defaultDays = 14

// Answer is what a verdict comes to.
type Answer string

// The answers.
const (
	Go      Answer = "go"      // one river and its days lead
	Draw    Answer = "draw"    // two rivers are too close to call
	Water   Answer = "water"   // the insects are good and the water is not
	Nothing Answer = "nothing" // nothing is worth a journey; see Coming
	Stale   Answer = "stale"   // every forecast is too old to answer
)

// Verdict is the answer for one or more rivers.
type Verdict struct {
	Now    time.Time
	Days   int
	Answer Answer
	// Invite reports whether the answer may be put as an imperative; for a draw, both of them.
	Invite bool
	First  *Choice // nil for Nothing and Stale
	Second *Choice // the best days at another river; nil if there are none
	Coming *Catch  // for Nothing: what comes next and where
	// ComingAt is the name of the river of Coming.
	ComingAt string
	Rivers   []River // in the order in which they were given
	units    wading.Units
}

// Choice is some days at one river.
type Choice struct {
	trip.Stay         // River, From, To, Chance beside Calendar, Flow and Warm odds
	Catches   []Catch // what to be there for, worthiest first; two or three
	Invite    bool
}

// Catch is one stage of an insect: when it shows, how likely, and the fly for it.
type Catch struct {
	Group, Name string
	Stage       forecast.Stage
	P, Calendar float64 // chance in two hours' watch, and by the calendar alone
	Hours       forecast.Hours
	Fly         trip.Pattern
	Grade       forecast.EvidenceCode
	From, To    forecast.Date // the window's most likely first and last day
	Best        forecast.Date // the likeliest day from today on
	Shift       int           // days by which the peak lies after the calendar's; negative: earlier
	Dark        wading.Light  // the darkest light of its hours
}

// River is the verdict for one river.
type River struct {
	River, Name string
	IssuedAt    time.Time
	Reading     time.Time       // the newest one; zero: none
	Stale       bool            // the forecast was issued too long ago
	Caution     *wading.Caution // as judged now; nil: unknown
	Invite      bool
	Today       []Catch // still to come today, in the order of the day
	TodayChance float64 // that at least one of them shows
	Best        *Choice // within the days asked for; nil: nothing
	Matters     bool    // the insects of Best are worth a journey
	Shut        bool    // flow or warm water more likely than not spoil its days
	Days        []trip.Day
	Next        []Catch // the ten that matter, in the order in which they open
	outlook     *forecast.Outlook
	flows       *trip.Flows
}

// Our own defaults.
const (
	staleAfter = 48 * time.Hour
	nextShown  = 10
	todayShown = 5
	todayFrom  = 0.1 // the least chance of a stage that is named for today
	shutFrom   = 2.0 / 3
)

// Of answers a question for some rivers. Rivers without an outlook are left out. The
// same arguments give the same verdict.
func Of(q Question, rivers []trip.River, groups trip.Groups) Verdict {
	if q.Days == 0 {
		q.Days = defaultDays
	}
	v := Verdict{Now: q.Now, Days: q.Days, units: q.Units}
	stale := true
	for _, r := range rivers {
		if r.Outlook == nil {
			continue
		}
		x := riverOf(q, r, groups)
		stale = stale && x.Stale
		v.Rivers = append(v.Rivers, x)
	}
	if len(v.Rivers) == 0 || stale {
		v.Answer = Stale
		return v
	}
	v.choose()
	return v
}

// choose picks the answer: the best days of the best river, if they are worth it.
func (v *Verdict) choose() {
	var open, shut []*River
	for i := range v.Rivers {
		r := &v.Rivers[i]
		switch {
		case r.Stale || r.Best == nil || !r.Matters:
		case r.Shut:
			shut = append(shut, r)
		default:
			open = append(open, r)
		}
	}
	best := func(a, b *River) int { return cmp.Compare(b.Best.Worth, a.Best.Worth) }
	slices.SortStableFunc(open, best)
	slices.SortStableFunc(shut, best)
	switch {
	case len(open) > 0:
		v.Answer, v.First = Go, open[0].Best
		if len(open) > 1 {
			v.Second = open[1].Best
			if trip.Close(v.First.Stay, v.Second.Stay) {
				v.Answer = Draw
			}
		}
		v.Invite = v.First.Invite && (v.Answer != Draw || v.Second.Invite)
	case len(shut) > 0:
		v.Answer, v.First = Water, shut[0].Best
	default:
		v.Answer = Nothing
		v.Coming, v.ComingAt = v.coming()
	}
}

// coming is the first stage still to open that an angler would come for, of any river.
func (v *Verdict) coming() (next *Catch, at string) {
	today := v.Now
	for i := range v.Rivers {
		r := &v.Rivers[i]
		first := dateAt(r.outlook, today)
		for k := range r.Next {
			c := &r.Next[k]
			if c.From > first && (next == nil || c.From < next.From) {
				next, at = c, r.Name
			}
		}
	}
	return next, at
}

func dateAt(o *forecast.Outlook, t time.Time) forecast.Date {
	return forecast.DateOf(t.In(forecast.ZoneOf(o.Zone)))
}
