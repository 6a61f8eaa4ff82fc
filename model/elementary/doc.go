// Package elementary computes exponentials and logarithms from tables, for inner loops
// that spend most of their time on them.
//
// A number enters; its exponential or logarithm leaves, within the error that each
// function states.
// It must not know what the numbers stand for.
package elementary
