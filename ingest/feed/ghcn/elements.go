package ghcn

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"example.org/eclose/ingest"
)

// element is one of the network's quantities. Tenths, metric and standard are
// the units of the three ways in which it is delivered (GHCN-Daily readme,
// section III; access data service, parameter units).
type element struct {
	variable                 ingest.Variable
	statistic                ingest.Statistic
	tenths, metric, standard string
}

var elements = map[string]element{
	"TMAX": {ingest.AirTemperature, ingest.Max, "0.1 °C", "°C", "°F"},
	"TMIN": {ingest.AirTemperature, ingest.Min, "0.1 °C", "°C", "°F"},
	"TAVG": {ingest.AirTemperature, ingest.Mean, "0.1 °C", "°C", "°F"},
	"PRCP": {ingest.Precipitation, ingest.Sum, "0.1 mm", "mm", "in"},
	"SNWD": {ingest.SnowDepth, ingest.Instant, "mm", "mm", "in"},
	"AWND": {ingest.WindSpeed, ingest.Mean, "0.1 m/s", "m/s", "mph"},
	"RHAV": {ingest.RelativeHumidity, ingest.Mean, "%", "%", "%"},
}

// tenthOfMetrePerSecond is not a unit that people write, so our table
// lacks it.
var tenthOfMetrePerSecond = ingest.Conversion{Minus: 0, Times: 1, Over: 10}

// left says why elements that look useful are left out.
var left = map[string]string{
	"TOBS": "the time of day of the reading is not given",
	"SNOW": "it is snow depth, not water equivalent",
}

// Units of an answer.
const (
	Tenths   = "tenths"   // what comes without a units parameter, and in .dly
	Metric   = "metric"   // °C, mm, m/s
	Standard = "standard" // °F, inches, miles an hour
)

func (e element) unit(units string) string {
	switch units {
	case Metric:
		return e.metric
	case Standard:
		return e.standard
	}
	return e.tenths
}

// evidence collects what the cells of an answer tell of its units.
type evidence struct {
	padded, fraction, hundredths bool
	hottest                      float64
}

func (ev *evidence) see(name, cell string) {
	trimmed := strings.TrimSpace(cell)
	v, err := strconv.ParseFloat(trimmed, 64)
	if err != nil || v <= -9990 {
		return
	}
	_, after, point := strings.Cut(trimmed, ".")
	switch name {
	case "TMAX", "TMIN", "TAVG":
		ev.padded = ev.padded || len(trimmed) < len(cell)
		ev.fraction = ev.fraction || point
		ev.hottest = math.Max(ev.hottest, math.Abs(v))
	case "PRCP":
		ev.hundredths = ev.hundredths || (point && len(after) == 2)
	}
}

// The hottest air measured at a station was 56.7 °C or 134 °F (Death Valley,
// 1913; WMO World Weather and Climate Extremes Archive).
const hottestC, hottestF = 57.0, 135.0

// units decides, or says that it cannot. Space-padded numbers and magnitudes
// no thermometer has shown are tenths; rain to two decimals is in inches;
// temperatures with decimals are in °C, because °F come whole.
func (ev *evidence) units(declared string) (string, error) {
	switch declared {
	case "":
	case Tenths:
		return Tenths, nil
	case Metric, Standard:
		if most := map[string]float64{Metric: hottestC, Standard: hottestF}[declared]; ev.hottest > most {
			return "", fmt.Errorf("a temperature of %g cannot be in %s units; it looks like tenths of a degree", ev.hottest, declared)
		}
		return declared, nil
	default:
		return "", fmt.Errorf("units %q are not tenths, metric or standard", declared)
	}
	switch {
	case ev.padded || ev.hottest > hottestF:
		return Tenths, nil
	case ev.fraction && ev.hottest <= hottestC:
		return Metric, nil
	case ev.hundredths || (!ev.fraction && ev.hottest > hottestC):
		return Standard, nil
	}
	return "", fmt.Errorf("the answer does not show whether its units are tenths, metric or standard")
}
