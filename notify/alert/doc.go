// Package alert decides which emails each reader gets, and makes each of them go
// out once.
//
// Outlooks and flow cautions enter, already worked out; a row in the outbox leaves
// for each email, written in the transaction that also records what its reader was
// sent, and later an Email for the sender, with a log row for its result. It must
// not compute any science, and it must not know how an email is worded or sent.
//
// A river's level and its episodes belong to the river: see Flow. What a person
// was sent belongs to the person. Reconcile compares the two for one batch of
// subscribers after another: killed at any statement, the next pass resumes after the
// last commit.
package alert
