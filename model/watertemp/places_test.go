package watertemp

import (
	"math"
	"slices"
	"strconv"
	"testing"

	"gonum.org/v1/gonum/stat"
)

// placesOf are latitude and longitude by gauge number. From row 128 to row 244 of the
// file the places stand one or two rows below their numbers: those of two rows belong to
// no gauge of the set, and two gauges further down have none. Theirs are from memory, to
// some kilometres. NearGaugesHaveTheSameWeather shows that the places are right so.
func placesOf(rows [][]string) map[string][2]float64 {
	var numbers []string
	var places [][2]float64
	for i, r := range rows {
		if row := i + 1; row != 241 && row != 244 {
			numbers = append(numbers, r[2])
		}
		if row := i + 1; row != 128 && row != 210 {
			lat, _ := strconv.ParseFloat(r[0], 64)
			lon, _ := strconv.ParseFloat(r[1], 64)
			places = append(places, [2]float64{lat, lon})
		}
	}
	place := map[string][2]float64{"'14316500": {43.30, -122.54}, "'01400500": {40.56, -74.58}}
	for i, n := range numbers {
		place[n] = places[i]
	}
	return place
}

// The air of a day departs from its season alike at near places: that tells whether the
// gauges stand where the table says.
func TestNearGaugesHaveTheSameWeather(t *testing.T) {
	gs := readGauges(t)
	strays := make([][]float64, len(gs))
	for i, g := range gs {
		y, _ := yearOf(g.in.Day0, g.in.Air)
		strays[i] = slices.Clone(g.in.Air)
		for d := range strays[i] {
			sin, cos := wave(g.in.Day0 + d)
			strays[i][d] -= y.at(cos, sin)
		}
	}
	least, pairs := math.Inf(1), 0
	for i, g := range gs {
		for j := range i {
			if kmApart(g, gs[j]) < 100 {
				pairs++
				least = min(least, stat.Correlation(strays[i], strays[j], nil))
			}
		}
	}
	t.Logf("%d pairs within 100 km: correlation of the day's air at least %.2f", pairs, least)
	if !(least > 0.6) {
		t.Errorf("a gauge stands at a wrong place: %.2f", least)
	}
}
