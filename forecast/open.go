package forecast

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"example.org/eclose/forecast/records"
	"example.org/eclose/model/insects"
	"example.org/eclose/model/phenology"
)

// open is what open records tell of a river at an issue. Without records it is
// nil, and nothing of an outlook changes.
type open struct {
	summary  *records.Summary
	near     map[string]records.Presence
	replaces map[string]*records.Window // by group
}

// farthestMove is how far records move a region's dates to a river, days: as far as
// the catalogue's are moved. Our own default.
const farthestMove = 30.0

// fewestRecords is how many records a window needs to be shown. Our own default.
const fewestRecords = 10

func (rec Record) open(r River, region insects.Region, c *insects.Catalogue, opt Options) *open {
	if opt.Open == nil {
		return nil
	}
	o := &open{summary: opt.Open.Windows(region, c, rec.Issue, rec.IssuedAt), replaces: map[string]*records.Window{}}
	o.near = o.summary.Presence(records.Near{LatDeg: r.Lat, LonDeg: r.Lon, Km: records.NearKm})
	for i := range o.summary.Windows {
		w := &o.summary.Windows[i]
		if !w.Replaces() {
			continue
		}
		// Dates of emergence go before those of egg-laying: the days between are the
		// insect's own.
		if have := o.replaces[w.Group]; have == nil || have.Stage == records.EggLaying {
			o.replaces[w.Group] = w
		}
	}
	return o
}

// homeKm is how far around a river records count for the region that its config
// names, wherever the border is drawn. Our own default: as far as they are fetched.
const homeKm = 100

// OpenRecords reads what open sources hold around rivers; nil if that is nothing.
func OpenRecords(ctx context.Context, store *records.Store, rivers []River) (*records.Open, error) {
	var homes []records.Home
	for _, r := range rivers {
		region, err := r.region()
		if err != nil {
			continue // its outlook says so
		}
		homes = append(homes, records.Home{Name: r.Slug, Region: region, Near: records.Near{LatDeg: r.Lat, LonDeg: r.Lon, Km: homeKm}})
	}
	o, err := store.Open(ctx, homes)
	if err != nil || len(o.Records) == 0 {
		return nil, err
	}
	return o, nil
}

// redated returns a group's prior moved to the dates of open records, and by how many
// days, where they replace the catalogue's. Where the rule of latitude and height
// moved the catalogue's dates to the river, what the records say of both moves
// theirs.
func (o *open) redated(g *insects.Group, p phenology.Params, s site) (later float64, _ phenology.Params, ok bool) {
	if o == nil || o.replaces[g.Key] == nil {
		return 0, p, false
	}
	w := o.replaces[g.Key]
	later = w.Records.Median.Mid - float64(w.Book.Median)
	if !s.warms(p) {
		from := w.Region.Place()
		move := w.Records.PerDegree.Days * (math.Abs(s.LatDeg) - math.Abs(from.LatDeg))
		if !math.IsNaN(s.ElevationM) {
			move += w.Records.Per100M.Days * (s.ElevationM - from.ElevationM) / 100
		}
		book, _ := g.Window(w.Region, insects.Emergence)
		later += math.Max(-farthestMove, math.Min(farthestMove, move)) - g.MoveTo(book, s.Place).Days
	}
	place := math.Sqrt(math.Max(0, p.MedianSD*p.MedianSD-w.Book.MedianSDDays*w.Book.MedianSDDays)) // doubt about the way to the river
	spread := 0.0
	if w.Stage != records.EggLaying {
		spread = (w.Records.End.Mid - w.Records.Start.Mid) / insects.WindowSDs * insects.OpenRecords.ReachShare()
	}
	p = p.Redated(later, math.Hypot(w.Records.MedianSD(), place), spread)
	return later, p, true
}

// site is where about this season's open records were made, as a river beside this
// one. It says false where they tell nothing or lie too far away.
func (o *open) site(r River) (River, bool) {
	if o == nil || !slices.ContainsFunc(o.summary.Windows, func(w records.Window) bool { return w.Now.Variance > 0 }) {
		return River{}, false
	}
	s := &o.summary.Season
	out := River{Name: s.Region.Words(), Zone: r.Zone, Lat: s.LatDeg, Lon: s.LonDeg, Regulated: r.Regulated}
	return out, Shares(r, out)
}

// addRecorded enters the groups of this season's open records, at a place of their
// own. Their usual dates are those of the records of past seasons.
func (t *timing) addRecorded(is *Issuer, k int, site, r River, c *insects.Catalogue, w *water) {
	for i := range t.open.summary.Windows {
		x := &t.open.summary.Windows[i]
		g, known := c.Group(x.Group)
		if x.Now.Variance == 0 || !known {
			continue
		}
		p, ok := is.paramsFor(g, x.Region, w.place(t.rec, r))
		if !ok {
			continue
		}
		p = p.Redated(x.Records.Median.Mid-p.MedianDOY, x.Records.MedianSD(), 0)
		m := timed{key: g.Key, name: site.Name, params: p, start: x.Book.SeasonStart(), recorded: x}
		m.taxon = p.Taxon(t.insect(g.Key), k, x.Records.Median.Mid)
		t.groups = append(t.groups, m)
	}
}

// datedWrong is how far the dates of open records may stray beyond chance, days²:
// as for those worked out from sightings.
const datedWrong = 9.0

// seeRecorded enters what open records tell of the season under way. Their places
// warm as this river does: no water of theirs is known.
func (t *timing) seeRecorded() {
	season := t.rec.Issue.Time().Year()
	for i := range t.groups {
		x := t.groups[i].recorded
		if x == nil {
			continue
		}
		t.seen[season] = append(t.seen[season], phenology.Evidence{Taxon: i, Thermal: t.departure(i, season),
			DOY: t.groups[i].taxon.MedianDOY + x.Now.Days, Variance: x.Now.Variance + datedWrong})
	}
}

// pastRecorded enters past seasons of a group's open records as cases.
func (t *timing) pastRecorded(i int) {
	m := &t.groups[i]
	for _, d := range m.recorded.Past {
		m.past = append(m.past, len(t.cases))
		t.cases = append(t.cases, phenology.SeasonDate{Taxon: i, Year: d.Year, DOY: m.taxon.MedianDOY + d.Days, Variance: d.Variance + datedWrong, Thermal: t.departure(i, d.Year)})
	}
	t.centre(i)
}

// missing reports that open records know other insects near the river, but not this
// one.
func (o *open) missing(key string) bool { return o != nil && o.near[key].Missing() }

// RecordsWindow is when a stage happens in a region by open records, beside the
// catalogue's dates.
type RecordsWindow struct {
	Records int   `json:"records"`
	Years   int   `json:"years"`
	Start   Range `json:"start"`  // by which 5 % of it has passed
	Median  Range `json:"median"` // half
	End     Range `json:"end"`    // 95 %
	Book    struct {
		Start  Date `json:"start"`
		Median Date `json:"median"`
		End    Date `json:"end"`
	} `json:"catalogue"`
	Flight bool `json:"flight,omitempty"` // adults of which nothing tells whether they emerge or lay
	Used   bool `json:"used"`             // in place of the catalogue's dates
}

// window is what open records tell of a stage in the season that begins on a day.
func (o *open) window(key string, stage Stage, day0 Date) *RecordsWindow {
	if o == nil || day0.Time().Month() != 1 {
		return nil
	}
	best := -1
	for i := range o.summary.Windows {
		w := &o.summary.Windows[i]
		mine := w.Stage == records.Stage(stage) || stage == Emergence && w.Stage == records.Flight
		if w.Group == key && mine && w.Records.Records >= fewestRecords && (best < 0 || w.Stage != records.Flight) {
			best = i
		}
	}
	if best < 0 {
		return nil
	}
	w := &o.summary.Windows[best]
	at := func(d float64) Date { return day0 + Date(math.Round(d)) - 1 }
	out := &RecordsWindow{Records: w.Records.Records, Years: w.Records.Years, Flight: w.Stage == records.Flight, Used: o.replaces[key] == w}
	out.Start = Range{at(w.Records.Start.Low), at(w.Records.Start.Mid), at(w.Records.Start.High)}
	out.Median = Range{at(w.Records.Median.Low), at(w.Records.Median.Mid), at(w.Records.Median.High)}
	out.End = Range{at(w.Records.End.Low), at(w.Records.End.Mid), at(w.Records.End.High)}
	out.Book.Start, out.Book.Median, out.Book.End = at(float64(w.Book.Start)), at(float64(w.Book.Median)), at(float64(w.Book.End))
	return out
}

// Words says when by records, when by the catalogue, and which is used.
func (w *RecordsWindow) Words() string {
	day := func(d Date) string { return d.Time().Format("2 January") }
	what := "it"
	if w.Flight {
		what = "its flight"
	}
	use := "The catalogue's dates are used."
	if w.Used {
		use = "The records' dates are used."
	}
	return fmt.Sprintf("%d open records of %s put %s at %s to %s in the region, middle %s (%s to %s); the catalogue says %s to %s. %s",
		w.Records, counted(w.Years, "year"), what, day(w.Start.P50), day(w.End.P50), day(w.Median.P50), day(w.Median.P10), day(w.Median.P90),
		day(w.Book.Start), day(w.Book.End), use)
}

// RecordsSeason is how the season under way goes in a region by open records: so
// many days late, negative for early, with its 80 % range.
type RecordsSeason struct {
	Days    float64 `json:"days"`
	Low     float64 `json:"low"`
	High    float64 `json:"high"`
	Records int     `json:"records"`
	Groups  int     `json:"groups"`
}

// Words says how the season goes.
func (s *RecordsSeason) Words() string {
	return fmt.Sprintf("Open records put this season in the region at %s (80%% range %s to %s): %s of %s.",
		lateWords(s.Days), lateWords(s.Low), lateWords(s.High), counted(s.Records, "record"), counted(s.Groups, "insect"))
}

func lateWords(days float64) string {
	switch d := math.Round(days); {
	case d < 0:
		return counted(int(-d), "day") + " early"
	case d > 0:
		return counted(int(d), "day") + " late"
	}
	return "its usual date"
}

func counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// recordWords says how far open records of a region moved a date.
func (i Influence) recordWords() string {
	way := "later"
	if i.Days < 0 {
		way = "earlier"
	}
	return fmt.Sprintf("Moved %.1f days %s by %s of %s this season (%s).", math.Abs(i.Days), way, counted(i.Sightings, "open record"),
		strings.ReplaceAll(i.Group, "-", " "), i.River)
}

// notes is what open records say of the season.
func (o *open) notes() []Remark {
	if o == nil || o.summary.Season.Records == 0 {
		return nil
	}
	s := &o.summary.Season
	return []Remark{{Code: SeasonSoFar, Season: &RecordsSeason{round(s.Late.Mid, 10), round(s.Late.Low, 10), round(s.Late.High, 10), s.Records, s.Groups}}}
}

// reasons is what open records say of a stage.
func (o *open) reasons(s *StageOutlook) []Remark {
	var out []Remark
	if s.Records != nil {
		out = append(out, Remark{Code: ByRecords, Records: s.Records})
	}
	if o.missing(s.Group) && s.Elsewhere {
		out = append(out, Remark{Code: NotRecorded, Days: o.near[s.Group].Others, Of: int(math.Round(o.near[s.Group].Expected))})
	}
	return out
}

// WhyElsewhere says why lists leave a stage out; empty where they do not.
func (s *StageOutlook) WhyElsewhere() string {
	switch {
	case !s.Elsewhere:
		return ""
	case slices.ContainsFunc(s.Reasons, func(r Remark) bool { return r.Code == NotRecorded }):
		return "not among the open records near this river"
	}
	return "lives in other kinds of water than this"
}

// entered lists the open records that stand behind an outlook, by what they were
// used for.
func (o *open) entered(r River, of *Outlook) []Entered {
	if o == nil {
		return nil
	}
	var out []Entered
	region := o.summary.Season.Region.Words()
	for key, w := range o.replaces {
		first, last := o.summary.Span(key, w.Stage, false)
		out = append(out, Entered{Kind: Records, River: region, Group: key, Sightings: w.Records.Records, From: first, To: last, Use: ForWindow})
	}
	if _, ok := o.site(r); ok {
		for i := range o.summary.Windows {
			if w := &o.summary.Windows[i]; w.Now.Variance > 0 {
				first, last := o.summary.Span(w.Group, w.Stage, true)
				out = append(out, Entered{Kind: Records, River: region, Group: w.Group, Sightings: len(w.Season.Records), From: first, To: last, Use: ForSeason})
			}
		}
	}
	for key, p := range o.near {
		if p.Missing() && slices.ContainsFunc(of.Stages, func(s StageOutlook) bool { return s.Group == key && s.Elsewhere }) {
			out = append(out, Entered{Kind: Records, River: r.Name, Group: key, Sightings: p.Others, From: p.First, To: p.Last, Use: ForPresence})
		}
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := out[i], out[j]
		return cmp.Or(cmp.Compare(a.Use, b.Use), cmp.Compare(a.Group, b.Group), cmp.Compare(a.Sightings, b.Sightings)) < 0
	})
	return out
}
