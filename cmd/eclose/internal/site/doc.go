// Package site writes the pages as files for a web space that runs no program.
//
// The pages enter as a handler, with the address of a running server for what needs
// one; a folder of HTML, calendars and feeds leaves, whose links hold at any place. It
// must not know what a page says, and it removes no file that it did not write.
package site
