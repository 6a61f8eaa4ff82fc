// Package commandtree makes completions and manual pages from the tree of commands.
//
// The tree enters, as the parser of the command line keeps it, with the words typed so
// far; candidates, scripts for three shells and manual pages leave. It must not know
// what any command does.
package commandtree
