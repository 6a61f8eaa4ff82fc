package phenology

import "math"

// Nodes of the date and of the numbers over which a chance is averaged.
const (
	chanceDates   = 21
	chanceNumbers = 9
	chanceReach   = 2.5
	numbersReach  = 2.2
)

// CountChance returns the probability that a watch of a trap catches at least
// atLeast animals, when the season's median date has that mean and variance (DOY,
// days²) and its curve and numbers are the usual ones. Catches are negative
// binomial of size 1: P(at least k) = (m/(1+m))^k with m expected.
func CountChance(curve UsualCurve, n Numbers, mean, variance float64, w Watch, atLeast int) float64 {
	sd := math.Sqrt(variance)
	var sum, weights float64
	for i := range chanceDates {
		z := chanceReach * (2*float64(i)/(chanceDates-1) - 1)
		date := mean + sd*z
		for _, stretch := range stretches {
			share := max(0, curve.Passed((w.To-date)/stretch[0])-curve.Passed((w.From-date)/stretch[0]))
			for j := range chanceNumbers {
				zn := numbersReach * (2*float64(j)/(chanceNumbers-1) - 1)
				m := math.Exp(n.MeanLog+n.SDLog*zn) * share * w.Effort
				weight := math.Exp(-0.5*(z*z+zn*zn)) * stretch[1]
				sum += weight * math.Pow(m/(1+m), float64(atLeast))
				weights += weight
			}
		}
	}
	return sum / weights
}
