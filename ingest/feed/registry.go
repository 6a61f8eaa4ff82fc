package feed

import (
	"bytes"
	"fmt"
	"strings"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/bafu"
	"example.org/eclose/ingest/feed/csvfile"
	"example.org/eclose/ingest/feed/eahydrology"
	"example.org/eclose/ingest/feed/eccc"
	"example.org/eclose/ingest/feed/ghcn"
	"example.org/eclose/ingest/feed/nwps"
	"example.org/eclose/ingest/feed/nws"
	"example.org/eclose/ingest/feed/openmeteo"
	"example.org/eclose/ingest/feed/sensorthings"
	"example.org/eclose/ingest/feed/usgs"
	"example.org/eclose/ingest/feed/waterml2"
)

// Options are what a saved answer may leave unsaid. A feed takes what it
// needs.
type Options struct {
	Site, Parameter, Statistic string // the agency's words
	TwoDigitYearsFrom          int    // first year of the hundred that two-digit years fall in; 0: refuse them
	Skipped                    func(ingest.Skipped)
}

// Entry is one feed whose saved answers can be read.
type Entry struct {
	Name  string
	About string
	New   func(Options) ingest.Parser
}

// parsers lists the feeds. A new feed adds one entry.
var parsers = []Entry{
	{usgs.FeedName, "USGS Water Data OGC API v1 and v0, statistics API: GeoJSON or CSV", func(o Options) ingest.Parser {
		return usgs.Parser{Site: o.Site, Parameter: o.Parameter, Statistic: o.Statistic, Skipped: o.Skipped}
	}},
	{openmeteo.FeedName, "Open-Meteo archive, forecast, ensemble or flood API: JSON", func(o Options) ingest.Parser {
		return openmeteo.Parser{Site: o.Site, Skipped: o.Skipped}
	}},
	{csvfile.FeedName, "CSV that describes itself: a column \"time\" with offsets, columns named like \"water_temperature (°C)\"", func(o Options) ingest.Parser {
		return csvfile.Parser{Site: o.Site, TwoDigitYearsFrom: o.TwoDigitYearsFrom, Skipped: o.Skipped}
	}},
	{nws.FeedName, "api.weather.gov grid layers, hourly forecasts and observations: GeoJSON", func(o Options) ingest.Parser {
		return nws.Parser{Site: o.Site, Skipped: o.Skipped}
	}},
	{ghcn.FeedName, "NOAA GHCN-Daily: access data service CSV or JSON, files by station, .dly (also .gz)", func(o Options) ingest.Parser {
		return ghcn.Parser{Skipped: o.Skipped}
	}},
	{eahydrology.FeedName, "Environment Agency Hydrology and flood-monitoring APIs: readings as JSON or CSV, stations with latest readings", func(o Options) ingest.Parser {
		return eahydrology.Parser{Skipped: o.Skipped}
	}},
	{eccc.FeedName, "Water Survey of Canada: wateroffice and Datamart CSV, GeoMet GeoJSON", func(o Options) ingest.Parser {
		return eccc.Parser{Skipped: o.Skipped}
	}},
	{bafu.FeedName, "Swiss Federal Office for the Environment: current readings, hydroweb XML", func(o Options) ingest.Parser {
		return bafu.Parser{Skipped: o.Skipped}
	}},
	{waterml2.FeedName, "OGC WaterML 2.0 Part 1, alone or in an answer of a Sensor Observation Service: XML", func(o Options) ingest.Parser {
		return waterml2.Parser{Site: o.Site, Skipped: o.Skipped}
	}},
	{nwps.FeedName, "National Water Prediction Service, USA: official forecasts (stageflow) and National Water Model (streamflow), JSON", func(o Options) ingest.Parser {
		return nwps.Parser{Site: o.Site, Skipped: o.Skipped}
	}},
	{sensorthings.FeedName, "OGC SensorThings API: a Datastream or Thing with its Observations expanded, JSON (from the standard; not tested on a live response)", func(o Options) ingest.Parser {
		return sensorthings.Parser{Site: o.Site, Skipped: o.Skipped}
	}},
}

// Parser finds a feed's parser by name.
func Parser(name string, o Options) (ingest.Parser, error) {
	var names []string
	for _, e := range parsers {
		if e.Name == name {
			return e.New(o), nil
		}
		names = append(names, e.Name)
	}
	return nil, fmt.Errorf("unknown feed %q; use one of %s", name, strings.Join(names, ", "))
}

// Recognise names the feeds whose parser can read a saved answer and finds
// readings in it, or says what it left out. Somebody who named the wrong feed
// is pointed to the right one.
func Recognise(answer []byte, o Options) []string {
	var names []string
	for _, e := range parsers {
		skipped := 0
		o.Skipped = func(ingest.Skipped) { skipped++ }
		if list, err := e.New(o).Parse(bytes.NewReader(answer)); err == nil && len(list)+skipped > 0 {
			names = append(names, e.Name)
		}
	}
	return names
}
