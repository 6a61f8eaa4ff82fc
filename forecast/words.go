package forecast

import "example.org/eclose/model/chance"

// Percent is chance.Percent.
func Percent(p float64) string { return chance.Percent(p) }

// Likelihood is chance.Likelihood.
func Likelihood(p float64) string { return chance.Likelihood(p) }

// Wrap breaks a text into lines of at most n columns.
func Wrap(s string, n int) string { return wrap(s, n, "") }
