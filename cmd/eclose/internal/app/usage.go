package app

import "fmt"

// UsageError marks an error of the command line or the config file: the
// program ends with exit code 2.
type UsageError struct{ err error }

func (e UsageError) Error() string { return e.err.Error() }
func (e UsageError) Unwrap() error { return e.err }

// Usage marks err as an error of the command line or the config file.
func Usage(err error) error { return UsageError{err} }

// Usagef is fmt.Errorf for an error of the command line or the config file.
func Usagef(format string, args ...any) error { return UsageError{fmt.Errorf(format, args...)} }
