package main

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/forecast"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/ghcn"
	"example.org/eclose/ingest/series"
	"example.org/eclose/ingest/warning"
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
	if err := x.warnings(s, c); err != nil {
		return err
	}
	if err := x.floodStages(s, c, r); err != nil {
		return err
	}
	rec, err := forecast.Gather(x.e.ctx, s, r, x.e.now())
	if err != nil {
		x.add(bad, c.Slug, "No forecast is issued for it.", "%v", err)
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
		x.add(bad, c.Slug+", caution", "No email will report good conditions; pages and email will say the caution level is unknown.",
			"unknown: %s", strings.Join(a.Unknowns, "; "))
	} else {
		x.add(good, c.Slug+", caution", "", "known, from the latest gauge reading. Local notices take precedence")
	}
	return nil
}

// costs is what the forecast does without a variable.
var costs = map[ingest.Variable]string{
	ingest.WaterTemperature: "Without it water temperature is modelled from air, with a larger error and wider date ranges.",
	ingest.Discharge:        "Without it the caution level is unknown.",
	ingest.GaugeHeight:      "Without it a rise cannot be detected at a gauge that has no flow.",
}

func (x *exam) fresh(s *series.Store, keys []ingest.Key, river, feed, site string, v ingest.Variable) error {
	what := fmt.Sprintf("%s, %s %s, %s", river, feed, site, strings.ReplaceAll(string(v), "_", " "))
	var newest time.Time
	daily := true
	for _, k := range keys {
		if k.Feed != feed || k.Site != site || k.Variable != v {
			continue
		}
		last, err := x.lastValue(s, k)
		if err != nil {
			return fmt.Errorf("looking how fresh %s is: %w", k, err)
		}
		if last.After(newest) {
			newest = last
		}
		daily = daily && k.Period == ingest.Daily
	}
	age := x.e.now().Sub(newest)
	stale := staleAfter
	if daily {
		stale = staleDaily
	}
	reported := fmt.Sprintf("newest reading %s, %s old", newest.UTC().Format("2006-01-02 15:04 UTC"), spoken(age))
	switch {
	case newest.IsZero():
		x.add(bad, what, costs[v]+" Run eclose ingest. If the gauge does not measure this, remove it from the config or use another gauge.", "no data stored")
	case age > stale:
		x.add(bad, what, costs[v], "%s", reported)
	case age > lateReading && !daily:
		x.add(noted, what, "", "%s", reported)
	default:
		x.add(good, what, "", "%s", reported)
	}
	return nil
}

// lastValue is the time of the newest value of a series. Readings that the agency reports as
// missing do not count: a sensor that sends only those tells nothing. The time is zero if
// there is no value in the last year.
func (x *exam) lastValue(s *series.Store, k ingest.Key) (time.Time, error) {
	info, err := s.Info(x.e.ctx, k)
	if err != nil {
		return time.Time{}, err
	}
	to := info.Last.Add(time.Microsecond)
	for _, days := range []int{7, 365} {
		got, err := s.Read(x.e.ctx, k, series.Query{From: to.AddDate(0, 0, -days), To: to})
		if err != nil {
			return time.Time{}, err
		}
		for i, v := range slices.Backward(got.Value) {
			if !math.IsNaN(v) {
				return time.UnixMicro(got.Time[i]).UTC(), nil
			}
		}
	}
	return time.Time{}, nil
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
	says := fmt.Sprintf("%d of the %d days with water and air temperature that the model needs", both, need)
	if both > need {
		says = fmt.Sprintf("%d days with water and air temperature; the model needs %d", both, need)
	}
	switch {
	case !tooShort && both < watertemp.WholeYear:
		x.add(noted, what, "With less than a year of data, the rest is borrowed from similar rivers; each month improves it.", "%s", says)
	case !tooShort:
		x.add(good, what, "", "%s", says)
	case c.Weather != nil && knownDays(rec.Air) >= leastAir:
		x.add(noted, what, "It gets its own model once they are in; until then "+standIn(rec), "%s", says)
	case c.Weather == nil:
		x.add(bad, what, "No weather configured: the forecast shifts past seasons' water temperature by today's anomaly and, further ahead, is no better than the calendar. Add [river.weather].", "%s", says)
	case water > 0:
		x.add(bad, what, "The forecast relies on past water temperature only. If the gauge has a longer record, raise backfill-years and run eclose ingest --refetch.", "%s", says)
	default:
		x.add(bad, what, "No water data: the forecast is the calendar only.", "%s", says)
	}
}

// logger is how many days a cheap logger is thought to hang in the water.
const logger = 60

// standIn says what stands in for a river's own model, and what a logger would gain.
func standIn(rec forecast.Record) string {
	in := rec.WaterInput()
	m := watertemp.Prior(rec.Donor).At(in)
	says := "it relies on rivers similar in air and flow"
	if m.FromDonor {
		says += ", adjusted partly towards " + rec.DonorName
	}
	says += fmt.Sprintf(" (expected error %.1f °C).", m.Error.SD)
	// The coming two months, by their dates of a year ago.
	from := max(0, len(in.Air)-watertemp.WholeYear)
	with := m.WithReadings(in, from, min(from+logger, len(in.Air)))
	switch {
	case math.IsNaN(with):
		return says + " A year of flow readings would tell which rivers are similar."
	case with > m.Error.SD-0.05:
		return says
	}
	return says + fmt.Sprintf(" A cheap temperature logger left in the water for the next two months would cut that to %.1f °C.", with)
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
		x.add(bad, what, "The water model cannot be fitted. Run eclose ingest.", "no data stored")
	case gap > int(staleDaily.Hours()/24):
		x.add(bad, what, "Days since then are filled from past years, so date ranges are wider.", "the newest day is %d days ago", gap+1)
	default:
		x.add(good, what, "", "the latest complete day is %d days old", gap+1)
	}
	if c.Weather.Feed == ghcn.FeedName && strings.HasPrefix(c.Weather.Site, "USC") {
		x.add(noted, fmt.Sprintf("%s, station %s", c.Slug, c.Weather.Site), "Morning readings record the previous day's maximum, so degree-days run a day late. Prefer a nearby station whose ID starts with USW.",
			"volunteer station, often read in the morning")
	}
	what = fmt.Sprintf("%s, weather ahead of %s", c.Slug, c.Weather.Feed)
	if len(rec.AirAhead) == 0 {
		x.add(bad, what, "Without a weather forecast the next two weeks use past years' weather and are as uncertain as later ones.", "no weather forecast from today")
		return
	}
	x.add(good, what, "", "%d members, %d days", len(rec.AirAhead), len(rec.AirAhead[0]))
}

// spoken is an age for people.
func spoken(d time.Duration) string {
	switch {
	case d < 0:
		return "dated in the future"
	case d >= 48*time.Hour:
		return fmt.Sprintf("%.0f days", d.Hours()/24)
	case d >= 2*time.Hour:
		return fmt.Sprintf("%.0f hours", d.Hours())
	}
	return fmt.Sprintf("%.0f minutes", d.Minutes())
}

// warnings says which service warns at a river, and what it last said.
func (x *exam) warnings(s *series.Store, c config.River) error {
	what := c.Slug + ", official warnings"
	name, place, byPlace := x.cfg.WarningsOf(c)
	if name == "" {
		if c.Warnings.Feed == config.NoWarnings {
			x.add(noted, what, "Floods and thunder are judged without official warnings.", "switched off in the config")
		} else {
			x.add(noted, what, "Set feed in [river.warnings], and zone, if a service warns there. Without one floods and thunder are judged without official warnings.", "unknown service for this place")
		}
		return nil
	}
	who := fmt.Sprintf("%s (%s)", name, sources.AboutWarnings(name))
	if place.Country != "" && name == "meteoalarm" {
		who += " of " + place.Country
		if len(place.Zones) == 0 {
			x.add(noted, what+", zones", "Set zones in [river.warnings]: the codes are in the feed. Without them a warning without a polygon makes the caution unknown.", "the river's zones are not set")
		}
	}
	if byPlace {
		who += ", chosen by place"
	}
	r, err := warning.Load(x.e.ctx, s.Files(), c.Slug)
	if err != nil {
		return err
	}
	const costs = "The caution level is unknown, and no email reports good conditions."
	switch now := x.e.now(); {
	case r.Feed != name || r.Tried.IsZero():
		x.add(noted, what, costs+" Run eclose ingest or eclose serve.", "%s: not fetched yet", who)
	case r.Problem != "":
		x.add(bad, what, costs, "%s: failed %s ago: %s", who, spoken(now.Sub(r.Tried)), r.Problem)
	case !r.Known(now):
		x.add(bad, what, costs+" Run eclose serve, or eclose ingest more often.", "%s: last read %s ago", who, spoken(now.Sub(r.Fetched)))
	default:
		x.add(good, what, "", "%s: %d in force, read %s ago", who, len(r.InForce(now)), spoken(now.Sub(r.Fetched)))
	}
	return nil
}
