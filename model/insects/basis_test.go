package insects_test

import (
	"math"
	"slices"
	"strings"
	"testing"

	"example.org/eclose/model/insects"
)

func TestNoWindowWithoutProvenance(t *testing.T) {
	c := load(t)
	n := map[insects.Basis]int{}
	for _, g := range c.Groups() {
		for _, f := range g.Facts() {
			if !strings.HasPrefix(f.Field, "window.") {
				continue
			}
			if f.Basis == "" {
				t.Errorf("%s:%d: the window of %s does not say what it was collected over", f.File, f.Line, g.Key)
			}
			w, _ := g.Window(f.Region, insects.Stage(strings.TrimPrefix(f.Field, "window.")))
			n[w.Basis]++
			if (w.Basis == insects.CommonPractice) != (f.Grade == insects.Practice || f.Grade == insects.Guess) {
				t.Errorf("%s:%d: basis %q with grade %q", f.File, f.Line, w.Basis, f.Grade)
			}
			if strings.Contains(f.Source, "BREIT") && w.Record != "breitenbach" {
				t.Errorf("%s:%d: from the Breitenbach, but record %q", f.File, f.Line, w.Record)
			}
		}
	}
	if n[insects.OneReach] < 20 || n[insects.SeveralReaches] < 20 || n[insects.RegionalBook] < 50 {
		t.Errorf("windows by basis: %v", n)
	}
}

func TestALightTrapSeesFlightAndSaysSo(t *testing.T) {
	c := load(t)
	n := 0
	for _, g := range c.Groups() {
		for _, r := range g.Regions() {
			w, _ := g.Window(r, insects.Emergence)
			if w.Flight != (w.Record == "gcmrc-light-traps") {
				t.Errorf("%s in %s: flight %t, record %q", g.Key, r, w.Flight, w.Record)
			}
			if w.Flight {
				n++
				if !strings.Contains(w.EvidenceWords(), "not emergence") {
					t.Errorf("%s: %q", g.Key, w.EvidenceWords())
				}
			}
		}
	}
	if n != 6 {
		t.Errorf("%d windows of light traps, want 6", n)
	}
}

func TestAWindowOfOneReachIsNotNarrowed(t *testing.T) {
	c := load(t)
	reach, _ := c.Group("agapetus-european")
	w, _ := reach.Window(insects.EuropeUpland, insects.Emergence)
	if w.Basis != insects.OneReach || w.ReachSpreadSDDays() != w.SpreadSDDays() {
		t.Errorf("one reach: %g of %g days", w.ReachSpreadSDDays(), w.SpreadSDDays())
	}
	book, _ := c.Group("isonychia")
	w, _ = book.Window(insects.Northeast, insects.Emergence)
	if w.Basis != insects.RegionalBook || !(w.ReachSpreadSDDays() < 0.7*w.SpreadSDDays()) {
		t.Errorf("a region's literature: %g of %g days", w.ReachSpreadSDDays(), w.SpreadSDDays())
	}
}

func TestARecordIsLeftOutWhenItScores(t *testing.T) {
	c := load(t)
	if got := c.Records(); !slices.Equal(got, []string{"breitenbach", "gcmrc-light-traps", "hubbard-brook"}) {
		t.Fatalf("records %v", got)
	}
	for _, record := range c.Records() {
		out, err := c.Without(record)
		if err != nil {
			t.Fatal(err)
		}
		if slices.Contains(out.Records(), record) {
			t.Errorf("%s is still there", record)
		}
		for _, g := range out.Groups() {
			was, _ := c.Group(g.Key)
			for _, r := range was.Regions() {
				old, _ := was.Window(r, insects.Emergence)
				_, left := g.Window(r, insects.Emergence)
				if left != (old.Record != record) {
					t.Errorf("without %s: %s in %s has a window: %t", record, g.Key, r, left)
				}
				if th, ok := g.Thermal(r); ok && old.Record == record && !th.FromOtherRegion {
					t.Errorf("without %s: %s in %s keeps %g degree-days", record, g.Key, r, th.DD50)
				}
			}
		}
	}
	full, _ := c.Group("large-dark-olive-spring")
	if w, _ := full.Window(insects.EuropeUpland, insects.Emergence); w.Record != "breitenbach" {
		t.Errorf("the whole catalogue was changed: record %q", w.Record)
	}
	if _, err := c.Without(""); err != nil {
		t.Error(err)
	}
}

func TestAReadersTableMayNameItsBasis(t *testing.T) {
	wide := "group,field,region,value,spread,grade,source,note,basis\n"
	c, err := load(t).Overlay("mine.csv", strings.NewReader(wide+"trico,window.emergence,rockies,07-10 08-05 09-01,5,measured,my own traps,,one-reach:wend\n"))
	if err != nil {
		t.Fatal(err)
	}
	g, _ := c.Group("trico")
	if w, _ := g.Window(insects.Rockies, insects.Emergence); w.Basis != insects.OneReach || w.Record != "wend" || w.Flight {
		t.Errorf("got %+v", w)
	}
	for _, bad := range []string{"somewhere", "one-reach:The Wend", "one-reach:"} {
		if _, err := load(t).Overlay("mine.csv", strings.NewReader(wide+"trico,window.emergence,rockies,07-10 08-05 09-01,5,measured,my own traps,,"+bad+"\n")); err == nil || !strings.Contains(err.Error(), "mine.csv:2: basis") {
			t.Errorf("%q: got %v", bad, err)
		}
	}
	// The narrower table of before is taken by its grades.
	c, err = load(t).Overlay("mine.csv", strings.NewReader(head+"trico,window.emergence,rockies,07-10 08-05 09-01,5,measured,my own traps,\n"))
	if err != nil {
		t.Fatal(err)
	}
	g, _ = c.Group("trico")
	if w, _ := g.Window(insects.Rockies, insects.Emergence); w.Basis != insects.OneReach {
		t.Errorf("measured by oneself: basis %q", w.Basis)
	}
}

func TestPriorMovesWithLatitudeAndHeight(t *testing.T) {
	c := load(t)
	find := func(key string, r insects.Region) (*insects.Group, insects.Window) {
		g, ok := c.Group(key)
		if !ok {
			t.Fatal(key)
		}
		w, ok := g.Window(r, insects.Emergence)
		if !ok {
			t.Fatalf("%s has no window in %s", key, r)
		}
		return g, w
	}
	close := func(a, b float64) bool { return math.Abs(a-b) < 0.05 }

	spring, w := find("hendrickson", insects.Northeast) // windows from about 43 N, 300 m
	if m := spring.MoveTo(w, insects.Place{LatDeg: 43, ElevationM: 300}); m != (insects.Move{}) {
		t.Errorf("where the window comes from: %+v", m)
	}
	// 4 days a degree and 4 days for 400 feet (121.92 m).
	m := spring.MoveTo(w, insects.Place{LatDeg: 45, ElevationM: 300 + 121.92})
	if !close(m.Days, 12) || !(m.SDDays > 4 && m.SDDays < 5) {
		t.Errorf("two degrees north and 400 feet up in spring: %+v", m)
	}
	if at := spring.At(w, insects.Place{LatDeg: 45, ElevationM: 300 + 121.92}); at.Median != w.Median+12 || at.End-at.Start != w.End-w.Start || at.MedianSDDays <= w.MedianSDDays {
		t.Errorf("moved: %+v", at)
	}
	if m := spring.MoveTo(w, insects.Place{LatDeg: 60, ElevationM: 2500}); m.Days != 30 {
		t.Errorf("the move is not bounded: %+v", m)
	}
	unknown := spring.MoveTo(w, insects.Place{LatDeg: 45, ElevationM: math.NaN()})
	if unknown.Days != 0 || unknown.SDDays <= 0 {
		t.Errorf("height unknown: %+v", unknown)
	}

	autumn, w := find("baetid-olive-autumn", insects.Rockies)
	if m := autumn.MoveTo(w, insects.Place{LatDeg: 44, ElevationM: 2200}); !(m.Days < -15) {
		t.Errorf("600 m up in October must be earlier: %+v", m)
	}
	cue, w := find("october-caddis", insects.Rockies)
	if m := cue.MoveTo(w, insects.Place{LatDeg: 48, ElevationM: 1600}); m.Days != 0 {
		t.Errorf("day length follows the latitude by itself: %+v", m)
	}
	for _, key := range []string{"agapetus-european", "large-dark-olive-spring"} {
		reach, w := find(key, insects.EuropeUpland)
		if m := reach.MoveTo(w, insects.Place{LatDeg: 47, ElevationM: 1200}); m != (insects.Move{}) {
			t.Errorf("%s was measured at one reach and moved: %+v", key, m)
		}
	}
	land, w := find("hopper-american", insects.Rockies)
	if m := land.MoveTo(w, insects.Place{LatDeg: 47, ElevationM: 2600}); m != (insects.Move{}) {
		t.Errorf("adult hoppers hold their dates: %+v", m)
	}
	// South of the equator December is early summer and towards the pole is south.
	south, w := find("nz-pycnocentrodes", insects.NZNorth)
	if m := south.MoveTo(w, insects.Place{LatDeg: -41, ElevationM: 250}); !close(m.Days, 8) {
		t.Errorf("two degrees towards the pole in December: %+v", m)
	}
}
