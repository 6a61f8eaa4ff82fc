package engine

import (
	"cmp"
	"hash/fnv"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Normals fills dst with standard normal draws for one parameter: one from each
// of len(dst) slices of equal chance, in an order of their own, so that few
// members stand well for the distribution. The same seed and key give the same
// draws; another key (the group and the parameter, say) gives others that are
// independent of them. Source of the method: McKay, Beckman & Conover 1979,
// Technometrics 21, 239-245 (Latin hypercube sampling).
func Normals(dst []float64, seed uint64, key string) {
	h := fnv.New64a()
	h.Write([]byte(key)) // a hash never fails
	rng := rand.New(rand.NewPCG(seed, h.Sum64()))
	n := float64(len(dst))
	for i := range dst {
		// Open at both ends, so that no draw is infinite.
		dst[i] = distuv.UnitNormal.Quantile((float64(i) + 0.5 + 0.999*(rng.Float64()-0.5)) / n)
	}
	rng.Shuffle(len(dst), func(i, j int) { dst[i], dst[j] = dst[j], dst[i] })
}

// Reorder gives values the rank order of like, another sample of equal size: the
// least value goes where like is least. Done for every variable, site and lead
// with the same past dates as like, it lends members the dependence between them
// that those dates had. Source: Clark et al. 2004, J. Hydrometeorol. 5, 243-262
// (the Schaake shuffle).
func Reorder(values, like []float64) []float64 {
	order := make([]int, len(like))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(like[a], like[b]) })
	s := slices.Clone(values)
	slices.Sort(s)
	out := make([]float64, len(s))
	for rank, i := range order {
		out[i] = s[rank]
	}
	return out
}
