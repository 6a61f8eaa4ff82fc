package insects_test

import (
	"strings"
	"testing"
	"time"

	"example.org/eclose/model/insects"
)

func TestNoSeasonIsCutByItsYear(t *testing.T) {
	c := load(t)
	july := 0
	for _, g := range c.Groups() {
		for _, r := range g.Regions() {
			w, _ := g.Window(r, insects.Emergence)
			if w.AllYear {
				continue
			}
			start := w.SeasonStart()
			if r.Southern() && start != insects.FromJuly {
				t.Errorf("%s in %s: the season starts on day %d, want 1 July", g.Key, r, start)
			}
			if start == insects.FromJuly {
				july++
			}
			first := insects.SeasonDay(float64(w.Median), start) - float64(w.Median-w.Start)
			last := insects.SeasonDay(float64(w.Median), start) + float64(w.End-w.Median)
			if first < 0 || last > 365 {
				t.Errorf("%s in %s: season days %g to %g are cut by a year from day %d", g.Key, r, first, last, start)
			}
		}
	}
	if july < 60 {
		t.Errorf("%d seasons run from July", july)
	}
}

func TestSeasonDaysAreNeighboursOverNewYear(t *testing.T) {
	if a, b := insects.SeasonDay(365, insects.FromJuly), insects.SeasonDay(1, insects.FromJuly); b-a != 1 {
		t.Errorf("31 December is season day %g, 1 January %g", a, b)
	}
	for _, tc := range []struct {
		doy   float64
		start int
		want  float64
	}{{1, insects.FromJanuary, 0}, {182, insects.FromJuly, 0}, {181, insects.FromJuly, 364}, {-46, insects.FromJuly, 137}, {-10, insects.FromJanuary, -11}, {400, insects.FromJanuary, 399}} {
		if got := insects.SeasonDay(tc.doy, tc.start); got != tc.want {
			t.Errorf("day %g from %d: %g, want %g", tc.doy, tc.start, got, tc.want)
		}
	}
}

func TestWinterMidgesAreNotCutAtNewYear(t *testing.T) {
	g, _ := load(t).Group("midge-winter")
	for _, r := range g.Regions() {
		w, _ := g.Window(r, insects.Emergence)
		if w.SeasonStart() != insects.FromJuly || !w.InMonth(time.December) || !w.InMonth(time.January) {
			t.Errorf("%s: season from day %d, %v", r, w.SeasonStart(), w)
		}
	}
}

func TestAMidgeThatIsThereAllYearHasNoSummerSeason(t *testing.T) {
	g, _ := load(t).Group("midge-year-round")
	for _, s := range insects.Stages {
		w, ok := g.Window(insects.Rockies, s)
		if !ok || !w.AllYear || w.String() != "all year" {
			t.Errorf("%s: %v", s, w)
		}
		for m := time.January; m <= time.December; m++ {
			if !w.InMonth(m) {
				t.Errorf("not there in %s", m)
			}
		}
		if w.ReachSpreadSDDays() < 365 {
			t.Errorf("%s: a spread of %g days makes a peak", s, w.ReachSpreadSDDays())
		}
	}
}

func TestSouthernSeasonsAreReversed(t *testing.T) {
	c := load(t)
	for _, g := range c.Groups() {
		north, south := false, false
		for _, r := range g.Regions() {
			north, south = north || !r.Southern(), south || r.Southern()
		}
		if north && south {
			t.Errorf("%s has windows in both hemispheres", g.Key)
		}
	}
	for key, r := range map[string]insects.Region{"nz-deleatidium-spring": insects.NZSouth, "tas-highland-dun": insects.TasmaniaHighland, "pat-chiloporter": insects.PatagoniaNorth} {
		g, ok := c.Group(key)
		if !ok {
			t.Fatal(key)
		}
		w, ok := g.Window(r, insects.Emergence)
		if !ok || w.InMonth(time.June) || w.InMonth(time.July) {
			t.Errorf("%s in %s: %v", key, r, w)
		}
	}
}

func TestGroupsOfTheRegions(t *testing.T) {
	c := load(t)
	for r, least := range map[insects.Region]int{
		insects.UKLowland: 50, insects.BritishUpland: 55, insects.EuropeLowland: 50, insects.EuropeUpland: 50,
		insects.NZNorth: 19, insects.NZSouth: 19, insects.TasmaniaLowland: 11, insects.TasmaniaHighland: 9,
		insects.PatagoniaNorth: 13, insects.PatagoniaSouth: 10,
		insects.Rockies: 45, insects.PacificNWCA: 40, insects.UpperMidwest: 40, insects.Northeast: 45, insects.AppalachiaMidAtl: 45,
	} {
		all := c.Forecastable(r)
		if len(all) < least {
			t.Errorf("%s: %d groups, want %d", r, len(all), least)
		}
		land := 0
		for _, g := range all {
			if g.EmergenceSite == insects.OnLand {
				land++
			}
		}
		if land < 2 {
			t.Errorf("%s: %d land insects", r, land)
		}
	}
	for _, key := range []string{"olive-upright", "yellow-may-dun", "iron-blue-spring", "march-brown-european", "caenis-dusk", "hawthorn-fly", "large-stonefly-european", "grey-flag"} {
		g, ok := c.Group(key)
		if !ok {
			t.Errorf("no %s", key)
			continue
		}
		if _, ok := g.Window(insects.BritishUpland, insects.Emergence); !ok {
			t.Errorf("%s has no season on the rain-fed rivers of Britain", key)
		}
	}
}

func TestEachGroupHasAHabitatAndAWorth(t *testing.T) {
	c := load(t)
	for _, g := range c.Groups() {
		if g.Habitat == "" || (g.Habitat == insects.Land) != (g.EmergenceSite == insects.OnLand) {
			t.Errorf("%s: habitat %q, emergence site %q", g.Key, g.Habitat, g.EmergenceSite)
		}
		for _, s := range insects.Stages {
			f, ok := g.Fact("worth."+string(s), "")
			if !ok || f.Grade != insects.Practice || f.Note == "" {
				t.Errorf("%s: worth of %s without a reason or not marked as common practice: %+v", g.Key, s, f)
			}
			if w := g.Worth(s); w < 1 || w > 4 {
				t.Errorf("%s: worth %d", g.Key, w)
			}
		}
	}
	for _, key := range []string{"salmonfly", "hexagenia", "danica-mayfly"} {
		g, _ := c.Group(key)
		if best := min(g.Worth(insects.Emergence), g.Worth(insects.EggLaying)); best != 1 {
			t.Errorf("%s: worth %d", key, best)
		}
	}
	for _, key := range []string{"midge-year-round", "midge-winter", "river-midge-european"} {
		g, _ := c.Group(key)
		if g.Worth(insects.Emergence) == 1 {
			t.Errorf("%s leads", key)
		}
	}
	pond, _ := c.Group("pond-olive")
	if pond.Habitat != insects.Still {
		t.Errorf("pond olive: %q", pond.Habitat)
	}
}

func TestHoursOfMidgesTurnWithTheWater(t *testing.T) {
	g, _ := load(t).Group("river-midge-european")
	h := g.Hours(insects.Emergence)
	for water, want := range map[float64]string{10: "clock", 14: "clock sunset", 20: "sunset"} {
		var got []string
		for _, s := range h.In(water) {
			got = append(got, string(s.Anchor))
		}
		if strings.Join(got, " ") != want {
			t.Errorf("in water of %g °C: %v, want %s", water, got, want)
		}
	}
}
