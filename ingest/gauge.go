package ingest

import (
	"context"
	"fmt"
	"math"
	"slices"
	"sort"
	"time"
)

// GaugeSearch says which gauges are wanted: within RadiusKm of a point, or in
// a region; and which variable they must measure.
type GaugeSearch struct {
	Lat, Lon, RadiusKm float64 // degrees and km; used if Region is empty
	Region             string  // a state or province, two letters or its name
	Variable           Variable
	AllTypes           bool // also wells, lakes, outfalls; otherwise streams only, where the agency's list tells them apart
}

// Gauge is one place of measurement, as an agency's list has it.
type Gauge struct {
	Feed, Site string // what goes into a config
	SiteInfo
	Region     string        // state or province; "" if the list does not say
	Status     string        // the agency's own word, such as "Active"; "" if it has none
	DistanceKm float64       // NaN in a search by region
	Series     []GaugeSeries // newest end first
}

// GaugeSeries is one thing that a gauge measures.
type GaugeSeries struct {
	ID         string // the agency's id, as it will stand in Key.TimeSeries; may be empty
	Variable   Variable
	Statistic  Statistic
	Period     string
	Begin, End time.Time // UTC; zero: the list does not tell
	Primary    bool      // the agency says that it is the first of several
}

// GaugeFinder searches an agency's own list of gauges. An empty answer is no
// error. Every error of Find is, or wraps, an *Error.
type GaugeFinder interface {
	Name() string
	Find(context.Context, GaugeSearch) ([]Gauge, error)
}

// widestSearch is how far from a point may be searched, km. Our own default:
// further away an agency sends tens of megabytes.
const widestSearch = 500

// Check refuses a search for which no agency need be asked.
func (q GaugeSearch) Check(feed string) error {
	e := &Error{Feed: feed, Where: "search"}
	switch {
	case q.Variable.Unit() == "":
		e.Problem, e.Hint = fmt.Sprintf("unknown variable %q", Clip(string(q.Variable))), "search for water_temperature or discharge"
	case q.Region != "":
		return nil
	case !(math.Abs(q.Lat) <= 90 && math.Abs(q.Lon) <= 180 && q.RadiusKm > 0 && q.RadiusKm <= widestSearch):
		e.Problem, e.Hint = "latitude, longitude or radius are out of range", fmt.Sprintf("latitude -90 to 90, longitude -180 to 180, radius up to %d km", widestSearch)
	default:
		return nil
	}
	return e
}

// kmPerDegree is the length of a degree of latitude.
const kmPerDegree = 111.2

// Box is the smallest box of whole parallels and meridians that holds the
// circle, in degrees. It is cut off where the longitude jumps from 180 to -180.
func (q GaugeSearch) Box() (west, south, east, north float64) {
	dLat := q.RadiusKm / kmPerDegree
	dLon := math.Min(180, dLat/math.Max(0.01, math.Cos(q.Lat*math.Pi/180)))
	return math.Max(-180, q.Lon-dLon), math.Max(-90, q.Lat-dLat), math.Min(180, q.Lon+dLon), math.Min(90, q.Lat+dLat)
}

// Narrow drops the gauges that lie outside the circle or lack the variable,
// and sorts the rest: nearest first, or by their number for a region.
func (q GaugeSearch) Narrow(in []Gauge) []Gauge {
	out := in[:0]
	for _, g := range in {
		if !slices.ContainsFunc(g.Series, func(s GaugeSeries) bool { return s.Variable == q.Variable }) {
			continue
		}
		g.DistanceKm = math.NaN()
		if q.Region == "" {
			g.DistanceKm = DistanceKm(q.Lat, q.Lon, g.Lat, g.Lon)
			if !(g.DistanceKm <= q.RadiusKm) { // also one of which the place is not known
				continue
			}
		}
		sort.SliceStable(g.Series, func(i, j int) bool { return g.Series[j].End.Compare(g.Series[i].End) < 0 })
		out = append(out, g)
	}
	SortGauges(out)
	return out
}

// SortGauges puts the nearest first; those without a distance follow by
// number.
func SortGauges(list []Gauge) {
	sort.SliceStable(list, func(i, j int) bool {
		a, b := list[i].DistanceKm, list[j].DistanceKm
		switch {
		case a < b, !math.IsNaN(a) && math.IsNaN(b):
			return true
		case a > b, math.IsNaN(a) && !math.IsNaN(b):
			return false
		}
		return list[i].Site < list[j].Site
	})
}

// DistanceKm is the great-circle distance by the haversine formula on a sphere
// of 6371.0088 km, the mean radius of the earth (IUGG). Arguments in degrees.
func DistanceKm(lat1, lon1, lat2, lon2 float64) float64 {
	const rad, radius = math.Pi / 180, 6371.0088
	a := math.Sin((lat2 - lat1) * rad / 2)
	b := math.Sin((lon2 - lon1) * rad / 2)
	h := a*a + math.Cos(lat1*rad)*math.Cos(lat2*rad)*b*b
	return 2 * radius * math.Asin(math.Sqrt(math.Min(1, h)))
}
