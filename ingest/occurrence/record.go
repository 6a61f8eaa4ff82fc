package occurrence

import (
	"math"
	"strings"
	"time"
)

// A Record is one organism, or a search that found none, at one place within an
// interval of days. Text is as published; what is missing is empty or NaN.
type Record struct {
	Key    string // names the record wherever it is published; see KeyOf
	Source string // FeedName of the feed, or "darwin-core"

	Name   string // scientific name without author, as identified
	Rank   string // lower case
	Genus  string
	Family string
	Order  string

	Stage      LifeStage
	Behaviour  string    // such as "emerging" or "egg-laying"
	Vernacular string    // common name
	Start      time.Time // first day, midnight UTC of the civil date there; zero: unknown
	End        time.Time // last day, inclusive
	FirstDay   int       // of an ordinary year, 1 is 1 January, where it speaks of no single year; 0: it does
	LastDay    int       // the same
	Remarks    string    // on its date
	References string    // sources
	Added      time.Time // when it was published or uploaded; zero: unknown

	LatDeg, LonDeg float64 // WGS 84, north and east positive
	UncertaintyM   float64 // radius within which the place lies
	ElevationM     float64 // above the sea
	Obscured       bool    // the place was moved on purpose, by up to tens of km
	Locality       string
	Region         string // wider part of the world, in words

	Absent    bool    // looked for and not found
	Count     float64 // individuals
	Captive   bool    // bred, kept or planted
	Basis     string  // basisOfRecord, such as HumanObservation
	Confirmed bool    // others agreed on the identification, or a collection holds it
	Doubt     string  // why the source itself doubts the record; empty: it does not

	Event       string  // of the sampling that it belongs to
	EffortHours float64 // of that sampling
	Protocol    string  // how it was done
	Amount      string  // organismQuantity in words
	Effort      string  // samplingEffort as written

	Licence  Licence
	Holder   string // of the rights
	Observer string // who recorded it, as published
	Dataset  string
	URL      string
}

// blank is a record of which nothing is known.
func blank(source string) Record {
	nan := math.NaN()
	return Record{Source: source, LatDeg: nan, LonDeg: nan, UncertaintyM: nan, ElevationM: nan, Count: nan, EffortHours: nan}
}

// New returns a record of which only the source is known.
func New(source string) Record { return blank(source) }

// Days is how many days the record's date may be; 0 if unknown.
func (r Record) Days() int {
	if r.Start.IsZero() {
		return 0
	}
	return int(r.End.Sub(r.Start)/(24*time.Hour)) + 1
}

// Placed reports whether the record has coordinates that can be those of a
// place on Earth. Latitude and longitude of exactly zero are a known slip.
func (r Record) Placed() bool {
	return math.Abs(r.LatDeg) <= 90 && math.Abs(r.LonDeg) <= 180 && (r.LatDeg != 0 || r.LonDeg != 0)
}

// Credit is what must stand beside whatever is shown of the record.
func (r Record) Credit() string {
	var out []string
	for _, s := range []string{cmpOr(r.Holder, r.Observer), r.Dataset, string(r.Licence), r.URL} {
		if s != "" {
			out = append(out, s)
		}
	}
	return strings.Join(out, ", ")
}

func cmpOr(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// inat is how occurrenceID names an observation of iNaturalist.
const inat = "inaturalist.org/observations/"

// KeyOf returns the key under which a record is the same whichever service
// sends it. GBIF carries observations of iNaturalist under their addresses.
func KeyOf(occurrenceID, gbifID, dataset, catalogue string) string {
	id := strings.TrimSpace(occurrenceID)
	if _, n, ok := strings.Cut(id, inat); ok && isNumber(n) {
		return "inaturalist:" + n
	}
	switch {
	case strings.Contains(id, ":") && len(id) <= maxKey: // an address, a URN, an agency's triple
		return id
	case gbifID != "":
		return "gbif:" + gbifID
	case id != "":
		return dataset + "#" + id
	case catalogue != "":
		return dataset + "#" + catalogue
	}
	return ""
}

// maxKey is the longest key that is kept as it is.
const maxKey = 200

func isNumber(s string) bool {
	for _, c := range []byte(s) {
		if c < '0' || c > '9' {
			return false
		}
	}
	return s != ""
}
