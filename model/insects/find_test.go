package insects_test

import (
	"slices"
	"strings"
	"testing"
	"time"

	"example.org/eclose/model/insects"
)

func keysOf(found []insects.Candidate) []string {
	var out []string
	for _, f := range found {
		out = append(out, f.Group.Key)
	}
	return out
}

func TestNamesResolveToCandidates(t *testing.T) {
	c := load(t)
	for _, tc := range []struct {
		what   string
		name   string
		region insects.Region
		month  time.Month
		first  string   // first on the list
		also   []string // somewhere on the list
		not    []string
	}{
		{what: "a common name in its region", name: "PMD", region: insects.Rockies, first: "pale-morning-dun"},
		{what: "a name of two insects, West", name: "green drake", region: insects.Rockies, first: "western-green-drake", also: []string{"eastern-green-drake", "danica-mayfly"}},
		{what: "the same name, East", name: "green drake", region: insects.Northeast, first: "eastern-green-drake", also: []string{"western-green-drake"}},
		{what: "the same name, Ireland", name: "Green Drake", region: insects.UKLowland, first: "danica-mayfly"},
		{what: "BWO narrowed by region", name: "BWO", region: insects.UKLowland, first: "ignita-olive", also: []string{"blue-winged-olive"}},
		{what: "BWO narrowed by season", name: "BWO", region: insects.Rockies, month: time.October, first: "blue-winged-olive", also: []string{"baetid-olive-autumn", "baetid-olive-spring"}},
		{what: "a scientific name", name: "Pteronarcys dorsata", first: "salmonfly"},
		{what: "a genus of several groups", name: "Ephemerella", also: []string{"pale-morning-dun", "hendrickson", "sulphur-large", "sulphur-small"}},
		{what: "an abbreviated species", name: "E. subvaria", first: "hendrickson"},
		{what: "a family", name: "Brachycentridae", also: []string{"grannom-spring", "weed-case-caddis", "grannom-european"}},
		{what: "one letter missing", name: "hendriksn", region: insects.Northeast, first: "hendrickson"},
		{what: "two letters swapped", name: "isonychai", first: "isonychia"},
		{what: "a phonetic try", name: "isonikia", first: "isonychia"},
		{what: "plural and two words", name: "salmon flies", region: insects.Rockies, first: "salmonfly"},
		{what: "grey for gray", name: "grey drakes", region: insects.UpperMidwest, first: "gray-drake"},
		{what: "sulfurs", name: "sulfurs", region: insects.AppalachiaMidAtl, first: "sulphur-large", also: []string{"sulphur-small"}},
		{what: "part of a name", name: "pale morning", region: insects.Rockies, first: "pale-morning-dun"},
		{what: "mother's day caddis without the apostrophe", name: "mothers day caddis", region: insects.Rockies, first: "grannom-spring"},
		{what: "October caddis in the East is another insect", name: "october caddis", region: insects.Northeast, first: "autumn-sedge-eastern", also: []string{"october-caddis"}},
		{what: "a name that is a mayfly for all it says", name: "michigan caddis", region: insects.UpperMidwest, first: "hexagenia"},
		{what: "white miller in the West is the caddis", name: "white miller", region: insects.Rockies, first: "white-miller", also: []string{"white-fly"}},
		{what: "little black caddis in autumn", name: "little black caddis", region: insects.Rockies, month: time.October, first: "small-dark-fall-caddis", also: []string{"little-black-saddle-case", "weed-case-caddis"}},
		{what: "olive in the Rockies, where only longer names hold it", name: "olive", region: insects.Rockies, also: []string{"blue-winged-olive"}},
		{what: "nonsense", name: "qwertyuiop zxcv", not: []string{"trico"}},
		{what: "nothing", name: "  "},
	} {
		t.Run(tc.what, func(t *testing.T) {
			found := c.Find(tc.name, tc.region, tc.month)
			keys := keysOf(found)
			if tc.first != "" && (len(keys) == 0 || keys[0] != tc.first) {
				t.Errorf("%q: got %v, want %s first", tc.name, keys, tc.first)
			}
			for _, k := range tc.also {
				if !slices.Contains(keys, k) {
					t.Errorf("%q: %s is not among %v", tc.name, k, keys)
				}
			}
			for _, k := range tc.not {
				if slices.Contains(keys, k) {
					t.Errorf("%q: %s should not be among %v", tc.name, k, keys)
				}
			}
			if strings.TrimSpace(tc.name) == "" && len(keys) > 0 {
				t.Errorf("an empty name found %v", keys)
			}
		})
	}
}

func TestEveryNameOfTheTablesFindsItsGroup(t *testing.T) {
	c := load(t)
	for _, g := range c.Groups() {
		for _, n := range g.Names {
			if !slices.Contains(keysOf(c.Find(n.Name, "", 0)), g.Key) {
				t.Errorf("%q does not find %s", n.Name, g.Key)
			}
		}
	}
}

func TestOneWrongLetterStillFindsALongName(t *testing.T) {
	c := load(t)
	n := 0
	for _, g := range c.Groups() {
		for _, name := range g.Names {
			r := []rune(name.Name)
			if len(r) < 8 {
				continue
			}
			n++
			i := len(r) / 2
			dropped := string(r[:i]) + string(r[i+1:])
			if !slices.Contains(keysOf(c.Find(dropped, "", 0)), g.Key) {
				t.Errorf("%q (of %q) does not find %s: %v", dropped, name.Name, g.Key, keysOf(c.Find(dropped, "", 0)))
			}
		}
	}
	if n < 300 {
		t.Fatalf("only %d names tried", n)
	}
}

func TestRegionAndMonthOrderButNeverHide(t *testing.T) {
	c := load(t)
	all := len(c.Find("green drake", "", 0))
	for _, r := range insects.Regions {
		for m := time.January; m <= time.December; m++ {
			if got := len(c.Find("green drake", r, m)); got < all {
				t.Errorf("%s in %s: %d candidates of %d", r, m, got, all)
			}
		}
	}
}

func FuzzFindNeverFailsAndNeverInventsAGroup(f *testing.F) {
	c := load(f)
	for _, s := range []string{"PMD", "green drake", "", "ß’é", "a b c d e f g", "trico\x00", strings.Repeat("x", 300)} {
		f.Add(s, uint8(6))
	}
	f.Fuzz(func(t *testing.T, name string, month uint8) {
		for _, x := range c.Find(name, insects.Rockies, time.Month(month%13)) {
			if x.Group == nil {
				t.Fatal("a candidate without a group")
			}
			if _, ok := c.Group(x.Group.Key); !ok {
				t.Fatalf("unknown group %q", x.Group.Key)
			}
		}
	})
}

func TestALabelBelongsToOneGroupOfARegionAndFindsIt(t *testing.T) {
	c := load(t)
	for _, r := range insects.Regions {
		seen := map[string]string{}
		for _, g := range c.Forecastable(r) {
			label := insects.Label(g.Key)
			if other := seen[label]; other != "" {
				t.Errorf("%s: %q is %s and %s", r, label, other, g.Key)
			}
			seen[label] = g.Key
			if k := keysOf(c.Find(label, r, 0)); len(k) == 0 || k[0] != g.Key {
				t.Errorf("%s: %q finds %v, want %s first", r, label, k, g.Key)
			}
			if strings.Contains(label, "european") || strings.Contains(label, "american") {
				t.Errorf("%q tells the part of the world", label)
			}
		}
	}
}
