// Package page shows rivers, seasons, days, trips and the diary to people, as
// HTML made on the server.
//
// Outlooks, cautions, sightings and wishes enter behind small interfaces; pages
// leave, and sightings and wishes go in by forms that are guarded. It must not
// compute any science, fetch anything, send a mail, or need a script to work.
package page
