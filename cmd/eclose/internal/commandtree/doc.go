// Package commandtree makes from the tree of commands what shells and readers want of it:
// completions and manual pages. The tree enters, as the parser of the command line keeps
// it, with the words typed so far; candidates, scripts for three shells and pages for man
// leave. It must not know what any command does.
package commandtree
