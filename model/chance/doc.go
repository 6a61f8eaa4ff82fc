// Package chance puts probabilities into figures and words.
//
// Probabilities enter, 0 to 1; texts leave. It must not know what the
// probabilities are of.
package chance
