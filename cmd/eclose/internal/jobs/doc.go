// Package jobs is the queue of everything that Eclose does by itself: River on
// the one database, SQLite or PostgreSQL, with the same kinds of job on both.
//
// Keys of work enter, in the transaction that makes the work due; calls of the
// handlers leave, at least once for each key, retried where that may help. It
// must not know what a handler does, and a job carries keys only: never data,
// never paths.
//
// A handler may be called twice with the same keys, by two processes, at once:
// its output is named by the keys and written aside, and the row that records it
// goes into one transaction with the jobs that follow from it.
package jobs
