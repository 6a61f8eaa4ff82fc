package forecast

// Percent puts a chance in figures, rounded to what is known and never to
// certainty.
func Percent(p float64) string { return percent(p) }

// Words is the date with its range, as short as it can be said.
func (r Range) Words() string { return between(r) }

// Wrap breaks a text into lines of at most n columns.
func Wrap(s string, n int) string { return wrap(s, n, "") }
