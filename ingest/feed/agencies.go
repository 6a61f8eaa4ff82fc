package feed

import (
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
	"example.org/eclose/ingest/feed/eahydrology"
	"example.org/eclose/ingest/feed/eccc"
	"example.org/eclose/ingest/feed/sensorthings"
	"example.org/eclose/ingest/feed/usgs"
)

// Server says how an agency's list of gauges is reached.
type Server struct {
	Client     *client.Client
	BaseURL    string // "": the live service, where there is one
	ArchiveURL string // of GeoMet, for eccc; "": BaseURL, or the live service without one
	Key        string
	Now        func() time.Time
}

// Agency is a feed with a list of gauges that can be searched.
type Agency struct {
	Name    string
	About   string
	country func(lat, lon float64) bool // nil: nobody knows before asking
	region  func(string) bool           // nil: the list knows none
	Finder  func(Server) (ingest.GaugeFinder, error)
}

// Agencies lists them. A new one adds one entry.
var Agencies = []Agency{
	{usgs.FeedName, "US Geological Survey", inside(usa), usgs.KnowsState, func(s Server) (ingest.GaugeFinder, error) {
		return usgs.New(usgs.Config{Client: s.Client, BaseURL: s.BaseURL, Key: s.Key, Now: s.Now})
	}},
	{eahydrology.FeedName, "Environment Agency (England)", inside(england), nil, func(s Server) (ingest.GaugeFinder, error) {
		return eahydrology.Source{Client: s.Client, BaseURL: s.BaseURL, Now: s.Now}, nil
	}},
	{eccc.FeedName, "Water Survey of Canada", inside(canada), func(r string) bool { _, ok := eccc.Province(r); return ok }, func(s Server) (ingest.GaugeFinder, error) {
		geoMet := s.ArchiveURL
		if geoMet == "" {
			geoMet = s.BaseURL
		}
		return eccc.Source{Client: s.Client, BaseURL: s.BaseURL, GeoMetURL: geoMet, Now: s.Now}, nil
	}},
	{sensorthings.FeedName, "the OGC SensorThings server in the config", nil, nil, func(s Server) (ingest.GaugeFinder, error) {
		return sensorthings.Source{Client: s.Client, BaseURL: s.BaseURL, Now: s.Now}, nil
	}},
}

// May says whether the agency may have gauges that the search wants. Near a
// border two may.
func (a Agency) May(q ingest.GaugeSearch) bool {
	if q.Region != "" {
		return a.region != nil && a.region(q.Region)
	}
	return a.country != nil && a.country(q.Lat, q.Lon)
}

// Anywhere says that only asking tells where the agency's gauges are.
func (a Agency) Anywhere() bool { return a.country == nil }

// AgencyNames lists the agencies, for messages.
func AgencyNames() string {
	var names []string
	for _, a := range Agencies {
		names = append(names, a.Name)
	}
	return strings.Join(names, ", ")
}

// box is south, north, west and east in degrees.
type box [4]float64

// Countries as a few boxes, read off a map to half a degree and a little too
// wide on purpose: a box too many costs one question, one too few hides gauges.
var (
	usa = []box{
		{24, 49.5, -125.5, -66.5},                  // the 48 states
		{51, 72, -180, -129.5}, {51, 56, 172, 180}, // Alaska
		{18.5, 22.5, -160.5, -154.5},                     // Hawaii
		{17.5, 18.8, -68, -64},                           // Puerto Rico, Virgin Islands
		{13, 15.5, 144.5, 146}, {-14.6, -14, -171, -169}, // Guam, American Samoa
	}
	canada = []box{
		{48, 84, -141.5, -88}, // south of it Vancouver Island begins at 48.3
		{41.5, 84, -88, -74},  // Lake Erie
		{43, 84, -74, -52},    // Nova Scotia
	}
	england = []box{{49.8, 56, -6.5, 2}}
)

func inside(boxes []box) func(lat, lon float64) bool {
	return func(lat, lon float64) bool {
		for _, b := range boxes {
			if lat >= b[0] && lat <= b[1] && lon >= b[2] && lon <= b[3] {
				return true
			}
		}
		return false
	}
}
