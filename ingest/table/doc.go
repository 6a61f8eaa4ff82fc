// Package table reads the small CSV tables that people write by hand or export
// from a spreadsheet.
//
// A text with a header in any order of columns enters; rows by column name
// leave, with each fault named by file and line. It must not know what a column
// means; files of loggers, with layouts of their own, are package feed/csvfile.
package table
