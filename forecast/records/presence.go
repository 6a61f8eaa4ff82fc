package records

import "example.org/eclose/model/civil"

// Presence is what the records of a river's neighbourhood say of one group.
type Presence struct {
	Group    string
	Visits   int     // days on which it was recorded near by
	Others   int     // the same of all groups, added up
	Expected float64 // visits that so many would have, were it as common here as in the region
	First    civil.Date
	Last     civil.Date // of all groups near by
}

// Missing reports that the group is not there: so many records of others would have
// shown it. Fewer than one neighbourhood in a hundred that has it is silent where
// five visits were expected; the limit is our own default.
func (p Presence) Missing() bool { return p.Visits == 0 && p.Expected >= 5 }

// NearKm is how far from a river a group's records count as its neighbourhood. Our
// own default: adults are found about as far from their water as people name the
// nearest town.
const NearKm = 25

// Presence counts the visits on which each group was recorded within so far of a
// place, those whose place was moved on purpose left out. A visit is a day, however
// many records it has. Groups without a record in the region are not among them.
func (t *Summary) Presence(near Near) map[string]Presence {
	type visit struct {
		group string
		day   civil.Date
	}
	here, there := map[visit]bool{}, map[visit]bool{}
	out := map[string]Presence{}
	elsewhere := map[string]int{}
	var all Presence
	for _, r := range t.known {
		if r.Group == "" || r.Absent || r.Obscured {
			continue
		}
		p := out[r.Group]
		p.Group = r.Group
		v := visit{r.Group, r.Day}
		if near.Has(r.LatDeg, r.LonDeg) {
			if !here[v] {
				here[v] = true
				p.Visits++
				if all.Others++; all.Others == 1 {
					all.First = r.Day
				}
				all.First, all.Last = min(all.First, r.Day), max(all.Last, r.Day)
			}
		} else if !there[v] {
			there[v] = true
			elsewhere[r.Group]++
		}
		out[r.Group] = p
	}
	for key, p := range out {
		p.Others, p.First, p.Last = all.Others, all.First, all.Last
		if len(there) > 0 {
			p.Expected = float64(all.Others) * float64(elsewhere[key]) / float64(len(there))
		}
		out[key] = p
	}
	return out
}
