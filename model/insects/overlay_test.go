package insects_test

import (
	"slices"
	"strings"
	"testing"

	"example.org/eclose/model/insects"
)

const head = "group,field,region,value,spread,grade,source,note\n"

// wholeGroup is a complete group of a reader's own.
const wholeGroup = head + `# a reader's own insect
wend-olive,kind,,single,,own,my own diary
wend-olive,order,,Ephemeroptera,,practice,my own diary
wend-olive,confidence,,low,,own,my own diary
wend-olive,dd_weight,,0.4,0.25,own,my own diary
wend-olive,window.emergence,europe-upland,05-01 05-20 06-10,6,measured,my own diary 2019-2025
wend-olive,emergence_site,,surface,,practice,my own diary
wend-olive,oviposition,,dips,,practice,my own diary
wend-olive,emerge_min_c,,8,1,measured,my own diary
wend-olive,emerge_max_c,,14,1,measured,my own diary
wend-olive,adult_life_days,,1-3,,practice,my own diary
wend-olive,maturation_days,,1,0.5,practice,my own diary
wend-olive,fishable.emergence,,yes,,practice,my own diary
wend-olive,fishable.egg-laying,,yes,,practice,my own diary
wend-olive,hours.emergence,,clock:11:00-15:00,,practice,my own diary
wend-olive,hours.egg-laying,,sunset:-60:+30,,practice,my own diary
wend-olive,hooks,,14-16,,practice,my own diary
wend-olive,colour,,"dun, olive",,practice,my own diary
wend-olive,name,uk,wend olive,1,practice,my own diary
`

func TestAReadersTableAddsAGroup(t *testing.T) {
	c, err := load(t).Overlay("mine.csv", strings.NewReader(wholeGroup))
	if err != nil {
		t.Fatal(err)
	}
	g, ok := c.Group("wend-olive")
	if !ok || g.HookMax != 16 || g.Colours != "dun, olive" {
		t.Fatalf("got %+v", g)
	}
	if k := keysOf(c.Find("wend olve", insects.EuropeUpland, 5)); len(k) == 0 || k[0] != "wend-olive" {
		t.Errorf("its name finds %v", k)
	}
	if _, ok := load(t).Group("wend-olive"); ok {
		t.Error("the embedded catalogue was changed")
	}
}

func TestAReadersLineReplacesOneValueOnly(t *testing.T) {
	base := load(t)
	c, err := base.Overlay("mine.csv", strings.NewReader(head+"pale-morning-dun,dd50,rockies,540,0.15,measured,my own diary,\n"))
	if err != nil {
		t.Fatal(err)
	}
	g, _ := c.Group("pale-morning-dun")
	was, _ := base.Group("pale-morning-dun")
	th, _ := g.Thermal(insects.Rockies)
	old, _ := was.Thermal(insects.Rockies)
	if th.DD50 != 540 || th.CV != 0.15 || th.Origin.Grade != insects.Measured {
		t.Errorf("rockies: %+v", th)
	}
	if th.SpreadDD != old.SpreadDD || old.DD50 == 540 {
		t.Errorf("spread %g, was %g; old sum %g", th.SpreadDD, old.SpreadDD, old.DD50)
	}
	other, _ := g.Thermal(insects.PacificNWCA)
	if before, _ := was.Thermal(insects.PacificNWCA); other != before {
		t.Errorf("another region changed: %+v to %+v", before, other)
	}
	if len(g.Facts()) != len(was.Facts()) {
		t.Errorf("%d facts, were %d", len(g.Facts()), len(was.Facts()))
	}
}

func TestMistakesInAReadersTableAreNamedWithTheirLine(t *testing.T) {
	for _, tc := range []struct{ what, table, want string }{
		{"a wrong header", "group,field\n", "mine.csv:1: the first line must be the header"},
		{"an empty file", "", "mine.csv: empty"},
		{"an unknown field", head + "trico,hook,,20-24,,practice,my own diary,\n", `mine.csv:2: unknown field "hook": did you mean "hooks"?`},
		{"an unknown region", head + "trico,dd50,utopia,400,0.2,guess,guess,\n", `mine.csv:2: unknown region "utopia"`},
		{"a sum that is no number", head + "\n# note\ntrico,dd50,rockies,many,0.2,guess,guess,\n", `mine.csv:4: "many" is not a number from 1 to 10000`},
		{"a sum without spread", head + "trico,dd50,rockies,400,,guess,guess,\n", "mine.csv:2: spread of dd50"},
		{"a bad date", head + "trico,window.emergence,rockies,07-01 08-32 09-10,6,practice,my own diary,\n", `mine.csv:2: "08-32" is not a date`},
		{"a window without region", head + "trico,window.emergence,,07-01 08-12 09-10,6,practice,my own diary,\n", `mine.csv:2: field "window.emergence" needs a region`},
		{"hours that end before they start", head + "trico,hours.emergence,,clock:16:00-11:00,,practice,my own diary,\n", "mine.csv:2: \"clock:16:00-11:00\" is not a span"},
		{"a grade of another school", head + "trico,hooks,,20-24,,excellent,my own diary,\n", `mine.csv:2: grade "excellent"`},
		{"the same value twice", head + "trico,hooks,,20-24,,practice,my own diary,\ntrico,hooks,,18-22,,practice,my own diary,\n", "mine.csv:3: duplicate value for \"hooks\", \"trico\" (see line 2)"},
		{"half a group", head + "wend-olive,kind,,single,,own,my own diary,\n", `mine.csv:2: group "wend-olive": missing "order"`},
		{"a name that points nowhere", head + "nobody,name,uk,nobody's olive,1,practice,my own diary,\n", "which does not exist"},
		{"a parent that is none", head + "trico,parent,,hexagenia,,own,my own diary,\n", `parent "hexagenia" is not a group of kind parent`},
		{"commas without quotes", head + "trico,colour,,black, olive,,practice,x,y,\n", "mine.csv:2: 10 columns, expected 9"},
		{"an open quote", head + "trico,colour,,\"black,,practice,x,\n", "mine.csv:2"},
		{"a key with capitals", head + "Trico,hooks,,20-24,,practice,my own diary,\n", `mine.csv:2: "Trico" is not a group key`},
	} {
		t.Run(tc.what, func(t *testing.T) {
			_, err := load(t).Overlay("mine.csv", strings.NewReader(tc.table))
			if err == nil || !strings.Contains(err.Error(), tc.want) {
				t.Errorf("got %v\nwant %s", err, tc.want)
			}
		})
	}
}

func TestAllMistakesAreToldAtOnce(t *testing.T) {
	_, err := load(t).Overlay("mine.csv", strings.NewReader(head+
		"trico,hooks,,0-99,,practice,my own diary,\nhexagenia,dd_weight,,7,0.2,own,my own diary,\n"))
	if err == nil || !strings.Contains(err.Error(), "mine.csv:2:") || !strings.Contains(err.Error(), "mine.csv:3:") {
		t.Errorf("got %v", err)
	}
}

func FuzzOverlay(f *testing.F) {
	c := load(f)
	f.Add(wholeGroup)
	f.Add(head + "trico,window.emergence,rockies,11-01 12-12 02-10,6,practice,x,\n")
	f.Add(head + "trico,hours.emergence,,sunset:+30:+240 sunrise:-120:+120,,practice,x,\n")
	f.Add(head + "trico,photoperiod,,falling 12.1 h,0.5,guess,guess,\n")
	f.Fuzz(func(t *testing.T, table string) {
		out, err := c.Overlay("mine.csv", strings.NewReader(table))
		if err != nil {
			if strings.TrimSpace(err.Error()) == "" {
				t.Fatal("an error without words")
			}
			return
		}
		// Whatever is accepted must be whole.
		for _, g := range out.Groups() {
			for _, r := range g.Regions() {
				w, ok := g.Window(r, insects.Emergence)
				if ok && (w.Start > w.Median || w.Median > w.End || w.End-w.Start > 365) {
					t.Fatalf("%s: window %+v", g.Key, w)
				}
				if th, ok := g.Thermal(r); ok && !(th.DD50 > 0 && th.CV > 0 && th.SpreadDD > 0) {
					t.Fatalf("%s: thermal %+v", g.Key, th)
				}
			}
			if !slices.Contains([]insects.Kind{insects.Single, insects.Brood, insects.Parent, insects.Continuous}, g.Kind) {
				t.Fatalf("%s: kind %q", g.Key, g.Kind)
			}
		}
	})
}
