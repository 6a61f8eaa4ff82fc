package insects

import "testing"

func TestAScientificNameIsNeverGuessed(t *testing.T) {
	c, err := Load()
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		name   string
		region Region
		want   string // "": unknown, "?": ambiguous
	}{
		{"Ephemera danica", UKLowland, "danica-mayfly"},
		{"EPHEMERA DANICA", EuropeUpland, "danica-mayfly"},
		{"Ephemera danica", Rockies, ""}, // it does not fly there
		{"Drunella grandis", Rockies, "western-green-drake"},
		{"Drunella grandis ingens", Rockies, "western-green-drake"},
		{"Drunella grandes", Rockies, "?"},                   // a wrong letter falls back on the genus
		{"Baetis", UKLowland, "?"},                           // many groups
		{"Pteronarcys unheard-of", PacificNWCA, "salmonfly"}, // the genus has one group there
		{"salmonfly", PacificNWCA, ""},                       // not a scientific name
		{"Parus major", UKLowland, ""},                       // not of the catalogue
		{"", UKLowland, ""},
	} {
		got := ""
		switch g := c.Scientific(x.name, x.region); len(g) {
		case 0:
		case 1:
			got = g[0].Key
		default:
			got = "?"
		}
		if got != x.want {
			t.Errorf("%q in %s: %q, want %q", x.name, x.region, got, x.want)
		}
	}
}
