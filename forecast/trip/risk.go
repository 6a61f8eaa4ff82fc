package trip

import (
	"fmt"
	"math"

	"example.org/eclose/forecast"
	"example.org/eclose/model/wading"
)

// Odds is how often something that spoils a day happens. Odds that are not
// known are never taken for low.
type Odds struct {
	P       float64 `json:"p"`
	Known   bool    `json:"known"`
	Seasons int     `json:"seasons,omitempty"` // past seasons that were counted
	Words   string  `json:"words"`
}

// flowSeasons is the least number of past seasons for odds of the flow, and
// around is how many days on each side of a stay are counted with it. Our own
// defaults.
const (
	flowSeasons = 5
	around      = 3
)

// unknownCounts is the odds that stand in for unknown ones when weeks are put
// in order. Our own default.
const unknownCounts = 0.5

// FlowOdds is the share of days, over past seasons on these dates, on which the
// mean flow stood at or above the level "better not to wade". Seasons that have
// less than half of the days are not counted; the running one never is.
func FlowOdds(f *Flows, from, to forecast.Date, u wading.Units) Odds {
	if f == nil {
		return Odds{Words: "unknown (no flow data for this river)"}
	}
	if f.Limits == nil {
		return Odds{Words: "unknown (no wading limit can be worked out for this gauge)"}
	}
	limit := f.Limits.BetterNotM3s
	var over, days, seasons, hit int
	for back := 1; back <= 80; back++ {
		a, b := yearsBefore(from, back)-around, yearsBefore(to, back)+around
		if b < f.Day0 {
			break
		}
		n, up := 0, 0
		for d := a; d <= b; d++ {
			if i := int(d - f.Day0); i >= 0 && i < len(f.M3s) && !math.IsNaN(f.M3s[i]) {
				n++
				if f.M3s[i] >= limit {
					up++
				}
			}
		}
		if 2*n < int(b-a)+1 {
			continue
		}
		seasons++
		days += n
		over += up
		if up > 0 {
			hit++
		}
	}
	if seasons < flowSeasons {
		return Odds{Seasons: seasons, Words: fmt.Sprintf("unknown (%d past seasons of flow on these dates; %d needed)", seasons, flowSeasons)}
	}
	return Odds{P: float64(over) / float64(days), Known: true, Seasons: seasons,
		Words: fmt.Sprintf("in %d of %d past seasons, flow reached %s (better not to wade) on some of these dates", hit, seasons, u.Flow(limit))}
}

// yearsBefore is the same date some years earlier; 29 February becomes 1 March.
func yearsBefore(d forecast.Date, years int) forecast.Date {
	return forecast.DateOf(d.Time().AddDate(-years, 0, 0))
}

// WarmC is the warmest hour from which trout are better left alone, °C: 68 °F,
// as wading.AdviceFor has it.
var WarmC = wading.FtoC(68)

// warmOdds is the mean over the days of the chance that the warmest hour
// reaches WarmC, as a normal curve through its 50 and 90 % points.
func warmOdds(o *forecast.Outlook, from, to forecast.Date, u wading.Units) Odds {
	sum, n := 0.0, 0
	for d := from; d <= to; d++ {
		w, ok := o.WaterOn(d)
		if !ok || math.IsNaN(w.MaxP50) || math.IsNaN(w.MaxP90) {
			return Odds{Words: "unknown (no water temperature forecast for these dates)"}
		}
		sum += warm(w)
		n++
	}
	p := sum / float64(n)
	return Odds{P: p, Known: true, Seasons: o.Seasons,
		Words: fmt.Sprintf("%s (%s) that a day's warmest hour reaches %s, when trout are best left alone",
			forecast.Likelihood(p), forecast.Percent(p), u.Temperature(WarmC))}
}

func warm(w forecast.WaterDay) float64 {
	sd := (w.MaxP90 - w.MaxP50) / 1.2816
	if sd <= 0 {
		if w.MaxP50 >= WarmC {
			return 1
		}
		return 0
	}
	return 0.5 * math.Erfc((WarmC-w.MaxP50)/sd/math.Sqrt2)
}

// unspoiled is the chance that neither flow nor warm water spoils a day, the two
// taken as independent.
func unspoiled(flow, warm Odds) float64 {
	p := 1.0
	for _, o := range []Odds{flow, warm} {
		if !o.Known {
			o.P = max(o.P, unknownCounts)
		}
		p *= 1 - o.P
	}
	return p
}
