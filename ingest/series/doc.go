// Package series keeps every reading that Eclose ever took in.
//
// Series in SI units and UTC enter with the time at which they were retrieved; the
// readings leave as they stand now or as they stood at any earlier moment, with qualifier, approval, flag and retrieval time, and means,
// minima and maxima over local days. The package must not know feeds, checks,
// insects or schedules, and no type of Arrow crosses its border.
//
// # Layout
//
// A bundle holds the readings of one series, or of all members of one ensemble.
// Its files live in three folders, with one path under each:
//
//	index/<feed>/<site>/<variable>/<statistic.period.ts>/<generation>.json
//	data/ <feed>/<site>/<variable>/<statistic.period.ts>/<span>.<generation>-<hash>.parquet
//	past/ <feed>/<site>/<variable>/<statistic.period.ts>/<span>.<generation>-<hash>.parquet
//
// The files in data hold the newest value of every reading, the files in past
// the values that were replaced. A span is a year for readings more frequent
// than daily, ten years for daily values, and a month for the members of an
// ensemble (a year for their daily values). Spans are chosen so that a file
// has some 2,000 to 50,000 rows: fewer would make the fixed cost of a file (two
// kilobytes) outweigh its rows, more would make rewriting it at each fetch dear.
//
// Members share a file, sorted by member and time, in row groups of 65,536
// rows. One file for each member would cost 51 files of mostly fixed cost and
// 51 syncs at each fetch of a forecast; one file for all costs one, and to read
// a single member of a month of hours takes milliseconds. A fetch of a
// forecast revises the days ahead, so its replaced values go to a new file in
// past. Those files are merged as they come, small ones first (each at least
// twice as long as all younger ones together), so that their number grows with
// the logarithm of the number of fetches and each row is rewritten as often.
//
// # What makes it safe to pull the plug
//
// Files are never changed. A change writes new files, waits until they are on
// the disk, and then writes the index with the next generation number; the
// newest index says which files count. The files it no longer names are removed
// afterwards. Whatever the instant of a crash, the newest index and all the
// files it names are whole. A reader that finds a file gone reads the index again.
//
// An index carries the SHA-256 of its own text and of every file it names. No
// byte of a Parquet file is decoded before its hash has been checked, because a
// damaged file can make the decoder panic; the decoder is guarded against that
// as well. Files from elsewhere are therefore never put into a store.
//
// On a disk one process writes and holds a lock; others may open the store to
// read. On object storage there is no lock: the index is created only if its
// generation does not exist yet, and a writer that loses the race starts again
// from what the winner wrote.
//
// # Versions of a reading
//
// A reading is valid from its retrieval until the retrieval of the next that
// differs in value, qualifier or approval. An answer that says the same again
// changes nothing, and one that lacks a reading says nothing of it. A flag is
// an opinion about a reading: it changes in place. Of two answers with the same
// retrieval time the later one counts. An answer older than the newest reading
// takes its place in the past; what the answers in between confirmed without
// changing is not known any more, so feed the store in order of retrieval where
// you can.
//
// # Columns of the files
//
//	member     INT32, ensembles only: 1, 2, ...
//	time       INT64 timestamp, microseconds UTC, delta-encoded; for daily values 00:00 of the calendar date
//	value      DOUBLE in the unit under the key "unit" of the file's metadata; null where the agency reports no value
//	qualifier  STRING, the agency's own codes
//	approval   INT32: 0 unknown, 1 provisional, 2 approved
//	flag       INT32: QARTOD 1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing
//	flag_test  STRING, the check that set the flag
//	retrieved  INT64 timestamp, microseconds UTC: the value was known from then on
//
// Any Parquet reader can read data/**/*.parquet; one that must not see a change
// half made reads an export instead (see ExportParquet).
package series
