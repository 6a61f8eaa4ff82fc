// Package archive keeps outlooks as they were issued.
//
// An outlook enters; a file whose name its keys and its content decide, and the
// index row that says which file counts, leave, and later the same outlook
// again. It must not compute an outlook, change one that was issued, or know who
// reads it.
//
// The file is written first, aside and renamed; the row is recorded in the
// caller's transaction, together with whatever follows from the outlook. A file
// without a row was never issued.
package archive
