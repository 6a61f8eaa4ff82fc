package rivers

import (
	"cmp"
	"context"
	"errors"
	"math"
	"slices"

	"example.org/eclose/forecast"
	"example.org/eclose/model/watertemp"
)

// Shard is one season of one river: the piece of a backtest that is computed,
// kept and found again as a whole.
type Shard struct {
	Key     string
	River   string
	Season  int
	Issues  int    // outlooks issued
	AsOf    int    // of them from readings as they stood then; the others as they are known today
	Skipped string // why there is nothing, in words

	Cells []Cell
	Dates []DateCase
	Cases []Case // judged by sightings
	Bins  [][]Bin
}

// Cell sums up the days of one season at one lead for one stage of one group.
// The sums are of squared distances of chances from what came.
type Cell struct {
	Group    string
	Stage    forecast.Stage
	Lead     int
	N        int
	Model    float64
	Calendar float64
	Plain    float64 // by the calendar that takes all past seasons alike

	LastN     int     // days with a date of last year
	LastModel float64 // the forecast on those days
	Last      float64 // the calendar's curve moved to last year's date
}

// Bin gathers days by the chance that was forecast.
type Bin struct {
	N    int
	P, Q float64 // sums of the chance forecast and of what came
}

// binCount is how many bins of equal width a reliability diagram has.
const binCount = 10

// DateCase is the date of one stage's peak in one season, as said so many days
// before the calendar's date. Zero dates are unknown.
type DateCase struct {
	River    string
	Season   int
	Group    string
	Stage    forecast.Stage
	Lead     int
	Issue    forecast.Date
	Early    forecast.Date // 10 % point
	Median   forecast.Date // middle
	Late     forecast.Date // 90 % point
	Calendar forecast.Date
	Plain    forecast.Date // by the calendar that takes all past seasons alike
	Last     forecast.Date // last year's date in this year
	Observed forecast.Date
}

// Case is one sighting held against the chance of it.
type Case struct {
	River    string
	Season   int
	Group    string
	Stage    forecast.Stage
	Lead     int
	Issue    forecast.Date
	Day      forecast.Date
	Hours    float64
	P        float64
	Calendar float64
	Plain    float64
	Last     float64 // NaN where last year has no date
	Seen     bool
}

type stageKey struct {
	group string
	stage forecast.Stage
}

// hindcast computes one slice.
type hindcast struct {
	plan  *Plan
	src   Source
	river forecast.River
	year  int
	whole forecast.Record
	is    *forecast.Issuer
	out   *Shard

	targets  map[forecast.Date][]forecast.Sighting // of the season; nil when judged by the analysis
	truth    map[stageKey]*forecast.StageOutlook
	last     map[stageKey]int // day of the year of last year's date
	forecast map[stageKey]map[forecast.Date]forecast.Range
	calendar map[stageKey]forecast.Date
	plain    map[stageKey]forecast.Date
	cells    map[cellKey]*Cell

	retired map[string][]forecast.StageOutlook // by group: what is said of it from now on
	order   []string                           // of the settled
}

type cellKey struct {
	stageKey
	lead int
}

func (s *hindcast) begin() {
	s.forecast, s.cells = map[stageKey]map[forecast.Date]forecast.Range{}, map[cellKey]*Cell{}
	s.calendar, s.plain = map[stageKey]forecast.Date{}, map[stageKey]forecast.Date{}
}

func (s *hindcast) run(ctx context.Context) error {
	s.begin()
	first := date(s.year, 1, 1) - forecast.Date(s.plan.Leads[len(s.plan.Leads)-1])
	asOf, err := s.asOfFrom(ctx)
	if err != nil {
		return err
	}
	begin, err := s.known(ctx, first, asOf)
	if err != nil {
		return err
	}
	fitted, err := fit(begin)
	if err != nil {
		return err
	}
	opt := forecast.Options{Members: s.plan.Members, ChancesOnly: true, Fitted: fitted, FittedFlow: begin.FitFlow(), Sightings: s.plan.diary(), Sites: s.plan.Sites, Open: s.plan.Open}
	if err := s.judge(opt); err != nil {
		return s.nothing(err)
	}
	opt.Without = s.plan.Without
	s.retired = map[string][]forecast.StageOutlook{}
	for _, issue := range s.issues(first) {
		if err := ctx.Err(); err != nil {
			return err
		}
		rec, err := s.known(ctx, issue, asOf)
		if err != nil {
			return err
		}
		if !s.plan.allDays {
			opt.ChancesOn = s.asked(issue)
		}
		o, err := s.outlook(rec, s.year, opt)
		if errors.Is(err, forecast.ErrNothingKnown) {
			continue // too early: the next issue knows more
		}
		if err != nil {
			return err
		}
		s.out.Issues++
		if rec.AsOf {
			s.out.AsOf++
		}
		o.Stages = slices.DeleteFunc(o.Stages, func(st forecast.StageOutlook) bool { return s.retired[st.Group] != nil })
		for _, key := range s.order {
			o.Stages = append(o.Stages, s.retired[key]...)
		}
		s.score(issue, o)
		s.retire(issue, o)
	}
	s.finish()
	if s.out.Issues == 0 {
		s.out.Skipped = "too little data for this river before the season"
	}
	return nil
}

// asked are the days of an outlook that are read: those at the leads, and the day of the
// issue, from which on a season that is over must have nothing left (passed).
func (s *hindcast) asked(issue forecast.Date) []forecast.Date {
	out := []forecast.Date{issue}
	for _, lead := range s.plan.Leads {
		if lead > 0 {
			out = append(out, issue+forecast.Date(lead))
		}
	}
	return out
}

// nothing turns a lack of data into a slice without any.
func (s *hindcast) nothing(err error) error {
	if errors.Is(err, forecast.ErrNothingKnown) {
		s.out.Skipped = "too little data for this river by the end of the season"
		return nil
	}
	return err
}

// asOfFrom reports whether any issue of the season lies in the time of which the
// store kept what it held.
func (s *hindcast) asOfFrom(ctx context.Context) (bool, error) {
	_, known, err := s.src.AsOf(ctx, s.river, noon(s.river, date(s.year, 12, 31)))
	return known, err
}

func (s *hindcast) known(ctx context.Context, d forecast.Date, asOf bool) (forecast.Record, error) {
	at := noon(s.river, d)
	if asOf {
		rec, known, err := s.src.AsOf(ctx, s.river, at)
		if err != nil || known {
			return rec, err
		}
	}
	return s.whole.Cut(at, s.river.Zone), nil
}

// fit is the water model from what was known at the first issue; nil where that
// was too little, and each issue then sees for itself.
func fit(rec forecast.Record) (*watertemp.Model, error) {
	m, err := rec.FitWater()
	if _, ok := errors.AsType[*watertemp.TooLittleError](err); ok {
		return nil, nil
	}
	return m, err
}

// outlook looks to the end of a year, and on to the end of February, which is
// short enough not to begin another season.
func (s *hindcast) outlook(rec forecast.Record, year int, opt forecast.Options) (*forecast.Outlook, error) {
	opt.Ahead = int(date(year+1, 2, 28) - rec.Issue)
	return s.is.Outlook(rec, s.river, s.plan.Catalogue, opt)
}

// judge gathers what the season is held against.
func (s *hindcast) judge(opt forecast.Options) error {
	if len(s.plan.Sightings) > 0 {
		s.sightings()
		return nil
	}
	this, err := s.analysis(s.year, opt)
	if err != nil {
		return err
	}
	s.truth, s.last = this, map[stageKey]int{}
	before, err := s.analysis(s.year-1, opt)
	if errors.Is(err, forecast.ErrNothingKnown) {
		return nil
	}
	if err != nil {
		return err
	}
	for k, o := range before {
		if p := o.Window.Peak.P50; p != 0 {
			s.last[k] = int(p - date(s.year-1, 1, 1))
		}
	}
	return nil
}

// sightings gathers those of the season, and the dates of last year's.
func (s *hindcast) sightings() {
	s.targets, s.last = map[forecast.Date][]forecast.Sighting{}, map[stageKey]int{}
	for _, x := range s.plan.Sightings {
		if x.River == s.river.Slug && x.Day.Time().Year() == s.year {
			s.targets[x.Day] = append(s.targets[x.Day], x)
		}
	}
	for k, d := range s.middles(s.year - 1) {
		s.last[k] = int(d - date(s.year-1, 1, 1))
	}
}

// analysis is what the model says of a season when it is over.
func (s *hindcast) analysis(year int, opt forecast.Options) (map[stageKey]*forecast.StageOutlook, error) {
	o, err := s.outlook(s.whole.Cut(noon(s.river, date(year, 12, 31)), s.river.Zone), year, opt)
	if err != nil {
		return nil, err
	}
	out := map[stageKey]*forecast.StageOutlook{}
	for i := range o.Stages {
		out[stageKey{o.Stages[i].Group, o.Stages[i].Stage}] = &o.Stages[i]
	}
	return out, nil
}

// leastSeen is how many days with a sighting give a season a middle. Our own
// default.
const leastSeen = 3

// middles are the dates of a season by sightings: the median of the days on
// which a stage was seen.
func (s *hindcast) middles(year int) map[stageKey]forecast.Date {
	days := map[stageKey][]forecast.Date{}
	for _, x := range s.plan.Sightings {
		if k := (stageKey{x.Group, x.Stage}); x.Seen() && x.River == s.river.Slug && x.Day.Time().Year() == year && !slices.Contains(days[k], x.Day) {
			days[k] = append(days[k], x.Day)
		}
	}
	out := map[stageKey]forecast.Date{}
	for k, v := range days {
		if len(v) >= leastSeen {
			slices.Sort(v)
			out[k] = v[len(v)/2]
		}
	}
	return out
}

// issues are the days of issue: a grid over the season and, for sightings, the
// exact leads before each.
func (s *hindcast) issues(first forecast.Date) []forecast.Date {
	end := min(date(s.year, 12, 31), forecast.DateOf(s.plan.Now)-1)
	var out []forecast.Date
	if s.targets != nil && len(s.targets) == 0 {
		return nil
	}
	for d := first; d <= end; d += forecast.Date(s.plan.Every) {
		out = append(out, d)
	}
	for _, d := range s.before() {
		if d >= first && d <= end {
			out = append(out, d)
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// before are the days that lie a lead before a sighting.
func (s *hindcast) before() []forecast.Date {
	var out []forecast.Date
	for day := range s.targets {
		for _, lead := range s.plan.Leads {
			out = append(out, day-forecast.Date(lead))
		}
	}
	slices.Sort(out)
	return slices.Compact(out)
}

// retireDays is how long a season must be over before nothing more is expected
// of it. Our own default.
const retireDays = 21

// retire takes groups out of the outlooks to come whose season is over for all
// members: no chance that rounds to 0.0001 is left on any day from the issue on.
// What was just said of them is what every later outlook of the season would say,
// but for the last digit where a gate of temperature opens again or a gap in the
// readings is filled otherwise.
func (s *hindcast) retire(issue forecast.Date, o *forecast.Outlook) {
	if s.plan.whole || issue < date(s.year, 1, 1) {
		return
	}
	var left []string
	for i := 0; i < len(o.Stages); {
		key := o.Stages[i].Group
		j, over := i, true
		for ; j < len(o.Stages) && o.Stages[j].Group == key; j++ {
			over = over && passed(&o.Stages[j], issue)
		}
		if s.retired[key] == nil {
			if over {
				s.retired[key] = slices.Clone(o.Stages[i:j])
				s.order = append(s.order, key)
			} else {
				left = append(left, key)
			}
		}
		i = j
	}
	if len(left) > 0 { // an empty list would ask for all
		s.river.Groups = left
	}
}

func passed(st *forecast.StageOutlook, issue forecast.Date) bool {
	if st.Window.End.P90 == 0 || st.Window.End.P90+retireDays >= issue {
		return false
	}
	for i := st.Days.Len() - 1; i >= 0; i-- {
		d := st.Days.At(i)
		if d.Date < issue {
			break
		}
		if d.P > 0 {
			return false
		}
	}
	return true
}

// score holds one outlook against what came.
func (s *hindcast) score(issue forecast.Date, o *forecast.Outlook) {
	stages := make(map[stageKey]*forecast.StageOutlook, len(o.Stages))
	year0, year1 := date(s.year, 1, 1), date(s.year, 12, 31)
	for i := range o.Stages {
		st := &o.Stages[i]
		k := stageKey{st.Group, st.Stage}
		stages[k] = st
		if p := st.Window.Peak; p.P50 >= year0 && p.P50 <= year1 {
			if s.forecast[k] == nil {
				s.forecast[k] = map[forecast.Date]forecast.Range{}
			}
			s.forecast[k][issue] = p
		}
		if p := st.Calendar.Peak.P50; p >= year0 && p <= year1 {
			s.calendar[k], s.plain[k] = p, st.PlainCalendar().Peak.P50
		}
	}
	for at, lead := range s.plan.Leads {
		target := issue + forecast.Date(lead)
		if target < year0 || target > year1 {
			continue
		}
		if s.targets != nil {
			for _, x := range s.targets[target] {
				s.sighted(o.IssueDate(), lead, x, stages)
			}
			continue
		}
		for i := range o.Stages {
			st := &o.Stages[i]
			k := stageKey{st.Group, st.Stage}
			truth, ok := s.truth[k]
			if !ok {
				continue
			}
			observed, ok1 := truth.On(target)
			day, ok2 := st.On(target)
			if !ok1 || !ok2 {
				continue
			}
			s.add(at, lead, k, chances{day.P, day.PCalendar, st.PlainChance(target), s.lastYear(k, st, target)}, observed.P)
		}
	}
}

// lastYear is the calendar's curve moved so that its peak falls on last year's
// date; NaN where there is none.
func (s *hindcast) lastYear(k stageKey, st *forecast.StageOutlook, target forecast.Date) float64 {
	doy, ok := s.last[k]
	peak := st.Calendar.Peak.P50
	if !ok || peak == 0 {
		return math.NaN()
	}
	day, ok := st.On(target - (date(peak.Time().Year(), 1, 1) + forecast.Date(doy) - peak))
	if !ok {
		return 0 // outside the season altogether
	}
	return day.PCalendar
}

// chances are the chances of one day by the forecast, by both calendars and by last
// year's date, NaN where that is not known.
type chances struct{ forecast, calendar, plain, last float64 }

// add takes one day into its cell and bin.
func (s *hindcast) add(at, lead int, k stageKey, p chances, observed float64) {
	ck := cellKey{k, lead}
	c := s.cells[ck]
	if c == nil {
		c = &Cell{Group: k.group, Stage: k.stage, Lead: lead}
		s.cells[ck] = c
	}
	sq := func(x float64) float64 { return (x - observed) * (x - observed) }
	c.N++
	c.Model += sq(p.forecast)
	c.Calendar += sq(p.calendar)
	c.Plain += sq(p.plain)
	if !math.IsNaN(p.last) {
		c.LastN++
		c.LastModel += sq(p.forecast)
		c.Last += sq(p.last)
	}
	if s.out.Bins == nil {
		s.out.Bins = make([][]Bin, len(s.plan.Leads))
		for i := range s.out.Bins {
			s.out.Bins[i] = make([]Bin, binCount)
		}
	}
	b := &s.out.Bins[at][min(int(p.forecast*binCount), binCount-1)]
	b.N++
	b.P += p.forecast
	b.Q += observed
}

// sighted holds one sighting against the chance that two hours of watching
// would have shown it, carried to the hours that were watched: each two hours
// miss with the chance 1 - P.
func (s *hindcast) sighted(issue forecast.Date, lead int, x forecast.Sighting, stages map[stageKey]*forecast.StageOutlook) {
	keys := []string{x.Group}
	if broods := s.plan.Catalogue.Broods(x.Group); stages[stageKey{x.Group, x.Stage}] == nil && len(broods) > 0 {
		keys = keys[:0]
		for _, b := range broods {
			keys = append(keys, b.Key)
		}
	}
	miss := [4]float64{1, 1, 1, 1}
	known := false
	for _, key := range keys {
		k := stageKey{key, x.Stage}
		st := stages[k]
		if st == nil {
			continue
		}
		d, ok := st.On(x.Day)
		if !ok {
			continue
		}
		known = true
		for i, p := range [4]float64{d.P, d.PCalendar, st.PlainChance(x.Day), s.lastYear(k, st, x.Day)} {
			miss[i] *= math.Pow(1-p, x.Hours/2)
		}
	}
	if !known {
		return
	}
	c := Case{River: s.river.Slug, Season: s.year, Group: x.Group, Stage: x.Stage, Lead: lead, Issue: issue, Day: x.Day,
		Hours: x.Hours, P: 1 - miss[0], Calendar: 1 - miss[1], Plain: 1 - miss[2], Last: 1 - miss[3], Seen: x.Seen()}
	s.out.Cases = append(s.out.Cases, c)
	observed := 0.0
	if x.Seen() {
		observed = 1
	}
	at, _ := slices.BinarySearch(s.plan.Leads, lead)
	s.add(at, lead, stageKey{x.Group, x.Stage}, chances{c.P, c.Calendar, c.Plain, c.Last}, observed)
}

// finish puts cells and dates in order.
func (s *hindcast) finish() {
	for _, c := range s.cells {
		s.out.Cells = append(s.out.Cells, *c)
	}
	slices.SortFunc(s.out.Cells, func(a, b Cell) int {
		return cmp.Or(cmp.Compare(a.Group, b.Group), cmp.Compare(a.Stage, b.Stage), cmp.Compare(a.Lead, b.Lead))
	})
	observed := map[stageKey]forecast.Date{}
	if s.targets != nil {
		observed = s.middles(s.year)
	} else {
		for k, o := range s.truth {
			if p := o.Window.Peak.P50; p >= date(s.year, 1, 1) && p <= date(s.year, 12, 31) {
				observed[k] = p
			}
		}
	}
	for k, calendar := range s.calendar {
		if observed[k] == 0 {
			continue
		}
		for _, lead := range s.plan.Leads {
			c := DateCase{River: s.river.Slug, Season: s.year, Group: k.group, Stage: k.stage, Lead: lead, Calendar: calendar, Plain: s.plain[k], Observed: observed[k]}
			// The last issue at least so long before the calendar's date, which
			// was known beforehand, as what happened was not.
			for issue, r := range s.forecast[k] {
				if issue <= calendar-forecast.Date(lead) && issue > calendar-forecast.Date(lead+s.plan.Every) && issue > c.Issue {
					c.Issue, c.Early, c.Median, c.Late = issue, r.P10, r.P50, r.P90
				}
			}
			if c.Issue == 0 {
				continue
			}
			if doy, ok := s.last[k]; ok {
				c.Last = date(s.year, 1, 1) + forecast.Date(doy)
			}
			s.out.Dates = append(s.out.Dates, c)
		}
	}
	slices.SortFunc(s.out.Dates, func(a, b DateCase) int {
		return cmp.Or(cmp.Compare(a.Group, b.Group), cmp.Compare(a.Stage, b.Stage), cmp.Compare(a.Lead, b.Lead))
	})
	slices.SortStableFunc(s.out.Cases, func(a, b Case) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Group, b.Group), cmp.Compare(a.Stage, b.Stage), cmp.Compare(a.Lead, b.Lead))
	})
}
