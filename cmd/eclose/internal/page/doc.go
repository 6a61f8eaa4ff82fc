// Package page shows rivers, seasons, days, trips and the diary to people, as
// HTML made on the server.
//
// Outlooks, cautions, sightings and subscriptions enter by small interfaces; pages
// leave, and sightings and subscriptions that people enter in guarded forms. It must not
// compute any science, fetch anything, send a mail, or need a script to work.
package page
