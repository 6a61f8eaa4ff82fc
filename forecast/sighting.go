package forecast

import (
	"cmp"
	"slices"
	"sort"
	"time"

	"example.org/eclose/forecast/diary"
	"example.org/eclose/model/phenology"
)

// Sighting is what somebody saw, or did not see, of a stage of a group on a day.
type Sighting struct {
	River, Group string
	Stage        Stage
	Day          Date
	Amount       diary.Amount
	Hours        float64   // watched
	Recorded     time.Time // when it was written down; zero where that does not matter
	Kind         SightingKind
}

// SightingKind is where a sighting comes from.
type SightingKind string

// The kinds. The owner's own have the empty one.
const (
	Own        SightingKind = ""
	Readers    SightingKind = "reader"
	Neighbours SightingKind = "neighbour"
	Records    SightingKind = "record"
)

// Words is the kind for people.
func (k SightingKind) Words() string {
	switch k {
	case Readers:
		return "readers' reports"
	case Neighbours:
		return "neighbours' sightings"
	case Records:
		return "open records"
	default:
		return "your own sightings"
	}
}

// Seen reports whether more than stray numbers were seen.
func (s Sighting) Seen() bool { return s.Amount != diary.None }

// SightingsOf are the sightings of a diary that were neither withdrawn nor held
// back. What readers report of a stage at a river on a day counts as one visit,
// with the median amount: a hundred pranksters weigh no more than one of them.
func SightingsOf(entries []diary.Sighting) []Sighting {
	out := make([]Sighting, 0, len(entries))
	type visit struct{ river, group, stage, day string }
	reported := map[visit][]diary.Sighting{}
	for _, x := range entries {
		switch {
		case x.Withdrawn || x.Held:
		case x.Origin == diary.Reader:
			v := visit{x.River, x.Group, x.Stage, x.Date()}
			reported[v] = append(reported[v], x)
		default:
			out = append(out, sightingOf(x))
		}
	}
	for _, all := range reported {
		sort.Slice(all, func(i, j int) bool {
			a, b := all[i], all[j]
			return cmp.Or(cmp.Compare(amounts[a.Amount], amounts[b.Amount]), a.Recorded.Compare(b.Recorded)) < 0
		})
		out = append(out, sightingOf(all[(len(all)-1)/2]))
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := out[i], out[j]
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.River, b.River), cmp.Compare(a.Group, b.Group), cmp.Compare(a.Stage, b.Stage)) < 0
	})
	return out
}

func sightingOf(x diary.Sighting) Sighting {
	kind := Own
	switch x.Origin {
	case diary.Reader:
		kind = Readers
	case diary.Neighbour:
		kind = Neighbours
	default: // the owner's
	}
	return Sighting{River: x.River, Group: x.Group, Stage: Stage(x.Stage), Day: DateOf(x.Day), Amount: x.Amount, Hours: x.Hours, Recorded: x.Recorded, Kind: kind}
}

// SitesOf are the rivers of neighbouring installations, as places whose sightings
// move the dates of rivers near by.
func SitesOf(all []diary.NeighbourInfo) []River {
	var out []River
	for _, n := range all {
		for _, r := range n.Rivers {
			out = append(out, River{Slug: r.Slug, Name: r.Name, Zone: "UTC", Lat: r.Lat, Lon: r.Lon, ElevationM: r.ElevationM})
		}
	}
	return out
}

// known are the sightings that an issue may use: of days before the issue, or of
// its day if they were written down by then.
func (rec Record) known(sightings []Sighting) []Sighting {
	return slices.DeleteFunc(slices.Clone(sightings), func(s Sighting) bool {
		if s.Recorded.IsZero() {
			return s.Day >= rec.Issue
		}
		return s.Day > rec.Issue || s.Recorded.After(rec.IssuedAt)
	})
}

// without leaves out sightings of some kinds.
func without(sightings []Sighting, kinds []SightingKind) []Sighting {
	if len(kinds) == 0 {
		return sightings
	}
	return slices.DeleteFunc(slices.Clone(sightings), func(s Sighting) bool { return slices.Contains(kinds, s.Kind) })
}

// Words is the use for people; the diary's sightings date seasons.
func (u Use) Words() string {
	switch u {
	case ForWindow:
		return "usual dates"
	case ForPresence:
		return "left off lists: others were recorded near by, this one not"
	case ForSeason:
		return "early or late"
	default:
		return "dates"
	}
}

// Entered is how many sightings of one kind, of one group at one river, entered
// an outlook.
type Entered struct {
	Kind      SightingKind `json:"kind"`
	River     string       `json:"river"`
	Group     string       `json:"group"`
	Sightings int          `json:"sightings"`
	From      Date         `json:"from"` // days of the first and the last
	To        Date         `json:"to"`
	Use       Use          `json:"use,omitempty"` // of open records
}

// Use is what open records were used for.
type Use string

// The uses.
const (
	ForWindow   Use = "window"      // their dates replace the catalogue's
	ForPresence Use = "presence"    // a group that they do not know near by is left off lists
	ForSeason   Use = "this season" // how early or late it is
)

// entered lists the sightings that a river's timing took in, of its own and of
// the rivers beside it.
func entered(sightings []Sighting, sites []River) []Entered {
	type key struct {
		kind         SightingKind
		river, group string
	}
	at := map[key]int{}
	var out []Entered
	for _, s := range sightings {
		k := slices.IndexFunc(sites, func(r River) bool { return r.Slug == s.River })
		if k < 0 {
			continue
		}
		id := key{s.Kind, s.River, s.Group}
		i, ok := at[id]
		if !ok {
			i = len(out)
			at[id] = i
			out = append(out, Entered{Kind: s.Kind, River: sites[k].Name, Group: s.Group, From: s.Day, To: s.Day})
		}
		e := &out[i]
		e.Sightings++
		e.From, e.To = min(e.From, s.Day), max(e.To, s.Day)
	}
	sort.SliceStable(out, func(i, j int) bool {
		a, b := out[i], out[j]
		return cmp.Or(cmp.Compare(a.Kind, b.Kind), cmp.Compare(a.River, b.River), cmp.Compare(a.Group, b.Group)) < 0
	})
	return out
}

// The diary's words in the words of the model.
var (
	amounts     = map[diary.Amount]phenology.Amount{diary.None: phenology.None, diary.Few: phenology.Few, diary.Many: phenology.Many}
	stageNumber = map[Stage]phenology.Stage{Emergence: phenology.Emergence, EggLaying: phenology.EggLaying}
)
