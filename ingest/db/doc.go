// Package db is the one door to SQL: it opens SQLite or PostgreSQL, brings the
// schema up to date and runs transactions.
//
// A URL enters; a DB leaves, on which each domain runs its own queries, plus a
// few typed rows that the intake itself keeps (feed state, artefacts, the index
// of outlooks, calibrations, as names and text). It must not know what a
// sighting, an insect or a subscriber means.
//
// Statements are checked by sqlc against the schemas of both dialects and
// generated once, since SQLite accepts PostgreSQL's $1 and everything else that
// we use; two generated copies and the adapters between them would say nothing
// new. What does differ has its own folder per dialect: the migrations.
package db
