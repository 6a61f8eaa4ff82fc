package backtest

import (
	"math"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat"

	"example.org/eclose/model/insects"
)

// How much of a catalogue window one season takes at one reach, by the trap of the
// Breitenbach: for each group whose species it caught, the length of a season (5
// to 95 % of the catch) over that of the group's windows. Broods are left out, since
// the trap does not tell them apart. The shares were set on seasons up to 1987; the
// later ones check them.
func TestReachSharesAreThoseOfTheTrap(t *testing.T) {
	cat, err := insects.Load()
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		first, last int
		tolerance   float64 // of the logarithm
	}{{1969, 1987, 0}, {1988, 1995, 0.25}} {
		one, regional := shareLogs(t, cat, c.first, c.last)
		for _, x := range []struct {
			basis insects.Basis
			logs  []float64
		}{{insects.OneReach, one}, {insects.RegionalBook, regional}} {
			mean, sd := stat.MeanStdDev(x.logs, nil)
			half := 1.645 * sd / math.Sqrt(float64(len(x.logs)))
			t.Logf("%d to %d, %s: %d groups, share %.2f (%.2f to %.2f), median %.2f", c.first, c.last, x.basis, len(x.logs),
				math.Exp(mean), math.Exp(mean-half), math.Exp(mean+half), math.Exp(median(x.logs)))
			if len(x.logs) < 8 {
				t.Fatalf("only %d groups", len(x.logs))
			}
			if off := math.Abs(math.Log(x.basis.ReachShare()) - mean); off > max(half, c.tolerance) {
				t.Errorf("%d to %d, %s: share %.2f is outside", c.first, c.last, x.basis, x.basis.ReachShare())
			}
		}
	}
}

// shareLogs are the logarithms of the shares of groups, of windows of this record
// and of regional ones, in the mean over a group's regions.
func shareLogs(t *testing.T, cat *insects.Catalogue, first, last int) (one, regional []float64) {
	codes := map[string][]string{} // by species
	for _, r := range shared(t, "breitenbach/taxa.csv") {
		if words := strings.Fields(r["taxon"]); len(words) >= 2 {
			species := words[0] + " " + words[1]
			codes[species] = append(codes[species], r["code"])
		}
	}
	rec := breitenbach(t)
	for _, g := range cat.Groups() {
		var mine []string
		for _, s := range g.Species {
			mine = append(mine, codes[s]...)
		}
		if g.ParentKey != "" || len(mine) == 0 {
			continue
		}
		length := seasonLength(rec, mine, first, last)
		if math.IsNaN(length) {
			continue
		}
		var logs []float64
		for _, region := range g.Regions() {
			w, ok := g.Window(region, insects.Emergence)
			if !ok || !strings.HasPrefix(string(region), "uk-") && !strings.HasPrefix(string(region), "british-") && !strings.HasPrefix(string(region), "europe-") {
				continue
			}
			share := math.Log(length / float64(w.End-w.Start))
			switch {
			case w.Record == "breitenbach":
				one = append(one, share)
			case w.Basis != insects.OneReach && w.Basis != insects.SeveralReaches:
				logs = append(logs, share)
			}
		}
		if len(logs) > 0 {
			regional = append(regional, stat.Mean(logs, nil))
		}
	}
	return one, regional
}

// seasonLength is the median length of the seasons of some codes together, days,
// NaN where there are fewer than three.
func seasonLength(rec Records, codes []string, first, last int) float64 {
	together := Records{}
	for _, r := range rec.Rows {
		if y := r.Date.Year(); y >= first && y <= last && slices.Contains(codes, r.Taxon) {
			r.Taxon = "all"
			together.Rows = append(together.Rows, r)
		}
	}
	var lengths []float64
	for _, s := range together.Build(40) {
		for _, x := range s.Seasons {
			lengths = append(lengths, float64(x.Q95-x.Q05))
		}
	}
	if len(lengths) < 3 {
		return math.NaN()
	}
	return median(lengths)
}
