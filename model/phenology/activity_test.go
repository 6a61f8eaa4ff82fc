package phenology

import (
	"math"
	"math/rand/v2"
	"testing"

	"example.org/eclose/model/insects"
)

// mountainYear is an invented normal year of a mid-sized Rocky Mountain
// freestone: ice-cold until April, 14 °C in late July.
func mountainYear() []float64 {
	t := make([]float64, 365)
	for d := range t {
		t[d] = math.Max(0, 6-8*math.Cos(2*math.Pi*float64(d-25)/365))
	}
	return t
}

func catalogue(t *testing.T) *insects.Catalogue {
	t.Helper()
	c, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func group(t *testing.T, key string, r insects.Region) (*insects.Group, Params) {
	t.Helper()
	g, ok := catalogue(t).Group(key)
	if !ok {
		t.Fatalf("no group %s", key)
	}
	p, ok := FromGroup(g, r)
	if !ok {
		t.Fatalf("no window of %s in %s", key, r)
	}
	return g, p
}

// Common practice, no source: in a typical Rocky Mountain freestone the egg-
// layers of the large orange fall caddis are a matter of mid-September and
// October, and its emergence is no fishing event.
func TestTheOrangeFallCaddisLaysFromMidSeptemberThroughOctober(t *testing.T) {
	g, p := group(t, "october-caddis", insects.Rockies)
	water := mountainYear()
	_, eggs := p.AtRiver(water).Activity(water)
	w, ok := WindowOf(eggs)
	if !ok {
		t.Fatal("no egg-laying")
	}
	const midSeptember, endOctober = 258 - 5, 304 + 5 // a few days of grace
	if w.Start < midSeptember || w.End > endOctober {
		t.Errorf("egg-laying from day %.0f to %.0f, peak %.0f", w.Start, w.End, w.Peak)
	}
	if g.Fishable(insects.Emergence) != insects.FishableNo || g.Fishable(insects.EggLaying) != insects.FishableYes {
		t.Errorf("emergence fishable: %s, egg-laying: %s", g.Fishable(insects.Emergence), g.Fishable(insects.EggLaying))
	}
}

// Common practice, no source: the small dark fall caddis lays at dusk.
func TestTheSmallDarkFallCaddisLaysAtDusk(t *testing.T) {
	g, _ := group(t, "small-dark-fall-caddis", insects.Rockies)
	const sunrise, sunset = 7 * 60, 19 * 60
	for _, h := range g.Hours(insects.EggLaying).On(sunrise, sunset) {
		if h[0] > sunset || h[1] < sunset || h[0] < sunset-120 || h[1] > sunset+90 {
			t.Errorf("lays from %d to %d minutes of the day, sunset at %d", h[0], h[1], sunset)
		}
	}
}

func TestEveryGroupOfTheCatalogueHasASeasonInAnOrdinaryRiver(t *testing.T) {
	c := catalogue(t)
	water := mountainYear()
	for _, r := range insects.Regions {
		for _, g := range c.Forecastable(r) {
			p, ok := FromGroup(g, r)
			if !ok {
				t.Errorf("%s in %s has a window and no parameters", g.Key, r)
				continue
			}
			q := p.AtRiver(water)
			if d := math.Abs(q.Median(water) - (p.MedianDOY - 1)); d > farthestDays+1 {
				t.Errorf("%s in %s: a normal year moves it by %.0f days", g.Key, r, d)
			}
			taxon := p.Taxon(0, 0, p.MedianDOY)
			if _, err := NewJoint([]Taxon{taxon}, nil, nil); err != nil {
				t.Errorf("%s in %s: %v", g.Key, r, err)
			}
		}
	}
}

// With open gates and everything within the year, shares add up to one season.
func TestSharesAddUpToASeason(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for range 50 {
		p := inventGroup()
		p.GateMinC, p.GateMaxC = math.Inf(-1), math.Inf(1)
		p.DD50, p.MedianDOY, p.Weight = 300+200*rng.Float64(), 150+30*rng.Float64(), rng.Float64()
		p.SpreadDays *= math.Exp(0.3 * rng.NormFloat64())
		water := inventWater(rng)
		e, l := p.Activity(water)
		for name, a := range map[string][]float64{"emergence": e, "egg-laying": l} {
			var sum float64
			for _, x := range a {
				if x < 0 {
					t.Fatalf("%s: a share of %v", name, x)
				}
				sum += x
			}
			if math.Abs(sum-1) > 1e-6 {
				t.Errorf("%s: shares add up to %v", name, sum)
			}
		}
		we, _ := WindowOf(e)
		wl, _ := WindowOf(l)
		if lag := wl.Peak - we.Peak; math.Abs(lag-float64(p.LagMinDays+p.LagMaxDays)/2) > 1 {
			t.Errorf("egg-laying %.1f days after emergence", lag)
		}
		if math.Abs(we.Peak-p.Median(water)) > 0.5 {
			t.Errorf("peak on %.1f, median %.1f", we.Peak, p.Median(water))
		}
	}
}

func TestWarmerWaterIsNeverLater(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	p := inventGroup()
	for range 50 {
		water := inventWater(rng)
		before := p.Median(water)
		for d := range water {
			water[d] += rng.Float64()
		}
		if after := p.Median(water); after > before {
			t.Errorf("median from %.2f to %.2f in warmer water", before, after)
		}
		if c := p.CalendarOnly().Median(water); c != p.MedianDOY-1 {
			t.Errorf("the calendar moved to %.2f", c)
		}
	}
}

// The blend of dates is a requirement that falls as the calendar's date passes:
// see doc.go. In water of one temperature the two are the same.
func TestTheBlendIsARequirementThatFallsWithTheDate(t *testing.T) {
	for _, w := range []float64{0.1, 0.5, 0.9} {
		p := Params{BaseC: 4, UpperC: 30, BiofixDOY: 1, DD50: 700, MedianDOY: 140, Weight: w, SpreadDays: 5}
		const rate = 5.0
		water := make([]float64, 365)
		for d := range water {
			water[d] = p.BaseC + rate
		}
		at := -1.0
		for x := 0.0; x < 365; x += 0.001 {
			if rate*x >= p.DD50-(1-w)/w*rate*(x-(p.MedianDOY-1)) {
				at = x
				break
			}
		}
		if got := p.Median(water); math.Abs(got-at) > 0.01 {
			t.Errorf("weight %g: median %.3f, requirement met on %.3f", w, got, at)
		}
	}
}

func TestAColdRiverDoesNotPutAGroupOutOfReach(t *testing.T) {
	_, p := group(t, "salmonfly", insects.Rockies)
	cold := mountainYear()
	for d := range cold {
		cold[d] /= 3
	}
	if got := p.Median(cold); got < p.MedianDOY+30 {
		t.Skipf("the catalogue's requirement is met on day %.0f already", got)
	}
	if got := p.AtRiver(cold).Median(cold); got > p.MedianDOY+farthestDays {
		t.Errorf("median on day %.0f, calendar %.0f", got, p.MedianDOY)
	}
}

func TestDayLengthMovesOnlyGroupsThatItRules(t *testing.T) {
	g, p := group(t, "october-caddis", insects.PacificNWCA)
	north, home, south := p.AtLatitude(50, g.Photoperiod, insects.PacificNWCA), p.AtLatitude(44, g.Photoperiod, insects.PacificNWCA), p.AtLatitude(36, g.Photoperiod, insects.PacificNWCA)
	if math.Abs(home.MedianDOY-p.MedianDOY) > 0.6 || !(north.MedianDOY < home.MedianDOY && home.MedianDOY < south.MedianDOY) || south.MedianDOY-north.MedianDOY > 10 {
		t.Errorf("at 50° N day %.1f, at 44° N %.1f, at 36° N %.1f", north.MedianDOY, home.MedianDOY, south.MedianDOY)
	}
	g, p = group(t, "salmonfly", insects.Rockies)
	if p.AtLatitude(50, g.Photoperiod, insects.Rockies) != p {
		t.Error("a group without a rule of day length moved")
	}
}
