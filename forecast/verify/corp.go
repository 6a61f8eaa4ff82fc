package verify

// CORP compares forecasts with their best monotone recalibration c:
//
//	Brier = Miscalibration - Discrimination + Uncertainty,
//	Miscalibration = S(p) - S(c), Discrimination = S(base rate) - S(c).
//
// Unlike a binned decomposition it has no bins to choose. Miscalibration 0 is
// perfect; larger Discrimination is better. Source: Dimitriadis, Gneiting &
// Jordan 2021, PNAS 118, e2016191118.
type CORP struct {
	Brier          float64    `json:"brier"`
	Miscalibration float64    `json:"miscalibration"`
	Discrimination float64    `json:"discrimination"`
	Uncertainty    float64    `json:"uncertainty"`
	Blocks         []PAVBlock `json:"blocks"`
}

// PAVBlock is a stretch of forecasts that share one recalibrated probability.
type PAVBlock struct {
	Low        float64 `json:"low"`
	High       float64 `json:"high"`
	N          int     `json:"n"`
	Events     int     `json:"events"`
	Calibrated float64 `json:"calibrated"`
}

// DecomposeCORP computes CORP.
func DecomposeCORP(p []float64, y []bool) CORP {
	c := CORP{Brier: Brier(p, y), Blocks: Isotonic(p, y)}
	base := BaseRate(y)
	c.Uncertainty = base * (1 - base)
	var recalibrated float64
	for _, b := range c.Blocks {
		recalibrated += float64(b.N) * b.Calibrated * (1 - b.Calibrated)
	}
	recalibrated /= float64(len(p))
	c.Miscalibration = c.Brier - recalibrated
	c.Discrimination = c.Uncertainty - recalibrated
	return c
}

// Isotonic is the least-squares non-decreasing fit of outcomes on forecasts by
// pooling adjacent violators; equal forecasts are pooled first. Source: Ayer et
// al. 1955, Ann. Math. Statist. 26, 641-647.
func Isotonic(p []float64, y []bool) []PAVBlock {
	var blocks []PAVBlock
	for _, b := range Distinct(p, y) {
		blocks = append(blocks, PAVBlock{Low: b.P, High: b.P, N: b.N, Events: b.Events})
		for len(blocks) > 1 {
			a, z := &blocks[len(blocks)-2], blocks[len(blocks)-1]
			// Frequencies compared as whole numbers, so that equal ones pool too.
			if a.Events*z.N < z.Events*a.N {
				break
			}
			a.High, a.N, a.Events = z.High, a.N+z.N, a.Events+z.Events
			blocks = blocks[:len(blocks)-1]
		}
	}
	for i := range blocks {
		blocks[i].Calibrated = float64(blocks[i].Events) / float64(blocks[i].N)
	}
	return blocks
}
