package verify

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// ROCPoint is the share of events (HitRate) and of non-events (FalseAlarmRate)
// that were given at least Threshold.
type ROCPoint struct {
	Threshold      float64 `json:"threshold"`
	HitRate        float64 `json:"hit_rate"`
	FalseAlarmRate float64 `json:"false_alarm_rate"`
}

// ROC lists the points for every distinct forecast, falling threshold first.
// It tells of discrimination only: a forecast that is wrong by any monotone
// distortion has the same curve. Source: Mason 1982, Aust. Meteor. Mag. 30,
// 291-303.
func ROC(p []float64, y []bool) []ROCPoint {
	b := Distinct(p, y)
	n, base := total(b)
	events, non := n*base, n*(1-base)
	out := make([]ROCPoint, 0, len(b))
	var hits, alarms float64
	for _, k := range slices.Backward(b) {
		hits += float64(k.Events)
		alarms += float64(k.N - k.Events)
		out = append(out, ROCPoint{k.P, hits / events, alarms / non})
	}
	return out
}

// ROCArea is P(forecast of an event > forecast of a non-event) + half P(equal).
// Range 0..1, perfect 1, larger is better, 0.5 for no discrimination. NaN when
// all outcomes are alike. Source: Mason & Graham 2002, Q. J. R. Meteorol. Soc.
// 128, 2145-2166.
func ROCArea(p []float64, y []bool) float64 {
	var area, below float64 // below counts non-events of smaller forecasts
	b := Distinct(p, y)
	for _, k := range b {
		non := float64(k.N - k.Events)
		area += float64(k.Events) * (below + non/2)
		below += non
	}
	n, base := total(b)
	return area / (n * base * below)
}

// ROCAreaP is the one-sided p value of an area at least as large if forecasts
// said nothing (Mann-Whitney): exact without ties up to 60 cases, else by the
// normal approximation with the corrections for ties and continuity.
// Source: Mason & Graham 2002.
func ROCAreaP(p []float64, y []bool) float64 {
	b := Distinct(p, y)
	n, base := total(b)
	events := int(math.Round(n * base))
	non := len(p) - events
	u := ROCArea(p, y) * float64(events) * float64(non)
	if len(b) == len(p) && len(p) <= 60 {
		return exactU(events, non, int(math.Round(u)))
	}
	ties := 0.
	for _, k := range b {
		t := float64(k.N)
		ties += t * t * t
		ties -= t
	}
	e, m := float64(events), float64(non)
	v := e * m / 12 * (n + 1 - ties/(n*(n-1)))
	return distuv.UnitNormal.Survival((u - e*m/2 - 0.5) / math.Sqrt(v))
}

// exactU is P(U >= u) over all equally likely orders of a events and b others,
// counted by the usual recursion on the last element.
func exactU(a, b, u int) float64 {
	// ways[i][s]: orders of i events and j others with statistic s; j grows.
	ways := make([][]float64, a+1)
	for i := range ways {
		ways[i] = make([]float64, a*b+1)
		ways[i][0] = 1
	}
	for j := 1; j <= b; j++ {
		for i := 1; i <= a; i++ {
			// last is an other: ways[i] as before; last is an event: it beats all j.
			for s := a * b; s >= 0; s-- {
				w := ways[i][s]
				if s >= j {
					w += ways[i-1][s-j]
				}
				ways[i][s] = w
			}
		}
	}
	var all, tail float64
	for s, w := range ways[a] {
		all += w
		if s >= u {
			tail += w
		}
	}
	return tail / all
}

// Contingency is a two-by-two table of warnings against events.
type Contingency struct {
	Hits             int `json:"hits"`
	FalseAlarms      int `json:"false_alarms"`
	Misses           int `json:"misses"`
	CorrectNegatives int `json:"correct_negatives"`
}

// Contingent warns whenever p >= threshold.
func Contingent(p []float64, y []bool, threshold float64) Contingency {
	sameLength("contingency table", len(p), len(y))
	var c Contingency
	for i, v := range p {
		switch {
		case v >= threshold && y[i]:
			c.Hits++
		case v >= threshold:
			c.FalseAlarms++
		case y[i]:
			c.Misses++
		default:
			c.CorrectNegatives++
		}
	}
	return c
}

// ContingencyScores are the usual ratios of a Contingency, a hits, b false
// alarms, c misses, d correct negatives, n all. Source: Wilks 2011,
// Statistical Methods in the Atmospheric Sciences, section 8.2; Stephenson
// 2000, Wea. Forecasting 15, 221-232 for odds ratio and Yule's Q.
type ContingencyScores struct {
	ProportionCorrect  float64 // (a+d)/n, perfect 1; misleading for rare events
	NeverForecast      float64 // (b+d)/n, what never warning would have got
	CriticalSuccess    float64 // a/(a+b+c), 0..1, perfect 1
	HitRate            float64 // a/(a+c), 0..1, perfect 1
	FalseAlarmRatio    float64 // b/(a+b), 0..1, perfect 0
	FalseAlarmRate     float64 // b/(b+d), 0..1, perfect 0
	Bias               float64 // (a+b)/(a+c), perfect 1
	Heidke             float64 // 2(ad-bc)/((a+c)(c+d)+(a+b)(b+d)), -1..1, perfect 1
	Peirce             float64 // hit rate - false alarm rate, -1..1, perfect 1
	Gilbert            float64 // (a-r)/(a+b+c-r), r=(a+b)(a+c)/n, -1/3..1, perfect 1
	OddsRatio          float64 // ad/(bc), 0..inf, larger is better
	LogOddsRatio       float64 // its logarithm
	LogOddsRatioSE     float64 // sqrt(1/a+1/b+1/c+1/d)
	YuleQ              float64 // (ad-bc)/(ad+bc), -1..1, perfect 1
	ExtremeDependency  float64 // 2 ln((a+c)/n)/ln(a/n) - 1, -1..1, perfect 1
	HitRateSE          float64 // sqrt(H(1-H)/(a+c))
	ExtremalDependence float64 // (ln F - ln H)/(ln F + ln H), -1..1, perfect 1
	SymmetricExtremal  float64 // the same with 1-F and 1-H added in, -1..1, perfect 1
}

// Scores computes ContingencyScores; a ratio with nothing below is NaN or Inf.
func (t Contingency) Scores() ContingencyScores {
	a, b, c, d := float64(t.Hits), float64(t.FalseAlarms), float64(t.Misses), float64(t.CorrectNegatives)
	n := a + b + c + d
	h, f := a/(a+c), b/(b+d)
	r := (a + b) * (a + c) / n
	lf, lh, l1f, l1h := math.Log(f), math.Log(h), math.Log1p(-f), math.Log1p(-h)
	return ContingencyScores{
		ProportionCorrect: (a + d) / n, NeverForecast: (b + d) / n, CriticalSuccess: a / (a + b + c),
		HitRate: h, FalseAlarmRatio: b / (a + b), FalseAlarmRate: f, Bias: (a + b) / (a + c),
		Heidke: 2 * (a*d - b*c) / ((a+c)*(c+d) + (a+b)*(b+d)), Peirce: h - f,
		Gilbert: (a - r) / (a + b + c - r), OddsRatio: a * d / (b * c), LogOddsRatio: math.Log(a * d / (b * c)),
		LogOddsRatioSE: math.Sqrt(1/a + 1/b + 1/c + 1/d), YuleQ: (a*d - b*c) / (a*d + b*c),
		ExtremeDependency: 2*math.Log((a+c)/n)/math.Log(a/n) - 1, HitRateSE: math.Sqrt(h * (1 - h) / (a + c)),
		ExtremalDependence: (lf - lh) / (lf + lh),
		SymmetricExtremal:  (lf - lh - l1f + l1h) / (lf + lh + l1f + l1h),
	}
}
