package schedule

import (
	"context"
	"fmt"
	"sync"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/qc"
	"example.org/eclose/ingest/series"
)

// Climates remembers what to expect of a series on each day of the year, so
// that not every pass reads its years again. The zero value is ready.
type Climates struct {
	mu sync.Mutex
	by map[ingest.Key]learnt
}

type learnt struct {
	c  *qc.Climatology
	at time.Time
}

// learntFor is how long it is held to be true; our own default.
const learntFor = 30 * 24 * time.Hour

// climateMargin is the least by which the span of past values is widened, °C;
// our own default. Only temperatures are judged by the season: a flood is news
// and no fault.
var climateMargin = map[ingest.Variable]float64{ingest.WaterTemperature: 2, ingest.AirTemperature: 5}

// climateStep is how many readings of a day are looked at: enough for its lowest
// and highest.
const climateStep = 3 * time.Hour

// of is the climatology of a stored series; nil where it is too short.
func (m *Climates) of(ctx context.Context, store *series.Store, key ingest.Key, now time.Time) (*qc.Climatology, error) {
	margin, judged := climateMargin[key.Variable]
	if !judged {
		return nil, nil
	}
	m.mu.Lock()
	l, ok := m.by[key]
	m.mu.Unlock()
	if ok && now.Sub(l.at).Abs() < learntFor {
		return l.c, nil
	}
	var past ingest.Series
	err := store.Scan(ctx, key, series.Query{}, func(s ingest.Series) error {
		thinInto(&past, s)
		return nil
	})
	if err != nil {
		return nil, fmt.Errorf("learning the seasons of %s: %w", key, err)
	}
	c := qc.ClimatologyOf(past, margin)
	m.keep(key, c, now)
	return c, nil
}

func (m *Climates) keep(key ingest.Key, c *qc.Climatology, now time.Time) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.by == nil {
		m.by = map[ingest.Key]learnt{}
	}
	m.by[key] = learnt{c, now}
}

// thinInto adds the first usable reading of each climateStep of s to out.
func thinInto(out *ingest.Series, s ingest.Series) {
	step := climateStep.Microseconds()
	for i, f := range s.Flag {
		if !qc.UsableFlag(f) {
			continue
		}
		if n := len(out.Time); n > 0 && out.Time[n-1]/step == s.Time[i]/step {
			continue
		}
		out.Time, out.Value = append(out.Time, s.Time[i]), append(out.Value, s.Value[i])
	}
}

// judge checks a series. One that is new has no season to be held against: then
// its own usable readings tell it, and it is checked again.
func (in Intake) judge(ctx context.Context, s ingest.Series, x qc.Context) (ingest.Series, error) {
	m, now := in.Climates, in.Now()
	if m == nil {
		m = &Climates{}
	}
	conf := qc.Default(s.Variable, s.Period)
	var err error
	if x.Climatology, err = m.of(ctx, in.Store, s.Key, now); err != nil {
		return s, err
	}
	s, _ = qc.Check(s, conf, x)
	margin, judged := climateMargin[s.Variable]
	if x.Climatology != nil || !judged || s.Len() == 0 || s.At(s.Len()-1).Sub(s.At(0)) < (qc.FewestYears-1)*365*24*time.Hour {
		return s, nil
	}
	var past ingest.Series
	thinInto(&past, s)
	if x.Climatology = qc.ClimatologyOf(past, margin); x.Climatology != nil {
		s, _ = qc.Check(s, conf, x)
		m.keep(s.Key, x.Climatology, now)
	}
	return s, nil
}
