package ingest

import "fmt"

// Skipped is a part of an answer that a parser left out on purpose, and why.
// Leaving out in silence would look like an answer without it.
type Skipped struct {
	Site     string // the agency's site id, if known
	What     string // "parameter 63680", "statistic 32400", "site descriptions"
	Why      string
	Readings int // how many readings or rows
}

func (s Skipped) String() string {
	site := s.Site
	if site != "" {
		site += ": "
	}
	return fmt.Sprintf("%s%s: skipped %d: %s", site, s.What, s.Readings, s.Why)
}
