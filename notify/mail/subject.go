package mail

import (
	"fmt"
	"slices"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/alert"
)

// subjectRunes is the longest subject we write: mail programs on phones cut longer ones.
const subjectRunes = 64

// subject stands alone: river, insect, how it moved, what to do by when; or the level and
// the flow with its time. Of several, as many as fit.
func (w words) subject(items []alert.EmailItem) string {
	switch len(items) {
	case 0:
		return "No news"
	case 1:
		return fit(w.subjectsOf(items[0])...)
	}
	var parts []string
	for i, it := range items {
		parts = append(parts, w.shortSubject(it))
		if s := strings.Join(parts, "; "); length(more(s, len(items)-i-1)) > subjectRunes {
			if i == 0 {
				return fit(more(s, len(items)-1))
			}
			return more(strings.Join(parts[:i], "; "), len(items)-i)
		}
	}
	return clean(strings.Join(parts, "; "))
}

func more(s string, n int) string {
	if n > 0 {
		s += fmt.Sprintf("; and %d more", n)
	}
	return clean(s)
}

func length(s string) int { return len([]rune(s)) }

// fit is the first of some subjects that is short enough, else the last one cut.
func fit(all ...string) string {
	for _, s := range all {
		if s = clean(s); length(s) <= subjectRunes {
			return s
		}
	}
	r := []rune(clean(all[len(all)-1]))
	return strings.TrimSpace(string(r[:subjectRunes-3])) + "..."
}

// shortSubject is one of several.
func (w words) shortSubject(it alert.EmailItem) string {
	name := river(it)
	if it.Kind == alert.KindGauge || it.Kind == alert.KindGaugeOver {
		return w.gaugeHeading(it)
	}
	if !alert.Good(it.Kind) && it.Kind != alert.KindClosed {
		s, _ := w.cautionSubject(name, it)
		return s
	}
	if it.Outlook == nil || it.About == nil {
		return name + ": " + clean(it.Group)
	}
	_, short := w.news(it)
	return name + ": " + short
}

// subjectsOf is the subject of one item, the fullest first.
func (w words) subjectsOf(it alert.EmailItem) []string {
	name := river(it)
	if it.Kind == alert.KindGauge || it.Kind == alert.KindGaugeOver {
		full := w.gaugeHeading(it)
		w.units = w.units.Alone()
		return []string{full, w.gaugeHeading(it)}
	}
	if !alert.Good(it.Kind) && it.Kind != alert.KindClosed {
		s, reading := w.cautionSubject(name, it)
		return []string{s + reading, s}
	}
	if it.Outlook == nil || it.About == nil {
		return []string{fmt.Sprintf("%s: %s, %s", name, clean(it.Group), event(it.Stage))}
	}
	_, short := w.news(it)
	s := name + ": " + short
	switch { // Said first: nobody should drive to fish that cannot stand it.
	case it.Outlook.Heat != "":
		return []string{"Too warm for trout. " + s, "Too warm for trout. " + name}
	case it.Outlook.HeatAhead != "":
		return []string{"Maybe too warm for trout. " + s, "Maybe too warm for trout. " + name}
	}
	by, brief := "", ""
	if alert.Good(it.Kind) && len(it.About.Tie) > 0 {
		if by = w.tieBy(it.About.From); by != "" {
			by = ". Tie " + by
			brief = by
			if f := strings.Fields(by); len(f) == 6 { // ". Tie by Tue 9 Jun"
				brief = strings.Join(slices.Delete(f, 3, 4), " ")
			}
		}
	}
	likely := ""
	if d, ok := best(it.Outlook, it.About); ok && it.Kind == alert.KindOpen {
		likely = fmt.Sprintf(", %s", percent(d.P))
	}
	return []string{s + likely + by, s + by, s + brief, s + likely, s}
}

// cautionSubject is what became of a level, and behind it the reading.
func (w words) cautionSubject(name string, it alert.EmailItem) (out, reading string) {
	word := wading.Level(min(max(it.Level, 0), 3)).Words()
	switch it.Kind {
	case alert.KindRise:
		out = fmt.Sprintf("%s: %s", name, word)
	case alert.KindStillHigh:
		out = fmt.Sprintf("%s: still %s", name, word)
	case alert.KindFall, alert.KindClear:
		out = fmt.Sprintf("%s: caution down from %d to %d", name, it.Was, it.Level)
	case alert.KindFlapping:
		out = fmt.Sprintf("%s: changing quickly, %s", name, word)
	case alert.KindWarning:
		return fmt.Sprintf("%s: %s", name, w.warningSubject(it)), ""
	case alert.KindNoData:
		if r := it.Reading; r != nil && r.Unwarned {
			return fmt.Sprintf("%s: official warnings and caution level unknown", name), ""
		}
		return fmt.Sprintf("%s: no reading, caution level unknown", name), ""
	}
	r := it.Reading
	if r == nil {
		return out, ""
	}
	at := r.At.In(forecast.ZoneOf(r.Zone)).Format("15:04")
	switch {
	case r.FlowM3S != nil:
		return out, fmt.Sprintf(". %s at %s", w.units.Alone().Flow(r.FlowM3S.V), at)
	case r.StageM != nil:
		return out, fmt.Sprintf(". %s at %s", w.units.Alone().Length(r.StageM.V), at)
	}
	return out, ". " + at
}
