package insects_test

import (
	"math"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"example.org/eclose/model/insects"
)

// loaded is the embedded catalogue, which nothing changes.
var loaded = sync.OnceValues(insects.Load)

func load(t testing.TB) *insects.Catalogue {
	t.Helper()
	c, err := loaded()
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// honestLabels are the only sources allowed beside the codes of the reference
// list.
func honestLabel(f insects.Fact) bool {
	switch f.Grade {
	case insects.Practice:
		return f.Source == "common practice, no source" || f.Source == "from memory, no source"
	case insects.Guess:
		return f.Source == "guess" && f.Note != ""
	case insects.Prior:
		return strings.HasPrefix(f.Source, "prior derived from ")
	case insects.Own:
		return strings.HasPrefix(f.Source, "our own ")
	default:
		return false
	}
}

func TestEveryValueNamesASourceOrSaysThatItHasNone(t *testing.T) {
	c := load(t)
	n := 0
	for _, g := range c.Groups() {
		for _, f := range g.Facts() {
			n++
			if !f.Grade.NeedsCitation() {
				if !honestLabel(f) {
					t.Errorf("%s:%d: %s %s: grade %q with source %q is not an honest label", f.File, f.Line, f.Group, f.Field, f.Grade, f.Source)
				}
				continue
			}
			cited := strings.SplitSeq(f.Source, ";")
			for code := range cited {
				if _, ok := c.Source(strings.TrimSpace(code)); !ok {
					t.Errorf("%s:%d: %s %s: source %q is not on the reference list", f.File, f.Line, f.Group, f.Field, code)
				}
			}
		}
	}
	if n < 2000 {
		t.Fatalf("only %d values read", n)
	}
	for _, s := range c.Sources() {
		if s.Citation == "" || s.Seen == "" {
			t.Errorf("source %q lacks a citation or what was seen of it", s.Code)
		}
	}
}

func TestAValueWithoutASourceIsRefused(t *testing.T) {
	c := load(t)
	_, err := c.Overlay("mine.csv", strings.NewReader(
		"group,field,region,value,spread,grade,source,note\ntrico,hooks,,20-24,,practice,,\n"))
	if err == nil || !strings.Contains(err.Error(), "mine.csv:2: no source") {
		t.Fatalf("got %v", err)
	}
}

func TestNumbersCarryASpread(t *testing.T) {
	c := load(t)
	numeric := []string{"base_temp_c", "dd50", "dd_weight", "window.emergence", "window.egg-laying", "emerge_min_c", "emerge_max_c", "maturation_days", "upper_temp_c", "onset_water_c", "onset_air_c"}
	for _, g := range c.Groups() {
		for _, f := range g.Facts() {
			if slices.Contains(numeric, f.Field) && f.Spread == "" && f.Note != "not used: no degree-day rule" {
				t.Errorf("%s:%d: %s %s has no spread", f.File, f.Line, f.Group, f.Field)
			}
		}
	}
}

func TestAllGroupsAreWholeAndPlausible(t *testing.T) {
	c := load(t)
	groups := c.Groups()
	if len(groups) != 184 {
		t.Errorf("%d groups, want 184", len(groups))
	}
	for _, g := range groups {
		if g.Kind != insects.Parent && len(g.Regions()) == 0 {
			t.Errorf("%s has no window", g.Key)
		}
		if len(g.CommonNames("")) == 0 {
			t.Errorf("%s has no common name", g.Key)
		}
		if g.Kind == insects.Parent && len(c.Broods(g.Key)) == 0 {
			t.Errorf("%s is a parent without broods", g.Key)
		}
		if g.EmergenceSite == insects.AtShore && g.Fishable(insects.Emergence) != insects.FishableNo {
			t.Errorf("%s emerges on shore but its emergence is marked %q", g.Key, g.Fishable(insects.Emergence))
		}
		for _, s := range insects.Stages {
			if g.Presentation(s) == "" || len(g.Hours(s)) == 0 || g.Fishable(s) == "" {
				t.Errorf("%s lacks presentation, hours or fishable for %s", g.Key, s)
			}
		}
		for _, r := range g.Regions() {
			em, ok1 := g.Window(r, insects.Emergence)
			if em.MedianSDDays < 4 {
				t.Errorf("%s in %s: the middle known to %g days, which no river's is", g.Key, r, em.MedianSDDays)
			}
			if em.Record == "breitenbach" && em.MedianSDDays < 12 {
				t.Errorf("%s in %s: one brook stands for a region with %g days", g.Key, r, em.MedianSDDays)
			}
			egg, ok2 := g.Window(r, insects.EggLaying)
			if !ok1 || !ok2 || egg.Median < em.Median {
				t.Errorf("%s in %s: egg-laying (%v) before emergence (%v)", g.Key, r, egg, em)
			}
			if th, ok := g.Thermal(r); ok {
				if math.IsNaN(th.DD50+th.CV+th.SpreadDD+th.Weight) || th.DD50 <= 0 || th.CV <= 0 || th.SpreadDD <= 0 {
					t.Errorf("%s in %s: thermal prior %+v", g.Key, r, th)
				}
			}
		}
	}
}

// Common practice, no source.
func TestLargeOrangeFallCaddisOfARockyMountainFreestone(t *testing.T) {
	g, _ := load(t).Group("october-caddis")
	if g.Fishable(insects.Emergence) != insects.FishableNo {
		t.Errorf("emergence is marked %q, want no", g.Fishable(insects.Emergence))
	}
	if g.Fishable(insects.EggLaying) != insects.FishableYes {
		t.Errorf("egg-laying is marked %q, want yes", g.Fishable(insects.EggLaying))
	}
	w, ok := g.Window(insects.Rockies, insects.EggLaying)
	if !ok {
		t.Fatal("no egg-laying window")
	}
	sd := w.SpreadSDDays()
	from, to := float64(w.Median)-1.2816*sd, float64(w.Median)+1.2816*sd
	if from < 254 || to > 304 { // 11 September to 31 October
		t.Errorf("central 80 %% is day %.0f to %.0f, want mid-September to October", from, to)
	}
}

// Common practice, no source.
func TestSmallDarkFallCaddisLaysAtDuskAndDriftsBackSpent(t *testing.T) {
	g, _ := load(t).Group("small-dark-fall-caddis")
	h := g.Hours(insects.EggLaying)
	if len(h) != 1 || h[0].Anchor != insects.Sunset || h[0].From > 0 || h[0].To < 0 || h[0].To-h[0].From > 150 {
		t.Errorf("egg-laying hours %v, want dusk", h)
	}
	if g.OvipositionMode != insects.CrawlsUnder {
		t.Errorf("lays by %q, want crawling under", g.OvipositionMode)
	}
	if !strings.Contains(g.Presentation(insects.EggLaying), "drift back spent") {
		t.Errorf("presentation %q does not say that the females drift back spent", g.Presentation(insects.EggLaying))
	}
	for _, m := range []time.Month{time.September, time.October} {
		if w, _ := g.Window(insects.Rockies, insects.EggLaying); !w.InMonth(m) {
			t.Errorf("not in season in %s: %v", m, w)
		}
	}
}

func TestSalmonflyKeepsItsPublishedSum(t *testing.T) {
	g, _ := load(t).Group("salmonfly")
	th, ok := g.Thermal(insects.Rockies)
	if !ok || th.DD50 != 840 || th.CV != 0.22 || th.Origin.Grade != insects.Derived || th.FromOtherRegion {
		t.Fatalf("got %+v", th)
	}
	if g.Grade(insects.Rockies) != insects.Derived {
		t.Errorf("grade %q", g.Grade(insects.Rockies))
	}
}

func TestAThermalPriorIsLentToAnotherRegionWithMoreDoubt(t *testing.T) {
	g, _ := load(t).Group("pale-morning-dun")
	own, _ := g.Thermal(insects.Rockies)
	lent, ok := g.Thermal(insects.Northeast)
	if !ok || !lent.FromOtherRegion || lent.CV <= own.CV || lent.DD50 != own.DD50 {
		t.Fatalf("own %+v lent %+v", own, lent)
	}
	if g.Grade(insects.Northeast) != insects.Guess {
		t.Errorf("grade %q, want guess", g.Grade(insects.Northeast))
	}
}
