package main

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/ghcn"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
	"example.org/eclose/model/watertemp"
)

// When a series counts as late; our own defaults. Agencies hold their gauges
// to hours; daily values and past weather come days after.
const (
	lateReading = 6 * time.Hour
	staleAfter  = 48 * time.Hour
	staleDaily  = 10 * 24 * time.Hour
)

// river looks at what one river's forecast is made of.
func (x *exam) river(s *series.Store, keys []ingest.Key, c config.River, r forecast.River) error {
	for _, g := range c.Gauges {
		site, err := sources.Site(g)
		if err != nil {
			x.add(bad, c.Slug, "Correct site in the config.", "%v", err)
			continue
		}
		for _, v := range g.Variables {
			if err := x.fresh(s, keys, c.Slug, g.Feed, site, ingest.Variable(v)); err != nil {
				return err
			}
		}
	}
	rec, err := forecast.Gather(x.e.ctx, s, r, x.e.now())
	if err != nil {
		x.add(bad, c.Slug, "No outlook is issued for it.", "%v", err)
		return nil
	}
	x.water(c, rec)
	x.weather(c, rec)
	in, err := forecast.CautionInput(x.e.ctx, s, r, x.e.now())
	if err != nil {
		x.add(bad, c.Slug+", caution", "The caution is unknown.", "%v", err)
		return nil
	}
	if a := wading.Assess(in); !a.Known {
		x.add(bad, c.Slug+", caution", "No mail says that conditions are good, and each page and mail carries an unknown caution.",
			"unknown: %s", strings.Join(a.Unknowns, "; "))
	} else {
		x.add(good, c.Slug+", caution", "", "known, from what the gauge said last. Local notices overrule it")
	}
	return nil
}

// costs is what the forecast does without a variable.
var costs = map[ingest.Variable]string{
	ingest.WaterTemperature: "Without it the water is worked out from the air, with a larger error; the windows widen.",
	ingest.Discharge:        "Without it the caution is unknown.",
	ingest.GaugeHeight:      "Without it a rise at a gauge without flow is not seen.",
}

func (x *exam) fresh(s *series.Store, keys []ingest.Key, river, feed, site string, v ingest.Variable) error {
	what := fmt.Sprintf("%s, %s %s, %s", river, feed, site, strings.ReplaceAll(string(v), "_", " "))
	var newest time.Time
	daily := true
	for _, k := range keys {
		if k.Feed != feed || k.Site != site || k.Variable != v {
			continue
		}
		info, err := s.Info(x.e.ctx, k)
		if err != nil {
			return fmt.Errorf("looking how fresh %s is: %w", k, err)
		}
		if info.Last.After(newest) {
			newest = info.Last
		}
		daily = daily && k.Period == ingest.Daily
	}
	age := x.e.now().Sub(newest)
	stale := staleAfter
	if daily {
		stale = staleDaily
	}
	said := fmt.Sprintf("newest reading %s, %s old", newest.UTC().Format("2006-01-02 15:04 UTC"), spoken(age))
	switch {
	case newest.IsZero():
		x.add(bad, what, costs[v]+" Run eclose ingest; where the gauge does not measure it, take it out of the config or name another gauge.", "nothing is stored")
	case age > stale:
		x.add(bad, what, costs[v], "%s", said)
	case age > lateReading && !daily:
		x.add(noted, what, "", "%s", said)
	default:
		x.add(good, what, "", "%s", said)
	}
	return nil
}

// water says whether the river has a water model, and what stands in for it.
func (x *exam) water(c config.River, rec forecast.Record) {
	both, water := 0, 0
	for i, w := range rec.Water {
		if math.IsNaN(w) {
			continue
		}
		water++
		if !math.IsNaN(rec.Air[i]) {
			both++
		}
	}
	what := c.Slug + ", water model"
	need := watertemp.MinDays
	short, tooShort := errors.AsType[*watertemp.TooLittleError](watertemp.Enough(rec.WaterInput()))
	if tooShort {
		both, need = short.Have, short.Need // the first days of air do not count
	}
	says := fmt.Sprintf("%d days with water and air, of %d that a model needs", both, need)
	switch {
	case !tooShort && both < watertemp.WholeYear:
		x.add(noted, what, "What part of a year does not tell is taken from rivers of such air and flow; each month makes it better.", "%s", says)
	case !tooShort:
		x.add(good, what, "", "%s", says)
	case rec.Donor != nil:
		x.add(noted, what, "Its own model comes when they are there; until then the one of "+rec.DonorName+" is lent.", "%s", says)
	case c.Weather == nil:
		x.add(bad, what, "No weather is named: the outlook moves the water of past seasons by today's departure from them, and far ahead is no better than the calendar. Name [river.weather].", "%s", says)
	case water > 0:
		x.add(bad, what, "The outlook leans on past seasons of the water alone. Raise backfill-years and run eclose ingest --again, if the gauge has more.", "%s", says)
	default:
		x.add(bad, what, "Nothing of the water is known: the outlook is the calendar's.", "%s", says)
	}
}

// weather looks at the air behind and ahead.
func (x *exam) weather(c config.River, rec forecast.Record) {
	if c.Weather == nil {
		return // water has said so
	}
	last := -1
	for i, a := range rec.Air {
		if !math.IsNaN(a) {
			last = i
		}
	}
	what := fmt.Sprintf("%s, past weather of %s", c.Slug, c.Weather.Feed)
	gap := len(rec.Air) - 1 - last
	switch {
	case last < 0:
		x.add(bad, what, "No water model can be fitted. Run eclose ingest.", "nothing is stored")
	case gap > int(staleDaily.Hours()/24):
		x.add(bad, what, "The days since are filled by past years: the windows widen.", "the newest day is %d days ago", gap+1)
	default:
		x.add(good, what, "", "the newest whole day is %d days ago", gap+1)
	}
	if c.Weather.Feed == ghcn.FeedName && strings.HasPrefix(c.Weather.Site, "USC") {
		x.add(noted, fmt.Sprintf("%s, station %s", c.Slug, c.Weather.Site), "A maximum that is read in the morning is the day before's: degree-days come a day late. Take a station whose number begins with USW, if one is near.",
			"volunteers read it, often in the morning")
	}
	what = fmt.Sprintf("%s, weather ahead of %s", c.Slug, c.Weather.Feed)
	if len(rec.AirAhead) == 0 {
		x.add(bad, what, "The days ahead are those of past years: the next two weeks are as uncertain as the ones after.", "no forecast of today is stored")
		return
	}
	x.add(good, what, "", "%d members, %d days", len(rec.AirAhead), len(rec.AirAhead[0]))
}

// spoken is an age for people.
func spoken(d time.Duration) string {
	switch {
	case d < 0:
		return "from the future, less than no time"
	case d >= 48*time.Hour:
		return fmt.Sprintf("%.0f days", d.Hours()/24)
	case d >= 2*time.Hour:
		return fmt.Sprintf("%.0f hours", d.Hours())
	}
	return fmt.Sprintf("%.0f minutes", d.Minutes())
}
