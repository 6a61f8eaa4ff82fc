// Package elementary computes exponentials and logarithms from tables and picks the k-th
// smallest of some values, for inner loops that spend most of their time on that.
//
// Numbers enter; a number leaves, within the error that each function states.
// It must not know what the numbers stand for.
package elementary
