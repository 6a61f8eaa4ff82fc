package ingest

import (
	"context"
	"io"
	"time"
)

// Request asks a Source for readings of one site.
type Request struct {
	Site      string     // the agency's site id; empty for a gridded feed
	Lat, Lon  float64    // degrees, for a gridded feed
	Variables []Variable // what is wanted; a source skips what it does not serve
	Period    string     // NoPeriod for the native step, Daily for daily values
	From, To  time.Time  // half-open [From, To); a zero To means "up to now, or as far ahead as the feed forecasts"
}

// Until is when what is asked for ends, for a feed that does not forecast.
func (r Request) Until(now time.Time) time.Time {
	if r.To.IsZero() {
		return now
	}
	return r.To
}

// Source is one public feed. Fetch hands over each part of the answer as soon
// as it is whole, so that a feed which dies half way still leaves what came
// before; yield's error stops the fetch and is returned.
//
// Every error of Fetch is, or wraps, an *Error.
type Source interface {
	Name() string
	Fetch(ctx context.Context, req Request, yield func(Series) error) error
}

// Parser reads one saved answer of a feed, whatever endpoint it came from.
// Its series are normalized, in SI units and UTC. Errors wrap an *Error.
type Parser interface {
	Name() string
	Parse(r io.Reader) ([]Series, error)
}
