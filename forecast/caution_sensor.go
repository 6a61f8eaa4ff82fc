package forecast

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/qc"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
)

// lookBack is how far back the last reading of a sensor is looked for: one that
// was silent for longer counts as taken away. Our own default.
const lookBack = 30 * 24 * time.Hour

// clockAhead is how far ahead readings are looked for that cannot have been taken
// yet: then the gauge's clock is wrong, and what looks fresh is old. A gauge reads
// all the time, so a clock that is wrong by more shows within a day, too; a single
// line dated years ahead does not count. Our own default.
const clockAhead = 24 * time.Hour

// sensor is the last reading of one series of a gauge, and the readings before it
// with it, oldest first.
type sensor struct {
	last wading.Reading
	past []wading.Past
}

// sensors takes the last reading of each series of a variable, whatever its flag:
// one that failed its checks is doubted, not passed over for an older one. The
// freshest series comes first. Daily means count only where the gauge has nothing
// finer: they must not stand in for a sensor that fell silent.
func (g *gatherer) sensors(s FeedSite, v ingest.Variable) (out []sensor, err error) {
	for _, k := range g.of(s, v) {
		if k.Statistic != ingest.Instant && k.Statistic != ingest.Mean {
			continue
		}
		q := g.query()
		q.From = g.issue.Add(-lookBack - wading.PastSpan)
		if g.asOf && k.Period != ingest.Daily {
			q.To = g.issue.Add(clockAhead)
		}
		got, err := g.store.Read(g.ctx, k, q)
		if errors.Is(err, series.ErrNotFound) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("reading %s: %w", k, err)
		}
		if x, ok := g.sensorOf(got); ok {
			out = append(out, x)
		}
	}
	if slices.ContainsFunc(out, func(x sensor) bool { return !x.last.Daily }) {
		out = slices.DeleteFunc(out, func(x sensor) bool { return x.last.Daily })
	}
	sort.SliceStable(out, func(i, j int) bool { return cmp.Compare(out[i].last.Age.Abs(), out[j].last.Age.Abs()) < 0 })
	return out, nil
}

// sensorOf is a series as a sensor; false where it has been silent for long.
func (g *gatherer) sensorOf(got ingest.Series) (x sensor, ok bool) {
	daily := got.Period == ingest.Daily
	last, word := -1, ""
	for i, v := range got.Value {
		if math.IsNaN(v) {
			if got.Qualifier != nil && !nothing[strings.ToLower(got.Qualifier[i])] {
				word = got.Qualifier[i]
			}
			continue
		}
		age := g.issue.Sub(got.At(i))
		if daily {
			age = max(0, age-24*time.Hour) // the value stands for the day that ends then
		}
		x.past = append(x.past, wading.Past{Age: age, Value: v})
		last, word = i, ""
	}
	if last < 0 || x.past[len(x.past)-1].Age > lookBack {
		return x, false
	}
	x.last = wading.Reading{Value: got.Value[last], Age: x.past[len(x.past)-1].Age, Present: true, Daily: daily, Doubt: doubt(got, last)}
	if word != "" && x.last.Doubt == "" {
		x.last.Doubt = fmt.Sprintf("the gauge sends %q instead of a newer one", word)
	}
	return x, true
}

// nothing are the words that gauges send for a value that is missing and that give
// no reason to doubt the one before.
var nothing = map[string]bool{"": true, "nan": true, "na": true, "n": true, "null": true, "none": true, "m": true, "missing": true, "-": true, "--": true}

// doubt says why a reading must not be trusted by its qualifier and flag. Of the
// suspect ones those count that may hide high water.
func doubt(s ingest.Series, i int) string {
	var flag ingest.Flag
	test := ""
	if s.Flag != nil {
		flag, test = s.Flag[i], s.FlagTest[i]
	}
	water := s.Variable == ingest.Discharge || s.Variable == ingest.GaugeHeight
	qualifier := ""
	if s.Qualifier != nil {
		qualifier = s.Qualifier[i]
	}
	switch {
	case strings.Contains(qualifier, ingest.TwoValues):
		return ingest.TwoValues
	case flag == ingest.Fail:
		return "failed check " + test
	case flag == ingest.Suspect && water && (test == qc.TestIce || test == qc.TestSpike || test == qc.TestRate):
		return "suspect by check " + test
	case strings.Contains(strings.ToUpper(qualifier), "ICE"):
		return "ice"
	}
	return ""
}
