package warning

import (
	"math"
	"slices"
	"strconv"
	"strings"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// A Place is where warnings are asked for.
type Place struct {
	Lat, Lon float64  // degrees
	Country  string   // for feeds by country, in the feed's word: "italy"
	Zones    []string // the service's codes of the zones that hold the river; may be empty
}

// Area is where a warning holds.
type Area struct {
	Desc  string    `json:"desc,omitempty"`
	Zones []string  `json:"zones,omitempty"` // codes of the service's zones
	Shape []Polygon `json:"-"`               // nil: the feed gives none
}

// A Polygon is an outer ring and its holes. The first and the last point of a
// ring are the same or joined.
type Polygon [][]Point

// A Point is in degrees.
type Point struct{ Lat, Lon float64 }

// AreaFit says how well a warning fits a place.
type AreaFit string

// How a warning fits.
const (
	Here     AreaFit = "here"     // its polygon holds the place, or the place's own zone is named
	InZone   AreaFit = "zone"     // the service says that it concerns the place: somewhere in its area
	Near     AreaFit = "near"     // within the distance that was asked
	Unplaced AreaFit = "unplaced" // nobody can tell whether its area holds the place
	Away     AreaFit = "away"     // its area does not hold the place
)

// Locate sets Where. matched says how the service itself fitted the warning to
// the place; Unplaced if it did not. A polygon that holds the place makes it
// Here; one that does not makes it Away only where the service did not match.
func (w *Warning) Locate(p Place, matched AreaFit) {
	w.Fit = matched
	inside := slices.ContainsFunc(w.Area.Shape, func(g Polygon) bool { return g.Holds(Point{p.Lat, p.Lon}) })
	named := slices.ContainsFunc(w.Area.Zones, func(z string) bool { return slices.Contains(p.Zones, z) })
	switch {
	case inside, named:
		w.Fit = Here
	case matched != Unplaced:
	case len(w.Area.Shape) > 0, len(p.Zones) > 0 && len(w.Area.Zones) > 0 && sameScheme(p.Zones, w.Area.Zones):
		w.Fit = Away
	}
}

// sameScheme reports whether two lists of zone codes can be compared: whether
// some code of each has the same letters and as many digits. A river whose zone
// is written in another scheme than the warning's is not known to be elsewhere.
func sameScheme(a, b []string) bool {
	form := func(s string) string {
		return strings.Map(func(r rune) rune {
			if r >= '0' && r <= '9' {
				return '0'
			}
			return r
		}, s)
	}
	return slices.ContainsFunc(a, func(x string) bool {
		return slices.ContainsFunc(b, func(y string) bool { return form(x) == form(y) })
	})
}

// Holds reports whether a point lies in the polygon, by the even-odd rule on
// longitude and latitude as plane coordinates, as the feeds draw them.
func (g Polygon) Holds(p Point) bool {
	in := false
	for _, ring := range g {
		j := len(ring) - 1
		for i := range ring {
			a, b := ring[i], ring[j]
			if (a.Lat > p.Lat) != (b.Lat > p.Lat) && p.Lon < (b.Lon-a.Lon)*(p.Lat-a.Lat)/(b.Lat-a.Lat)+a.Lon {
				in = !in
			}
			j = i
		}
	}
	return in
}

// GeoJSON reads the polygons of a GeoJSON geometry (RFC 7946). nil: it is null,
// has none, or cannot be understood; then nobody can say that it does not hold
// a place.
func GeoJSON(geometry jsontext.Value) []Polygon {
	var g struct {
		Type        string           `json:"type"`
		Coordinates jsontext.Value   `json:"coordinates"`
		Geometries  []jsontext.Value `json:"geometries"`
	}
	if len(geometry) == 0 || jsonv2.Unmarshal(geometry, &g) != nil {
		return nil
	}
	var raw [][][][]float64
	switch g.Type {
	case "Polygon":
		raw = make([][][][]float64, 1)
		if jsonv2.Unmarshal(g.Coordinates, &raw[0]) != nil {
			return nil
		}
	case "MultiPolygon":
		if jsonv2.Unmarshal(g.Coordinates, &raw) != nil {
			return nil
		}
	case "GeometryCollection":
		var out []Polygon
		for _, x := range g.Geometries {
			part := flat(x)
			if part == nil {
				return nil
			}
			out = append(out, part...)
		}
		return out
	}
	var out []Polygon
	for _, rings := range raw {
		var poly Polygon
		for _, ring := range rings {
			var pts []Point
			for _, xy := range ring {
				if len(xy) < 2 || !onEarth(xy[1], xy[0]) {
					return nil
				}
				pts = append(pts, Point{xy[1], xy[0]})
			}
			if len(pts) < 3 {
				return nil
			}
			poly = append(poly, pts)
		}
		if poly != nil {
			out = append(out, poly)
		}
	}
	return out
}

// flat is GeoJSON for a member of a collection, which holds no collections.
func flat(g jsontext.Value) []Polygon {
	if strings.Contains(string(g), "GeometryCollection") {
		return nil
	}
	return GeoJSON(g)
}

// CAPPolygon reads a polygon as CAP writes it: "lat,lon lat,lon ...". nil: it
// cannot be understood.
func CAPPolygon(s string) Polygon {
	var ring []Point
	for pair := range strings.FieldsSeq(s) {
		a, b, ok := strings.Cut(pair, ",")
		lat, err1 := strconv.ParseFloat(a, 64)
		lon, err2 := strconv.ParseFloat(b, 64)
		if !ok || err1 != nil || err2 != nil || !onEarth(lat, lon) {
			return nil
		}
		ring = append(ring, Point{lat, lon})
	}
	if len(ring) < 3 {
		return nil
	}
	return Polygon{ring}
}

func onEarth(lat, lon float64) bool { return math.Abs(lat) <= 90 && math.Abs(lon) <= 360 }
