package demo

import (
	"fmt"
	"os"
	"slices"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
)

func TestOracleOnly(t *testing.T) {
	if os.Getenv("DIAG") == "" {
		t.Skip()
	}
	c, _ := insects.Load()
	w := wish{catalogue: c, from: forecast.DateOf(time.Date(2026, 6, 8, 0, 0, 0, 0, time.UTC))}
	w.groups = slices.DeleteFunc(c.Forecastable(insects.Rockies), func(g *insects.Group) bool { return !slices.Contains(wished, g.Key) })
	var x [4]tally
	p := 0.0
	for k := range 50 {
		w.seed = uint64(1001 + k)
		w.season = inventSeason(w.seed, w.groups)
		w.judge()
		a, b := w.oracle(Issue), w.oracle(weekAhead)
		for i, key := range []string{most(a.worth), most(a.wins), most(b.worth), most(b.wins)} {
			x[i].add(w.truth[key], w.best, key == w.bestAt)
		}
		p += a.wins[most(a.wins)] / futures
	}
	fmt.Println(x, p)
}
