package response

import "example.org/eclose/ingest"

// Feed is a feed's name, as it stands in keys and messages.
type Feed string

// report is the remedy for a response that does not look as the agency's
// documentation says.
const report = "report it with the saved response"

const refetch = "fetch it again; if it persists, " + report

// Fault returns the error "feed: where: problem: err; hint". Hint and err may
// be empty.
func (f Feed) Fault(where, problem, hint string, err error) *ingest.Error {
	return &ingest.Error{Feed: string(f), Where: where, Problem: problem, Hint: hint, Err: err}
}

// Unexpected is Fault for what the agency's documentation does not foresee; the
// remedy is to report it.
func (f Feed) Unexpected(where, problem string, err error) *ingest.Error {
	return f.Fault(where, problem, report, err)
}

// Unit is Fault for a unit that cannot be converted.
func (f Feed) Unit(where string, err error) *ingest.Error {
	return f.Fault(where, "has a unit that cannot be used", "", err)
}

// Truncated is Fault for a response that ends early. It is retryable.
func (f Feed) Truncated(where string) *ingest.Error {
	e := f.Fault(where, "the response ends early", "the download was cut short; fetch it again", nil)
	e.Retryable = true
	return e
}
