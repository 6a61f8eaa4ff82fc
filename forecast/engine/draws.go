package engine

import (
	"hash/fnv"
	"math/rand/v2"

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
