package phenology

import "math"

// How far the seasons of two sites are shared.
const (
	// siteShare is the share of two reaches side by side. Seven neighbouring
	// watersheds of Hubbard Brook say 0.85 to 1 (90 %); what a forecast shares
	// beyond temperature may be less. See TestNeighbouringBrooksShareTheirSeasons.
	siteShare = 0.9
	// siteKm is the distance over which the share falls to 1/e: our own default.
	// 400 km of the Colorado are as well described by 50 km as by any more. See
	// TestTheColoradoSetsNoDistance.
	siteKm = 200.0
	// siteM is the same of height, m: our own default. No record of several
	// heights is in hand.
	siteM = 600.0
	// unlikeShare is what is left of the share where one site lies below a dam and
	// the other does not: our own default. No record of such a pair is in hand.
	unlikeShare = 0.5
	// nearKm is how far apart two sites may be and still share enough to matter.
	nearKm = 3 * siteKm
)

// SiteCorrelation is that between the seasons of two sites so far apart, by
// distance and by height (0 m where one is unknown); alike tells that both are
// regulated by a dam, or neither.
func SiteCorrelation(km, heightM float64, alike bool) float64 {
	r := siteShare * math.Exp(-km/siteKm-math.Abs(heightM)/siteM)
	if !alike {
		r *= unlikeShare
	}
	return r
}

// SitesShare reports whether sightings at one site may move the dates of another.
func SitesShare(km float64) bool { return km <= nearKm }
