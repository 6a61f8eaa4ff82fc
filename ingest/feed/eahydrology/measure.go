package eahydrology

import (
	"fmt"
	"path"
	"regexp"
	"strconv"
	"strings"

	"example.org/eclose/ingest"
)

// The name of a measure says what it holds. The Hydrology API writes
// {station}-{parameter}-{statistic}-{seconds}-{unit}-{observation type}, the
// flood-monitoring API {station}-{parameter}-{place}-{statistic}-{period}-{unit}.
var (
	hydrology = regexp.MustCompile(`^([0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12})-([a-z]+)-(i|m|min|max|t)-([0-9]+|subdaily)-([A-Za-z0-9_/]+)(?:-([A-Za-z0-9_-]+))?$`)
	flood     = regexp.MustCompile(`^(.+?)-(flow|level|rainfall|temperature|wind)-(.*?)-(i|t|m|mean|min|max)-([0-9]+)_(min|h|d)-(.+)$`)
	stationID = regexp.MustCompile(`^[0-9a-f]{8}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{4}-[0-9a-f]{12}$`)
)

// measure is the name of a measure taken apart.
type measure struct {
	key  ingest.Key
	unit string
	why  string // why Eclose does not take it; "" if it does
}

var statistics = map[string]ingest.Statistic{"i": ingest.Instant, "m": ingest.Mean, "mean": ingest.Mean, "min": ingest.Min, "max": ingest.Max, "t": ingest.Sum}

// unitWords are spellings that stand for a unit only in names of measures.
var unitWords = strings.NewReplacer("m3_s", "m3/s", "m3s", "m3/s", "deg_C", "°C", "mAOD", "m", "mASD", "m")

// parseMeasure reads the last part of a measure's address.
func parseMeasure(id string) (measure, error) {
	name := path.Base(id)
	var m measure
	var parameter, place string
	var seconds int
	if f := hydrology.FindStringSubmatch(name); f != nil {
		parameter = f[2]
		m.key = ingest.Key{Site: f[1], Statistic: statistics[f[3]]}
		m.unit = f[5]
		if seconds, _ = strconv.Atoi(f[4]); len(f[4]) > 6 {
			seconds = 0 // subdaily, or nonsense
		}
		if t := f[6]; t != "" && t != "qualified" {
			m.key.TimeSeries = t
		}
	} else if f := flood.FindStringSubmatch(name); f != nil {
		parameter, place = f[2], f[3]
		m.key = ingest.Key{Site: f[1], Statistic: statistics[f[4]], TimeSeries: place}
		m.unit = f[7]
		if len(f[5]) <= 4 {
			n, _ := strconv.Atoi(f[5])
			seconds = n * map[string]int{"min": 60, "h": 3600, "d": 86400}[f[6]]
		}
	} else {
		return m, fmt.Errorf("%q does not name a measure", ingest.Clip(name))
	}
	m.key.Feed = FeedName
	switch {
	case parameter == "flow":
		m.key.Variable = ingest.Discharge
	case parameter == "level" && place == "groundwater":
		m.why = "it is a level in the ground, not in a river"
	case parameter == "level":
		m.key.Variable = ingest.GaugeHeight
	case parameter == "rainfall":
		m.key.Variable = ingest.Precipitation
	case parameter == "temp" || parameter == "temperature" && stationID.MatchString(m.key.Site):
		m.key.Variable = ingest.WaterTemperature // the Hydrology API measures rivers only
	case parameter == "temperature" && place == "dry_bulb":
		m.key.Variable = ingest.AirTemperature
	case parameter == "temperature" && strings.Contains(place, "water"):
		m.key.Variable = ingest.WaterTemperature
	default:
		m.why = "unsupported variable"
	}
	if m.key.Statistic != ingest.Instant {
		switch {
		case seconds == 86400:
			m.key.Period = ingest.Daily
		case seconds > 0 && seconds%3600 == 0:
			m.key.Period = fmt.Sprintf("PT%dH", seconds/3600)
		case seconds > 0 && seconds%60 == 0:
			m.key.Period = fmt.Sprintf("PT%dM", seconds/60)
		case m.why == "":
			m.why = "the period its values cover is not given"
		}
	}
	if strings.Trim(m.unit, "-") == "" && m.why == "" {
		m.why = "its unit is not given"
	}
	return m, nil
}
