package main

import (
	"fmt"
	"math"
	"time"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/watertemp"
)

// warmDays is how many days the chance of warm water is given for: as far as
// weather forecasts reach.
const warmDays, warmMembers = 16, 200

func (c waterCmd) ofRiver(e *env) (*waterFit, error) {
	cfg, err := configFlag{c.Config}.load()
	if err != nil {
		return nil, err
	}
	rivers, err := app.Rivers(cfg, []string{c.River})
	if err != nil {
		return nil, app.Usage(err)
	}
	r := rivers[0]
	at, err := app.IssueTime(r, c.IssueDate, e.now())
	if err != nil {
		return nil, app.Usage(err)
	}
	store, err := series.Open(e.ctx, cfg.StoreURL(), series.ReadOnly())
	if err != nil {
		return nil, fmt.Errorf("%w; run eclose ingest first", err)
	}
	defer store.Close() //nolint:errcheck // it was only read
	rec, err := forecast.Gather(e.ctx, store, r, at)
	if err != nil {
		return nil, err
	}
	f := &waterFit{name: r.Name, in: rec.WaterInput(), fahrenheit: cfg.Units == "us"}
	if air := knownDays(f.in.Air); air < leastAir {
		return nil, fmt.Errorf("%s: only %d of %d days of air temperature stored (%d missing); add [river.weather] and run eclose ingest", r.Name, air, leastAir, leastAir-air)
	}
	f.cut = f.checkFrom()
	if c.FitUntil != "" {
		if f.cut, err = c.fitUntil(); err != nil {
			return nil, err
		}
		if err := c.within(f); err != nil {
			return nil, err
		}
	}
	began := e.now()
	f.model, f.report, err = watertemp.Evaluate(f.in, f.cut, watertemp.Options{Seed: c.Seed, Donor: rec.Donor})
	if little, ok := tooLittle(err); ok {
		err = f.fallBack(e, store, r, at, little)
	}
	f.seconds = e.now().Sub(began).Seconds()
	if err != nil {
		return nil, err
	}
	return f, f.warmWater(rec, at, c.Seed)
}

const (
	// checkDays is how many of the newest days are kept from the fit by default.
	checkDays = 365
	// leastAir is how many days of air a model needs that was fitted elsewhere.
	leastAir = 300
)

// checkFrom is the day from which on nothing is fitted: the last year of the record,
// or the last third of the readings if too few would be left without that year.
func (f *waterFit) checkFrom() int {
	last := f.in.Day0 + len(f.in.Air) - checkDays
	if watertemp.Enough(f.in.Until(last)) == nil {
		return last
	}
	fitted, readings := 0, knownDays(f.in.Water)
	for i, w := range f.in.Water {
		if !math.IsNaN(w) {
			fitted++
		}
		if day := f.in.Day0 + i; 3*fitted > 2*readings && watertemp.Enough(f.in.Until(day)) == nil {
			return day
		}
	}
	return last
}

func knownDays(v []float64) (n int) {
	for _, x := range v {
		if !math.IsNaN(x) {
			n++
		}
	}
	return n
}

// fallBack takes the prior, and a river near by, for a record that is too short.
func (f *waterFit) fallBack(e *env, store *series.Store, r forecast.River, at time.Time, little *watertemp.TooLittleError) error {
	donor, donorName, err := forecast.FindDonor(e.ctx, store, r, r.Near, at)
	if err != nil {
		return err
	}
	f.useRegional(little, donor, donorName)
	if donorName == "" {
		f.fallback += " Using what is known of rivers similar in air and flow; no configured river within 150 km has its own model."
	}
	return nil
}

// warmWater forecasts warm water by a model of all that is known, as an outlook
// does.
func (f *waterFit) warmWater(rec forecast.Record, at time.Time, seed uint64) error {
	m, err := watertemp.Fit(f.in, watertemp.Options{Seed: seed, Donor: rec.Donor})
	if _, ok := tooLittle(err); ok {
		m = f.best
	} else if err != nil {
		return fmt.Errorf("water model of %s: %w", f.name, err)
	}
	f.warm = rec.Warm(&m, warmDays, warmMembers)
	if f.warm != nil {
		_, f.fishToday = forecast.FishToday(rec.WaterNow, at, f.warm[0].MaxP50C)
	}
	return nil
}
