package insects

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
)

// setters turn the text of one fact into a typed value of the group. A field
// that is not here does not exist.
var setters = map[string]func(*Group, Fact) error{
	"kind": func(g *Group, f Fact) error {
		g.Kind = Kind(f.Value)
		return oneOf(f.Value, string(Single), string(Brood), string(Parent), string(Continuous))
	},
	"parent": text(func(g *Group) *string { return &g.ParentKey }),
	"order":  text(func(g *Group) *string { return &g.Order }),
	"family": list(func(g *Group) *[]string { return &g.Family }),
	"genera": list(func(g *Group) *[]string { return &g.Genera }),
	"species": list(func(g *Group) *[]string {
		return &g.Species
	}),
	"confidence": func(g *Group, f Fact) error {
		g.Confidence = f.Value
		return oneOf(f.Value, "low", "medium", "high")
	},
	"ref_region": func(g *Group, f Fact) (err error) {
		g.RefRegion, err = ParseRegion(f.Value)
		return err
	},
	"base_temp_c":   number(-5, 20, func(g *Group) *float64 { return &g.BaseTempC }),
	"upper_temp_c":  number(5, 45, func(g *Group) *float64 { return &g.UpperTempC }),
	"generation_dd": number(1, 10000, func(g *Group) *float64 { return &g.Generation }),
	"biofix": func(g *Group, f Fact) (err error) {
		if f.Value == "none" {
			g.BiofixDoy = 0
			return nil
		}
		g.BiofixDoy, err = parseMonthDay(f.Value)
		return err
	},
	"dd50": func(g *Group, f Fact) error {
		t := g.thermal(f.Region)
		t.origin = f
		if err := parseNumber(f.Value, 1, 10000, &t.dd50); err != nil {
			return err
		}
		return parseSpread(f, 0.01, 2, &t.cv)
	},
	"dd_spread": func(g *Group, f Fact) error {
		return parseNumber(f.Value, 1, 5000, &g.thermal(f.Region).spread)
	},
	"dd_weight": func(g *Group, f Fact) error {
		w, sd := &g.DDWeight, &g.DDWeightSD
		if f.Region != "" {
			t := g.thermal(f.Region)
			w, sd = &t.weight, &t.weightSD
		}
		if err := parseNumber(f.Value, 0, 1, w); err != nil {
			return err
		}
		return parseSpread(f, 0, 1, sd)
	},
	"photoperiod": func(g *Group, f Fact) error {
		kind, hours, _ := strings.Cut(f.Value, " ")
		g.Photoperiod = PhotoperiodRule{Kind: kind}
		switch kind {
		case "none", "season":
			if hours != "" {
				return fmt.Errorf("%q cannot have hours", kind)
			}
			return nil
		case "falling", "rising":
			if err := parseNumber(strings.TrimSuffix(hours, " h"), 0, 24, &g.Photoperiod.MedianHours); err != nil {
				return err
			}
			return parseSpread(f, 0, 6, &g.Photoperiod.SDHours)
		}
		return fmt.Errorf("%q is not a day-length rule; write none, season, or e.g. falling 12.1 h", f.Value)
	},
	"window.emergence":        window(Emergence),
	"window.egg-laying":       window(EggLaying),
	"emerge_min_c":            number(-1, 35, func(g *Group) *float64 { return &g.EmergeMinC }),
	"emerge_max_c":            number(0, 40, func(g *Group) *float64 { return &g.EmergeMaxC }),
	"onset_water_c":           number(0, 35, func(g *Group) *float64 { return &g.OnsetWaterC }),
	"onset_air_c":             number(-10, 45, func(g *Group) *float64 { return &g.OnsetAirC }),
	"adult_life_days":         adultLife,
	"maturation_days":         maturation,
	"emergence_site":          site,
	"oviposition":             oviposition,
	"fishable.emergence":      fishable(Emergence),
	"fishable.egg-laying":     fishable(EggLaying),
	"hours.emergence":         hours(Emergence),
	"hours.egg-laying":        hours(EggLaying),
	"presentation.emergence":  presentation(Emergence),
	"presentation.egg-laying": presentation(EggLaying),
	"habitat":                 habitat,
	"worth.emergence":         worth(Emergence),
	"worth.egg-laying":        worth(EggLaying),
	"hooks":                   hooks,
	"colour":                  text(func(g *Group) *string { return &g.Colours }),
	"note":                    text(func(g *Group) *string { return &g.Note }),
}

// regional are the fields that may name a region; those in needsRegion must.
var (
	regional    = []string{"dd50", "dd_spread", "dd_weight", "window.emergence", "window.egg-laying"}
	needsRegion = []string{"window.emergence", "window.egg-laying"}
)

// required fields of a group that can be forecast; a parent needs only kind.
var required = []string{
	"kind", "order", "confidence", "dd_weight", "window.emergence", "emergence_site", "oviposition",
	"emerge_min_c", "emerge_max_c", "adult_life_days", "maturation_days",
	"fishable.emergence", "fishable.egg-laying", "hours.emergence", "hours.egg-laying", "hooks", "colour",
}

// buildGroup makes a typed group of its facts and names every one that is wrong.
func buildGroup(key string, facts []Fact) (*Group, error) {
	g := &Group{
		Key: key, Kind: Single, UpperTempC: math.Inf(1), OnsetWaterC: math.NaN(), OnsetAirC: math.NaN(),
		fishable: map[Stage]Fishable{}, hours: map[Stage]Hours{}, presentation: map[Stage]string{},
		worth: map[Stage]int{}, dd: map[Region]*thermal{}, facts: facts,
	}
	var errs []error
	seen := map[string]bool{}
	for _, f := range facts {
		seen[f.Field] = true
		set, ok := setters[f.Field]
		if !ok {
			errs = append(errs, at(f, fmt.Errorf("unknown field %q%s", f.Field, suggest(f.Field))))
			continue
		}
		if f.Region != "" && !slices.Contains(regional, f.Field) {
			errs = append(errs, at(f, fmt.Errorf("field %q cannot differ by region: leave the region empty", f.Field)))
			continue
		}
		if f.Region == "" && slices.Contains(needsRegion, f.Field) {
			errs = append(errs, at(f, fmt.Errorf("field %q needs a region", f.Field)))
			continue
		}
		if err := set(g, f); err != nil {
			errs = append(errs, at(f, err))
		}
	}
	if len(errs) > 0 || len(facts) == 0 {
		return nil, errors.Join(errs...)
	}
	first := facts[0]
	for _, field := range required {
		if g.Kind == Parent && field == "window.emergence" {
			continue
		}
		if !seen[field] {
			errs = append(errs, at(first, fmt.Errorf("group %q: missing %q", key, field)))
		}
	}
	if g.UpperTempC <= g.BaseTempC {
		errs = append(errs, at(first, fmt.Errorf("group %q: upper_temp_c %g is not above base_temp_c %g", key, g.UpperTempC, g.BaseTempC)))
	}
	if g.EmergeMaxC <= g.EmergeMinC {
		errs = append(errs, at(first, fmt.Errorf("group %q: emerge_max_c %g is not above emerge_min_c %g", key, g.EmergeMaxC, g.EmergeMinC)))
	}
	for i := range g.windows {
		g.windows[i].presence = g.Kind == Continuous
	}
	if g.RefRegion == "" && len(g.windows) > 0 {
		g.RefRegion = g.windows[0].Region
	}
	for r, t := range g.dd {
		if !math.IsNaN(t.dd50) && t.spread == 0 {
			errs = append(errs, at(t.origin, fmt.Errorf("group %q has dd50 but no dd_spread for region %q: add one", key, r)))
		}
	}
	return g, errors.Join(errs...)
}

func (g *Group) thermal(r Region) *thermal {
	t := g.dd[r]
	if t == nil {
		t = &thermal{dd50: math.NaN(), weight: math.NaN(), weightSD: math.NaN()}
		g.dd[r] = t
	}
	return t
}

func text(p func(*Group) *string) func(*Group, Fact) error {
	return func(g *Group, f Fact) error { *p(g) = f.Value; return nil }
}

func list(p func(*Group) *[]string) func(*Group, Fact) error {
	return func(g *Group, f Fact) error { *p(g) = splitList(f.Value); return nil }
}

func number(lo, hi float64, p func(*Group) *float64) func(*Group, Fact) error {
	return func(g *Group, f Fact) error { return parseNumber(f.Value, lo, hi, p(g)) }
}

func window(s Stage) func(*Group, Fact) error {
	return func(g *Group, f Fact) error {
		w, err := parseWindow(f.Value)
		if err != nil {
			return err
		}
		o, err := basisOf(f)
		if err != nil {
			return err
		}
		w.Region, w.Stage, w.Origin = f.Region, s, f
		w.Basis, w.Record, w.Flight = o.basis, o.record, o.flight
		if err := parseSpread(f, 0.5, 90, &w.MedianSDDays); err != nil {
			return err
		}
		g.windows = append(g.windows, w)
		return nil
	}
}

func adultLife(g *Group, f Fact) error {
	lo, hi, err := parseRange(f.Value, 0.01, 120)
	g.AdultDaysMin, g.AdultDaysMax = lo, hi
	return err
}

func maturation(g *Group, f Fact) error {
	if err := parseNumber(f.Value, 0, 90, &g.MaturationDays); err != nil {
		return err
	}
	return parseSpread(f, 0, 45, &g.MaturationSDDays)
}

func hooks(g *Group, f Fact) error {
	lo, hi, err := parseRange(f.Value, 1, 32)
	if err == nil && (lo != math.Trunc(lo) || hi != math.Trunc(hi)) {
		err = fmt.Errorf("%q is not a hook range; write largest-smallest, e.g. 14-18", f.Value)
	}
	g.HookMin, g.HookMax = int(lo), int(hi)
	return err
}

func site(g *Group, f Fact) error {
	g.EmergenceSite = Site(f.Value)
	return oneOf(f.Value, string(AtSurface), string(Underwater), string(AtShore), string(ShoreOrSurface), string(SiteUnsure), string(OnLand))
}

func habitat(g *Group, f Fact) error {
	g.Habitat = Habitat(f.Value)
	return oneOf(f.Value, string(Riffle), string(SpringCreek), string(Tailwater), string(Silt), string(Bank), string(Slow), string(Still), string(Land))
}

func worth(s Stage) func(*Group, Fact) error {
	return func(g *Group, f Fact) error {
		var v float64
		if err := parseNumber(f.Value, 1, 4, &v); err != nil || v != math.Trunc(v) {
			return fmt.Errorf("%q is not a rank from 1 (best) to 4", f.Value)
		}
		g.worth[s] = int(v)
		return nil
	}
}

func oviposition(g *Group, f Fact) error {
	g.OvipositionMode = Oviposition(f.Value)
	return oneOf(f.Value, string(Dips), string(Falls), string(Drops), string(Dives), string(CrawlsUnder),
		string(Skates), string(Waterline), string(Overhang), string(NotInWater))
}

func fishable(s Stage) func(*Group, Fact) error {
	return func(g *Group, f Fact) error {
		g.fishable[s] = Fishable(f.Value)
		return oneOf(f.Value, string(FishableYes), string(FishableNo), string(FishableUnsure))
	}
}

func hours(s Stage) func(*Group, Fact) error {
	return func(g *Group, f Fact) error {
		h, err := parseHours(f.Value)
		g.hours[s] = h
		return err
	}
}

func presentation(s Stage) func(*Group, Fact) error {
	return func(g *Group, f Fact) error { g.presentation[s] = f.Value; return nil }
}

func oneOf(v string, allowed ...string) error {
	if slices.Contains(allowed, v) {
		return nil
	}
	return fmt.Errorf("%q is not one of %s", v, strings.Join(allowed, ", "))
}

func parseNumber(s string, lo, hi float64, into *float64) error {
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsNaN(v) || v < lo || v > hi {
		return fmt.Errorf("%q is not a number from %g to %g", s, lo, hi)
	}
	*into = v
	return nil
}

func parseSpread(f Fact, lo, hi float64, into *float64) error {
	if f.Spread == "" && lo == 0 {
		*into = 0
		return nil
	}
	if err := parseNumber(f.Spread, lo, hi, into); err != nil {
		return fmt.Errorf("spread of %s: %w", f.Field, err)
	}
	return nil
}

func parseRange(s string, lo, hi float64) (a, b float64, err error) {
	left, right, ok := strings.Cut(s, "-")
	if ok {
		ok = parseNumber(left, lo, hi, &a) == nil && parseNumber(right, lo, hi, &b) == nil && a <= b
	}
	if !ok {
		return 0, 0, fmt.Errorf("%q is not a range from %g to %g: write two numbers such as 1-4", s, lo, hi)
	}
	return a, b, nil
}

func splitList(s string) []string {
	var out []string
	for p := range strings.SplitSeq(s, ";") {
		if p = strings.TrimSpace(p); p != "" {
			out = append(out, p)
		}
	}
	return out
}

// at puts the place of a fact before what is wrong with it.
func at(f Fact, err error) error { return fmt.Errorf("%s:%d: %w", f.File, f.Line, err) }

// suggest names the field that was probably meant.
func suggest(field string) string {
	best, dist := "", 4
	for name := range setters {
		if d := editDistance(field, name, 4); d < dist || d == dist && best != "" && name < best {
			best, dist = name, d
		}
	}
	if best == "" {
		return ""
	}
	return fmt.Sprintf(": did you mean %q?", best)
}
