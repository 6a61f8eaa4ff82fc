package mail

import (
	"fmt"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/model/wading"
	"example.org/eclose/notify/alert"
)

// subjectRunes is the longest subject we write; our own default. Most readers
// are shown far less, so what matters comes first.
const subjectRunes = 200

// subject stands alone: river, group, stage, when and how likely, or the level
// and the flow with its time.
func (w words) subject(items []alert.EmailItem) string {
	if len(items) == 0 {
		return "No news"
	}
	s := w.subjectOf(items[0])
	if n := len(items) - 1; n > 0 {
		s += fmt.Sprintf(" (and %d more)", n)
	}
	r := []rune(clean(s))
	if len(r) > subjectRunes {
		s = strings.TrimSpace(string(r[:subjectRunes-3])) + "..."
	} else {
		s = string(r)
	}
	return s
}

func (w words) subjectOf(it alert.EmailItem) string {
	name := river(it)
	if it.Kind == alert.KindGauge || it.Kind == alert.KindGaugeOver {
		return w.gaugeHeading(it)
	}
	if !alert.Good(it.Kind) && it.Kind != alert.KindClosed {
		return w.cautionSubject(name, it)
	}
	if it.Outlook == nil || it.About == nil {
		return fmt.Sprintf("%s: %s, %s", name, clean(it.Group), stageName(it.Stage))
	}
	s := it.About
	what := fmt.Sprintf("%s, %s", clean(s.Name), stageName(s.Stage))
	if it.Kind == alert.KindClosed {
		return fmt.Sprintf("%s: %s window closed", name, what)
	}
	when := span(s.From, s.To)
	if it.Kind == alert.KindMoved {
		when = "moved to " + when
	}
	out := fmt.Sprintf("%s: %s %s", name, what, when)
	if d, ok := best(it.Outlook, s); ok {
		out += fmt.Sprintf(", %s (%s)", forecast.Likelihood(d.P), percent(d.P))
	}
	switch { // Said first: nobody should drive to fish that cannot stand it.
	case it.Outlook.Heat != "":
		out = "Water too warm for trout. " + out
	case it.Outlook.HeatAhead != "":
		out = "Water may be too warm for trout. " + out
	}
	return out
}

func (w words) cautionSubject(name string, it alert.EmailItem) string {
	word := wading.Level(min(max(it.Level, 0), 3)).Words()
	var out string
	switch it.Kind {
	case alert.KindRise:
		out = fmt.Sprintf("%s: %s (caution %d)", name, word, it.Level)
	case alert.KindStanding:
		out = fmt.Sprintf("%s: still %s (caution %d)", name, word, it.Level)
	case alert.KindFall, alert.KindClear:
		out = fmt.Sprintf("%s: caution down from %d to %d", name, it.Was, it.Level)
	case alert.KindFlapping:
		out = fmt.Sprintf("%s: changing quickly, %s (caution %d)", name, word, it.Level)
	case alert.KindWarning:
		return fmt.Sprintf("%s: %s", name, w.warningSubject(it))
	case alert.KindNoData:
		out = fmt.Sprintf("%s: no reading, caution level unknown", name)
	}
	r := it.Reading
	if r == nil || it.Kind == alert.KindNoData {
		return out
	}
	at := r.At.In(forecast.ZoneOf(r.Zone)).Format("15:04 MST")
	switch {
	case r.FlowM3S != nil:
		out += fmt.Sprintf(", %s at %s", w.units.Flow(r.FlowM3S.V), at)
	case r.StageM != nil:
		out += fmt.Sprintf(", %s at %s", w.units.Length(r.StageM.V), at)
	default:
		out += ", " + at
	}
	return out
}
