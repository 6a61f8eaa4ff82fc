package series

import (
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// DayRule says what makes a local day of readings.
type DayRule struct {
	// Zone is where the days begin and end; nil means UTC. Daily values are not
	// moved: their date is the agency's.
	Zone *time.Location
	// Slot is the grain of the completeness rule; 0 means an hour. Take the step
	// of the series if it is longer than that.
	Slot time.Duration
	// MinShare is the share of a day's slots in which a reading must have come
	// for the day to be complete; 0 means DefaultMinShare.
	MinShare float64
	// Unchecked lets readings in which no check has looked at (flag 2).
	Unchecked bool
}

// DefaultMinShare asks for readings in 20 of the 24 hours of a day. It is our
// own default: with four hours missing, the mean of a river's day of 5 °C
// between minimum and maximum is off by at most some 0.6 °C.
const DefaultMinShare = 20.0 / 24

// Day sums up the readings of one local day that may be used: those flagged
// pass and suspect (and not evaluated, if the rule lets them in) with a value.
// All of Mean, Min, Max and Sum are in the unit of the variable.
type Day struct {
	Date      time.Time // 00:00 UTC of the calendar date
	Mean      float64   // of the readings, each counting the same
	Min, Max  float64
	Sum       float64
	Count     int     // readings that entered
	Suspect   int     // how many of them are suspect
	Share     float64 // slots with a reading over slots of the day, 0 to 1
	Complete  bool    // Share reaches the rule's MinShare
	Retrieved int64   // the latest retrieval among them, µs since 1970 UTC; 0 if not known
}

// Daily reads a series and sums it up by local days. Days without a reading
// that may be used are left out. It holds one file at a time in memory.
func (s *Store) Daily(ctx context.Context, key ingest.Key, q Query, rule DayRule) ([]Day, error) {
	g, err := newGatherer(key, rule)
	if err != nil {
		return nil, err
	}
	if err := s.daily(ctx, key, q, g); err != nil {
		return nil, err
	}
	return g.finish(), nil
}

// daily feeds the gatherer file by file.
func (s *Store) daily(ctx context.Context, key ingest.Key, q Query, g *gatherer) error {
	return s.scan(ctx, key, q, colValue|colFlag|colRetrieved, func(piece ingest.Series) error {
		g.add(piece.Time, piece.Value, piece.Flag, piece.Retrieved)
		return nil
	})
}

// Days sums up the readings of one series, which is in memory already, by
// local days. A series without flags counts as not evaluated.
func Days(one ingest.Series, rule DayRule) ([]Day, error) {
	if err := one.Check(); err != nil {
		return nil, err
	}
	g, err := newGatherer(one.Key, rule)
	if err != nil {
		return nil, err
	}
	g.add(one.Time, one.Value, one.Flag, one.Retrieved)
	return g.finish(), nil
}

// gatherer adds up readings that come in order of time.
type gatherer struct {
	rule  DayRule
	slot  int64 // µs
	dated bool  // the readings are daily values: their UTC date is the date
	ends  bool  // a reading stands for the stretch that ends at its time
	days  []Day

	// The day being filled:
	open     bool
	from, to int64 // µs since 1970 UTC
	slotEnd  int64 // of the slot of the last reading
	slots    int   // of the day that have a reading
}

func newGatherer(key ingest.Key, rule DayRule) (*gatherer, error) {
	if rule.Zone == nil {
		rule.Zone = time.UTC
	}
	if rule.Slot == 0 {
		rule.Slot = time.Hour
	}
	if rule.MinShare == 0 {
		rule.MinShare = DefaultMinShare
	}
	if rule.Slot < time.Minute || rule.Slot > 24*time.Hour {
		return nil, fmt.Errorf("summing up %s by days: a slot of %s is not between a minute and a day", key, rule.Slot)
	}
	if !(rule.MinShare > 0 && rule.MinShare <= 1) {
		return nil, fmt.Errorf("summing up %s by days: a share of %g is not between 0 and 1", key, rule.MinShare)
	}
	if daily(key.Period) && key.Period != ingest.Daily {
		return nil, errors.New("summing up " + key.String() + " by days: its readings are longer than a day")
	}
	return &gatherer{
		rule: rule, slot: rule.Slot.Microseconds(),
		dated: key.Period == ingest.Daily,
		ends:  strings.HasPrefix(key.Period, "PT"),
	}, nil
}

// add takes in readings later than all before. flag may be nil, and so may
// retrieved.
func (g *gatherer) add(at []int64, value []float64, flag []ingest.Flag, retrieved []int64) {
	admit := [256]bool{ingest.Pass: true, ingest.Suspect: true}
	if g.rule.Unchecked {
		admit[ingest.NotEvaluated], admit[0] = true, true
	}
	for i, t := range at {
		f := ingest.NotEvaluated
		if len(flag) > 0 {
			f = flag[i]
		}
		v := value[i]
		if !admit[f] || math.IsNaN(v) {
			continue
		}
		if g.ends {
			t-- // the hour that ends at midnight belongs to the day before
		}
		if !g.open || t >= g.to {
			g.close()
			g.begin(t)
		}
		d := &g.days[len(g.days)-1]
		d.Count++
		d.Sum += v
		d.Min, d.Max = min(d.Min, v), max(d.Max, v)
		if f == ingest.Suspect {
			d.Suspect++
		}
		if len(retrieved) > 0 {
			d.Retrieved = max(d.Retrieved, retrieved[i])
		}
		if t >= g.slotEnd {
			g.slotEnd = g.from + ((t-g.from)/g.slot+1)*g.slot
			g.slots++
		}
	}
}

// begin opens the day that holds t.
func (g *gatherer) begin(t int64) {
	zone := g.rule.Zone
	if g.dated {
		zone = time.UTC
	}
	date := dateOf(t, zone)
	if g.from, g.to = firstInstant(date, zone), firstInstant(date+1, zone); t >= g.to {
		date++ // the clocks were put back across midnight
		g.from, g.to = g.to, firstInstant(date+1, zone)
	}
	g.days = append(g.days, Day{Date: time.Unix(date*86400, 0).UTC(), Min: math.Inf(1), Max: math.Inf(-1)})
	g.open, g.slotEnd, g.slots = true, g.from, 0
}

func (g *gatherer) close() {
	if !g.open {
		return
	}
	d := &g.days[len(g.days)-1]
	d.Mean = d.Sum / float64(d.Count)
	d.Share = float64(g.slots) / float64((g.to-g.from+g.slot-1)/g.slot)
	if g.dated {
		d.Share = 1 // the agency has judged
	}
	d.Complete = d.Share >= g.rule.MinShare
	g.open = false
}

func (g *gatherer) finish() []Day {
	g.close()
	return g.days
}

// firstInstant is when a calendar date, given as days since 1970, begins in a
// zone: the earliest instant at which the clocks there show that date or a
// later one, in µs since 1970 UTC. Clocks that are put forward across midnight
// begin the day at the change; where they are put back across it, the hour
// that comes twice belongs to the new day, so that every day is one stretch.
func firstInstant(date int64, zone *time.Location) int64 {
	midnight := date * 86400 // as if the zone were UTC
	// No zone was ever 26 hours from UTC, so the date has not begun here yet.
	at := time.Unix(midnight, 0).Add(-26 * time.Hour).In(zone)
	for {
		start, end := at.ZoneBounds()
		if !end.IsZero() && !end.After(at) {
			// Go 1.26 ends a leap year a day early where the zone's file holds a rule
			// in place of a list of changes, as the one built into the program does.
			end = at.Add(24 * time.Hour)
		}
		_, offset := at.Zone()
		begin := midnight - int64(offset)
		if !start.IsZero() {
			begin = max(begin, start.Unix())
		}
		if end.IsZero() || begin < end.Unix() {
			return begin * 1e6
		}
		at = end
	}
}

// dateOf is the date that clocks in a zone show, as days since 1970.
func dateOf(t int64, zone *time.Location) int64 {
	at := floorDiv(t, 1e6)
	_, offset := time.Unix(at, 0).In(zone).Zone()
	return floorDiv(at+int64(offset), 86400)
}

func floorDiv(a, b int64) int64 {
	q := a / b
	if a%b < 0 {
		q--
	}
	return q
}
