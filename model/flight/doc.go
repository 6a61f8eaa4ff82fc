// Package flight works out when insects are on the wing from dated records
// without absences, with the observers' effort taken out.
//
// Days of records with their latitude and height, how much people looked on each
// day, and a window of the literature enter; the days by which 5, 50 and 95 % of
// the season have passed leave, each with its 80 % interval, by how much they move
// north and uphill, and whether they may replace the literature's. It must not
// know any insect, place or service.
package flight
