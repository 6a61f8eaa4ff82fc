package watertemp

import (
	"fmt"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// departureOf is a river's row of the table: what its record shows, and how its water
// departs from the prior, by least squares with a little ridge.
func departureOf(g gauge) (learntRiver, bool) {
	r := learntRiver{site: g.id}
	m := Prior(nil)
	m.Air, _ = yearOf(g.in.Day0, g.in.Air)
	logFlow := m.localizeFlow(g.in)
	m.fitDescriptors(g.in, logFlow)
	m.useRegional()
	var ok bool
	if r.shown, ok = m.shown(g.in, logFlow); !ok {
		return r, false
	}
	rows, sim := m.rows(g.in)
	d := m.departureTerms()
	x, y := mat.NewSymDense(nDeparture, nil), mat.NewVecDense(nDeparture, nil)
	for i, w := range g.in.Water {
		if math.IsNaN(w) {
			continue
		}
		t := d.terms(&rows[i])
		v := mat.NewVecDense(nDeparture, t[:])
		x.SymRankOne(x, 1, v)
		y.AddScaledVec(y, w-sim[i], v)
	}
	for i := range nDeparture {
		ridge := 2.0
		if i >= dAir {
			ridge = 40
		}
		x.SetSym(i, i, x.At(i, i)+ridge)
	}
	var c mat.Cholesky
	var f mat.VecDense
	if !c.Factorize(x) || c.SolveVecTo(&f, y) != nil {
		return r, false
	}
	copy(r.departs[:], f.RawVector().Data)
	return r, true
}

// groups are rivers within 25 km of each other, by whatever many steps, and the group
// of each gauge.
func groupsOf(gs []gauge) []int {
	group := make([]int, len(gs))
	for i := range group {
		group[i] = i
	}
	var root func(int) int
	root = func(i int) int {
		if group[i] != i {
			group[i] = root(group[i])
		}
		return group[i]
	}
	for i := range gs {
		for j := range i {
			if kmApart(gs[i], gs[j]) < 25 {
				group[root(i)] = root(j)
			}
		}
	}
	for i := range group {
		group[i] = root(i)
	}
	return group
}

func kmApart(a, b gauge) float64 {
	north := a.lat - b.lat
	east := (a.lon - b.lon) * math.Cos((a.lat+b.lat)/2*math.Pi/180)
	return 111.2 * math.Hypot(north, east)
}

// parts puts groups into ten parts, the largest first, each where fewest are.
func parts(gs []gauge) []int {
	group := groupsOf(gs)
	size := make([]int, len(gs))
	for _, g := range group {
		size[g]++
	}
	var order []int
	for g, n := range size {
		if n > 0 {
			order = append(order, g)
		}
	}
	slicesSortStable(order, size)
	var held [10]int
	of := make([]int, len(gs))
	for _, g := range order {
		least := 0
		for k := range held {
			if held[k] < held[least] {
				least = k
			}
		}
		held[least] += size[g]
		of[g] = least
	}
	out := make([]int, len(gs))
	for i, g := range group {
		out[i] = of[g]
	}
	return out
}

func slicesSortStable(order, size []int) {
	slices.SortStableFunc(order, func(a, b int) int { return size[b] - size[a] })
}

// lineFits are the parameters of the heat budget of gauges and their climates, from
// which the lines of the prior are drawn.
func lineFits(t testing.TB, gs []gauge) (fits []Params, climates [][nClimate]float64) {
	fits, climates = make([]Params, len(gs)), make([][nClimate]float64, len(gs))
	each(len(gs), func(k int) {
		f, err := newFitter(until(gs[k].in, waterYears[3]-gs[k].in.Day0))
		if err != nil {
			t.Error(err)
			return
		}
		climates[k] = f.m.climate()
		f.damping = firstDamping
		p, _ := f.descend(f.middle, 60, nearly)
		for range reweighs {
			f.reweigh(&p)
			p, _ = f.descend(p, 60, nearly)
		}
		fits[k] = p
	})
	return fits, climates
}

// without is the belief with its lines drawn through the gauges that are kept only.
func linesOf(t testing.TB, fits []Params, climates [][nClimate]float64, keep func(int) bool) *prior {
	var xs, ys []float64
	n := 0
	for k := range fits {
		if keep(k) {
			xs, ys = append(xs, climates[k][:]...), append(ys, fits[k][:]...)
			n++
		}
	}
	lines, _ := throughClimate(t, mat.NewDense(n, nClimate, xs), mat.NewDense(n, nParam, ys))
	b := *pooled
	for i := range nParam {
		for j := range nClimate {
			b.lines[i][j] = lines.At(j, i)
		}
	}
	return &b
}

// learntTable makes the table anew from the gauges.
func learntTable(t testing.TB, gs []gauge) []learntRiver {
	t.Helper()
	rivers, ok := make([]learntRiver, len(gs)), make([]bool, len(gs))
	each(len(gs), func(i int) { rivers[i], ok[i] = departureOf(gs[i]) })
	var out []learntRiver
	for i, r := range rivers {
		if ok[i] {
			out = append(out, r)
		}
	}
	return out
}

// The table is what these gauges give. ECLOSE_TABLES=1 prints it anew.
func TestLearntTableComesFromTheGauges(t *testing.T) {
	var b strings.Builder
	for _, r := range learntTable(t, readGauges(t)) {
		fmt.Fprintf(&b, "%s,%s,%s\n", r.site, list(r.shown[:]), list(r.departs[:]))
	}
	if os.Getenv("ECLOSE_TABLES") != "" {
		fmt.Print(b.String())
		return
	}
	if !strings.HasSuffix(learntCSV, b.String()) {
		t.Error("learnt.csv is not what the gauges give: ECLOSE_TABLES=1 go test ./model/watertemp -run LearntTable prints it")
	}
}
