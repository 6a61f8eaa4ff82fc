package records

import (
	"math"
	"strings"
	"time"

	"example.org/eclose/ingest/occurrence"
	"example.org/eclose/model/insects"
)

// A Stage is what a record shows. Flight is an adult of which nothing tells
// whether it has just emerged or returns to lay.
type Stage string

// The stages.
const (
	Emergence Stage = "emergence"
	EggLaying Stage = "egg-laying"
	Flight    Stage = "flight"
)

// A LeftOut says why a record stands for no group; empty: it does.
type LeftOut string

// The reasons. Refused ones are not kept at all; the others are kept as a
// measure of how much people looked.
const (
	NoKey          LeftOut = "it has no identifier"
	NoLicence      LeftOut = "its licence is not open"
	NonCommercial  LeftOut = "its licence forbids commercial use (--non-commercial takes it)"
	NoDate         LeftOut = "it has no date"
	LongInterval   LeftOut = "its date is an interval of more than a week"
	InFuture       LeftOut = "its date is in the future"
	NoPlace        LeftOut = "it has no coordinates"
	OutsideRegions LeftOut = "its place is in no region of the catalogue"
	Bred           LeftOut = "it was bred or kept"
	Doubted        LeftOut = "the source doubts it"
	Fossil         LeftOut = "it is not of a wild living organism"

	VagueDate   LeftOut = "its date is longer than a day and no effort is given"
	VaguePlace  LeftOut = "its place is uncertain by more than 50 km"
	Unconfirmed LeftOut = "its identification was not confirmed"
	NoLifeStage LeftOut = "its life stage is missing"
	InWater     LeftOut = "it is a nymph, larva, pupa or egg"
	UnknownName LeftOut = "its name is not in the catalogue for that region"
	Ambiguous   LeftOut = "its name stands for several groups"
)

// refused reports whether a record is not kept even as a measure of effort.
func (r LeftOut) refused() bool {
	switch r {
	case NoKey, NoLicence, NonCommercial, NoDate, LongInterval, InFuture, NoPlace, OutsideRegions, Bred, Doubted, Fossil:
		return true
	default:
		return false
	}
}

// A Judged record is one with what it stands for.
type Judged struct {
	occurrence.Record
	Group  string // key; empty where Why says why not
	Stage  Stage
	Region insects.Region
	Why    LeftOut
}

// Limits of what is taken; our own defaults. iNaturalist moves an obscured place
// by up to about 30 km.
const (
	longestDays    = 7
	longestTrap    = 35 // of a trap, which tells its effort
	maxUncertainty = 50_000
)

// Judge says what records stand for. It is not safe for concurrent use.
type Judge struct {
	Catalogue     *insects.Catalogue
	NonCommercial bool // take records under CC BY-NC
	Now           time.Time

	names map[nameIn][]*insects.Group
}

type nameIn struct {
	name   string
	region insects.Region
}

// Judge judges one record.
func (j *Judge) Judge(r occurrence.Record) Judged {
	out := Judged{Record: r}
	if out.Why = j.unusable(r); out.Why != "" {
		return out
	}
	region, ok := insects.RegionOf(r.LatDeg, r.LonDeg)
	if !ok {
		out.Why = OutsideRegions
		return out
	}
	out.Region = region
	groups := j.groups(r.Name, region)
	switch {
	case r.Days() > 1 && math.IsNaN(r.EffortHours) && r.Effort == "":
		out.Why = VagueDate
	case r.UncertaintyM > maxUncertainty:
		out.Why = VaguePlace
	case !r.Confirmed:
		out.Why = Unconfirmed
	case r.Stage == occurrence.StageUnknown:
		out.Why = NoLifeStage
	case r.Stage == occurrence.Immature:
		out.Why = InWater
	case len(groups) == 0:
		out.Why = UnknownName
	case len(groups) > 1:
		out.Why = Ambiguous
	default:
		out.Group, out.Stage = groups[0].Key, stageOf(r, groups[0].Order)
	}
	return out
}

// unusable are the reasons that make a record worthless even as effort.
func (j *Judge) unusable(r occurrence.Record) LeftOut {
	basis := strings.ToLower(strings.ReplaceAll(r.Basis, "_", ""))
	switch {
	case r.Key == "":
		return NoKey
	case r.Licence == occurrence.CCBYNC && !j.NonCommercial:
		return NonCommercial
	case r.Licence == occurrence.AllRights:
		return NoLicence
	case r.Start.IsZero():
		return NoDate
	case r.Days() > longestTrap, r.Days() > longestDays && r.Effort == "" && math.IsNaN(r.EffortHours):
		return LongInterval
	case r.Start.After(j.Now.Add(24 * time.Hour)):
		return InFuture
	case !r.Placed():
		return NoPlace
	case r.Captive || basis == "livingspecimen":
		return Bred
	case basis == "fossilspecimen" || basis == "materialcitation":
		return Fossil
	case r.Doubt != "":
		return Doubted
	}
	return ""
}

func (j *Judge) groups(name string, region insects.Region) []*insects.Group {
	k := nameIn{name, region}
	g, ok := j.names[k]
	if !ok {
		if j.names == nil {
			j.names = map[nameIn][]*insects.Group{}
		}
		g = j.Catalogue.Scientific(name, region)
		j.names[k] = g
	}
	return g
}

// stageOf tells emergence from egg-laying. A mayfly is a subimago for a day or
// two after it emerged, and then an adult that lays; of the other orders an adult
// alone tells neither.
// What the record says of its behaviour goes before.
func stageOf(r occurrence.Record, order string) Stage {
	switch b := strings.ToLower(r.Behaviour); {
	case strings.Contains(b, "oviposit") || strings.Contains(b, "egg-laying"):
		return EggLaying
	case strings.Contains(b, "emerging"):
		return Emergence
	}
	switch r.Stage {
	case occurrence.Subimago, occurrence.Teneral, occurrence.Exuvia:
		return Emergence
	default: // an adult may be either
	}
	if strings.EqualFold(order, "Ephemeroptera") {
		return EggLaying
	}
	return Flight
}
