// Package rivers judges the outlooks of whole rivers: it issues them again for past
// seasons, each from what was known on its day, and scores them against the diary's
// sightings. Where there are none it scores them against the model's own analysis at
// the end of the season, which shows consistency and not skill.
//
// Records of rivers and sightings enter; scores by group, river and lead beside
// those of the calendar and of last year's date leave, with intervals from
// resampled seasons, as tables and as a page. It must not let anything later
// than an issue into that outlook, read a clock, or choose issue dates
// by what happened.
package rivers
