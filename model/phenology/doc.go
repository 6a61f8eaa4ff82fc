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
package phenology
