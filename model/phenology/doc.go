// Package phenology says when a group's adults emerge and when they lay eggs:
// the parameters of a group at a river with their uncertainty, the activity
// curve that they give over a season, and what sightings teach about them.
//
// Catalogue groups, daily water temperatures and sightings enter, as numbers;
// draws of parameters, shares of a season by day, chances and posteriors leave.
// It must not know rivers by name, dates other than as day numbers, files or
// feeds.
//
// # The curve
//
// The median date of a season lies between a thermal date and a calendar date,
//
//	t50 = w t_DD + (1-w) t_cal
//
// where t_DD is the day by which the degree-days of the water reach the
// group's requirement, and emergence spreads around it as a normal curve of
// SpreadDays. w is 1 where water temperature alone sets the date and 0 where
// the calendar (day length) does. Package forecast/engine evaluates the same
// curve for many members; its doc.go states it in full.
//
// Said in thermal time, this is a requirement that falls while the calendar's
// date passes: half are out on the first day t by which the water has gathered
//
//	X(t) >= DD50 - (1-w)/w r (t - t_cal)
//
// with r the degree-days of a day at that season. Before its date a group needs
// more warmth than DD50, after it less, and the smaller w, the faster the
// requirement falls: that is how day length works on insects that must be out in
// time. Where a group is known or guessed to be ruled by day length, t_cal also
// follows the latitude (AtLatitude).
//
// # What is learnt
//
// Calibrate weighs sightings and catches at one river against the prior and gives
// back parameters of the same kind. YearModel describes how the departures of
// many taxa and years hang together, for hindcasts of whole records.
package phenology
