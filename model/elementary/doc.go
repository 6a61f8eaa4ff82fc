// Package elementary computes exponentials and logarithms from tables, for inner loops
// that spend most of their time on them. It takes a number and returns a number. It must
// not know what they stand for.
package elementary
