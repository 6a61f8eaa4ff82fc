package insects

import (
	"math"
	"slices"
	"sort"
	"strings"
)

// Kind is what a row of the catalogue stands for.
type Kind string

// The kinds. A parent carries names and common facts for its broods and is not
// itself forecast.
const (
	Single     Kind = "single"
	Brood      Kind = "brood"
	Parent     Kind = "parent"
	Continuous Kind = "continuous"
)

// Site is where the winged insect leaves its skin.
type Site string

// The emergence sites.
const (
	AtSurface      Site = "surface"
	Underwater     Site = "underwater"
	AtShore        Site = "shore"
	ShoreOrSurface Site = "shore-or-surface"
	SiteUnsure     Site = "unsure"
	OnLand         Site = "land" // a land insect: its emergence is the time of adults that fall on the water
)

// Oviposition is how the eggs reach the water.
type Oviposition string

// The ways of laying.
const (
	Dips        Oviposition = "dips"
	Falls       Oviposition = "falls"
	Drops       Oviposition = "drops"
	Dives       Oviposition = "dives"
	CrawlsUnder Oviposition = "crawls-under"
	Skates      Oviposition = "skates"
	Waterline   Oviposition = "waterline"
	Overhang    Oviposition = "overhang"
	NotInWater  Oviposition = "land"
)

// Words is the way of laying for people.
func (o Oviposition) Words() string {
	return map[Oviposition]string{
		Dips:        "dips or releases eggs at the surface",
		Falls:       "falls spent on the surface in numbers (spinner fall)",
		Drops:       "drops egg masses from flight",
		Dives:       "dives or crawls under water to attach the eggs",
		CrawlsUnder: "crawls under water down stones and weed",
		Skates:      "runs on the surface",
		Waterline:   "lays eggs at the waterline",
		Overhang:    "lays eggs above the water",
		NotInWater:  "lays eggs on land",
	}[o]
}

// Habitat is the kind of water in which a group is met in numbers. Common
// practice, no source.
type Habitat string

// The habitats.
const (
	Riffle      Habitat = "riffle"
	SpringCreek Habitat = "spring-creek"
	Tailwater   Habitat = "tailwater"
	Silt        Habitat = "silt"
	Bank        Habitat = "bank"
	Slow        Habitat = "slow"
	Still       Habitat = "still" // lakes and ponds
	Land        Habitat = "land"
)

// Fishable says whether a stage is an event on the water.
type Fishable string

// The answers. Unsure groups are forecast but marked as such.
const (
	FishableYes    Fishable = "yes"
	FishableNo     Fishable = "no"
	FishableUnsure Fishable = "unsure"
)

// PhotoperiodRule is what day length is thought to do. Hours at the middle of
// the season are worked out from the window: a coincidence until shown a cue.
type PhotoperiodRule struct {
	Kind        string // "none", "season", "falling" or "rising"
	MedianHours float64
	SDHours     float64
}

// Group is an insect group, the unit of forecast.
type Group struct {
	Key        string
	Kind       Kind
	ParentKey  string
	Order      string
	Family     []string
	Genera     []string
	Species    []string
	Confidence string // "low" or "medium": of the timing
	RefRegion  Region

	BaseTempC   float64
	UpperTempC  float64 // plateau of the daily rate; +Inf when none is known
	BiofixDoy   int     // day the sum starts; 0 when no degree-day rule is usable
	Generation  float64 // degree-days between broods or of a life cycle; 0 when unknown
	DDWeight    float64 // prior weight of the thermal date against the calendar, 0-1
	DDWeightSD  float64
	Photoperiod PhotoperiodRule

	EmergeMinC, EmergeMaxC     float64 // daily mean water in which it emerges
	OnsetWaterC                float64 // NaN when no onset gate is known
	OnsetAirC                  float64 // NaN when no onset gate is known
	AdultDaysMin, AdultDaysMax float64
	MaturationDays             float64 // emergence to egg-laying
	MaturationSDDays           float64

	EmergenceSite   Site
	OvipositionMode Oviposition
	Habitat         Habitat // empty if unknown
	HookMin         int     // hook numbers: the smallest number is the biggest hook
	HookMax         int
	Colours         string
	Note            string

	Names []Name

	fishable     map[Stage]Fishable
	hours        map[Stage]Hours
	presentation map[Stage]string
	worth        map[Stage]int
	windows      []Window
	dd           map[Region]*thermal
	facts        []Fact
}

type thermal struct {
	dd50, cv, spread float64
	weight, weightSD float64 // NaN: as the group
	origin           Fact
}

// Name is one name that people use for a group somewhere.
type Name struct {
	Name  string
	Area  string // us, us-west, uk, ...; any
	Group string
	Rank  int    // 1 first when one name means several groups in one area
	Kind  string // common, scientific, scientific-old, regional, broad, misapplied, synonym
	Note  string
}

// Label is a group's name for people, from its key: without hyphens, and without
// the part of the world that tells it from its namesakes elsewhere. No two groups
// of a region share one.
func Label(key string) string {
	for _, end := range []string{"-european", "-american"} {
		key = strings.TrimSuffix(key, end)
	}
	for _, begin := range []string{"nz-", "tas-", "pat-"} {
		key = strings.TrimPrefix(key, begin)
	}
	return strings.ReplaceAll(key, "-", " ")
}

// Worth is how much a stage means to an angler, from 1 (plan a trip for it) to 4
// (seldom worth a cast): common practice, no source. It orders lists and is
// never shown. Groups without a rank stand in the middle.
func (g *Group) Worth(s Stage) int {
	if w := g.worth[s]; w > 0 {
		return w
	}
	return 3
}

// Fishable reports whether the stage is an event on the water.
func (g *Group) Fishable(s Stage) Fishable { return g.fishable[s] }

// Hours are the parts of the day in which the stage happens.
func (g *Group) Hours(s Stage) Hours { return g.hours[s] }

// Presentation is how the stage is imitated, in common trade words.
func (g *Group) Presentation(s Stage) string { return g.presentation[s] }

// Facts are the lines the group was built from, in file order.
func (g *Group) Facts() []Fact { return slices.Clone(g.facts) }

// Fact is the line behind a field in a region, or the one that holds
// everywhere when the region has none of its own.
func (g *Group) Fact(field string, r Region) (Fact, bool) {
	var found Fact
	ok := false
	for _, f := range g.facts {
		if f.Field == field && (f.Region == r || f.Region == "" && !ok) {
			found, ok = f, true
		}
	}
	return found, ok
}

// Regions are those for which the group has a calendar window.
func (g *Group) Regions() []Region {
	var out []Region
	for _, w := range g.windows {
		if !slices.Contains(out, w.Region) {
			out = append(out, w.Region)
		}
	}
	return out
}

// Window is the calendar window of a stage in a region. Egg-laying without a
// window of its own is emergence moved by the days the adult needs.
func (g *Group) Window(r Region, s Stage) (Window, bool) {
	for _, w := range g.windows {
		if w.Region == r && w.Stage == s {
			return w, true
		}
	}
	if s == EggLaying {
		if w, ok := g.Window(r, Emergence); ok {
			return w.later(g.MaturationDays, g.MaturationSDDays), true
		}
	}
	return Window{}, false
}

// Thermal is the prior of the degree-day requirement in one region.
type Thermal struct {
	DD50            float64 // °C·d over BaseTempC from the biofix to half of the season's adults
	CV              float64 // uncertainty of DD50 itself, as a share of it
	SpreadDD        float64 // standard deviation of emergence around DD50; region-wide, so an upper bound
	Weight          float64 // of the thermal date against the calendar date
	WeightSD        float64
	Origin          Fact
	Region          Region // where it was worked out; another than asked when FromOtherRegion
	FromOtherRegion bool
}

// Thermal gives the degree-day prior for a region. A figure that holds
// everywhere comes before one made for the region; when the region has neither,
// that of the reference region is used with a spread wider by 0.3 (our own
// default). It says false when the group has no degree-day rule.
func (g *Group) Thermal(r Region) (Thermal, bool) {
	if g.BiofixDoy == 0 {
		return Thermal{}, false
	}
	where := r
	t := g.dd[""]
	if t == nil || math.IsNaN(t.dd50) {
		t = g.dd[r]
	}
	fromOther := false
	if t == nil || math.IsNaN(t.dd50) {
		where, fromOther = g.RefRegion, true
		if t = g.dd[where]; t == nil || math.IsNaN(t.dd50) {
			return Thermal{}, false
		}
	}
	out := Thermal{
		DD50: t.dd50, CV: t.cv, SpreadDD: t.spread, Weight: g.DDWeight, WeightSD: g.DDWeightSD,
		Origin: t.origin, Region: where, FromOtherRegion: fromOther,
	}
	if fromOther {
		out.CV = math.Hypot(out.CV, 0.3)
	}
	if own := g.dd[r]; own != nil && !math.IsNaN(own.weight) {
		out.Weight, out.WeightSD = own.weight, own.weightSD
	}
	return out, true
}

// Grade says, in one word for an outlook, how well the timing in a region is
// known: the grade of the degree-day figure, or of the calendar window when
// there is none.
func (g *Group) Grade(r Region) Grade {
	if t, ok := g.Thermal(r); ok {
		if t.FromOtherRegion {
			return Guess
		}
		return t.Origin.Grade
	}
	if w, ok := g.Window(r, Emergence); ok {
		return w.Origin.Grade
	}
	return Guess
}

// Sources are the codes and labels behind the group's values, in file order.
func (g *Group) Sources() []string {
	var out []string
	for _, f := range g.facts {
		if f.Grade.NeedsCitation() {
			for _, c := range splitList(f.Source) {
				if !slices.Contains(out, c) {
					out = append(out, c)
				}
			}
		}
	}
	return out
}

// CommonNames are the names in use in a region, first choice first; all of
// them for the empty region.
func (g *Group) CommonNames(r Region) []string {
	names := slices.Clone(g.Names)
	sort.SliceStable(names, func(i, j int) bool { return names[i].Rank < names[j].Rank })
	var out []string
	for _, n := range names {
		scientific := n.Kind == "scientific" || n.Kind == "scientific-old"
		if !scientific && n.Kind != "misapplied" && (r == "" || r.in(n.Area)) && !slices.Contains(out, n.Name) {
			out = append(out, n.Name)
		}
	}
	return out
}
