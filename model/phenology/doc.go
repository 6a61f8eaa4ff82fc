// Package phenology estimates when the season of an insect falls: the joint model of
// median dates over groups, sites and seasons, the curve of a season around its
// median date, and the update of both by sightings and catches.
//
// Priors of groups, median dates of past seasons, daily water temperatures and
// watches enter, as numbers; normal distributions of median dates, draws for
// forecast/engine and chances of counts leave. It must not know rivers by name,
// dates other than as day numbers, files or feeds.
//
// # The joint model
//
// The median date of taxon i in season j is
//
//	y = m_i + w_i x_ij + own run + common run + season effect + rest
//
// m_i is the usual date: a prior from the catalogue, or the mean of a record. x_ij
// is by how many days the water puts the thermal date of the season after m_i;
// its weight w_i is shared by all taxa but for a little of their own. The runs are
// slow departures over years, of the taxon alone and of all taxa of one time of
// year. The season effect is shared by taxa that fly at about the same time, so
// what is seen of any of them moves the others; sites share it as far as they are
// alike. All is jointly normal (Joint), so one factorisation a river and issue
// serves all groups.
//
// What was seen in a season is turned into a date by a grid over date, numbers and
// length (SeenIn), and enters as one more uncertain look at the season.
//
// # The curve
//
// Emergence spreads around the median date as a normal curve of SpreadDays; catches
// of a record are read by the record's own usual curve. Package forecast/engine
// evaluates it for many members, for outlooks and for the visits of a record, with
//
//	t50 = w t_DD + (1-w) t_cal
//
// for each: t_DD is the thermal date by the member's water, w and t_cal come from
// MedianDate (Blend.Draw). Counts are Poisson (AtLeast) around numbers drawn for
// each member (Course), since nobody knows how many a season brings.
package phenology
