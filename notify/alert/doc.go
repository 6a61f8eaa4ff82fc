// Package alert decides who is told what, and sees to it that they are told
// once.
//
// Outlooks and flow cautions enter, already worked out; what leaves is a row in
// the outbox for each mail, written in the transaction that also records what
// its reader was told, and later an Email for the sender, with a log row for
// whatever became of it. It must not compute any science, and it must not know
// how a mail is worded or carried.
//
// A river's level and its episodes belong to the river: see Flow. What a person
// was told belongs to the person, and is brought into line with the river by
// going through its subscribers in batches: killed at any statement, the next
// pass goes on where the last commit left off.
package alert
