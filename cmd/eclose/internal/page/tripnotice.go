package page

import (
	"fmt"
	"strings"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/model/wading"
)

// noticesOf are today's cautions beside a trip, of the rivers whose caution is 2 or
// higher, or unknown: with reading and limit where today's reading reaches the trip,
// else all rivers in one notice, none left out.
func noticesOf(strong []head, t *trip.Trip) (out []cautionLine) {
	if len(strong) == 0 {
		return nil
	}
	first := t.First.From
	if t.Second != nil {
		first = min(first, t.Second.From)
	}
	near := false
	for _, h := range strong {
		near = near || forecast.ReadingReaches(h.Today, first)
	}
	if !near && len(strong) > 1 {
		return []cautionLine{together(strong)}
	}
	for _, h := range strong {
		l := h.Line
		out = append(out, cautionLine{Strong: true, Lead: h.Name + " today", Text: append([]string{l.Lead}, l.Text[:1]...), Until: l.Until, Known: l.Known, Valid: l.Valid, Past: l.Past})
	}
	return out
}

// together names rivers by their level, the gravest first. It counts as long as the
// shortest of them.
func together(strong []head) cautionLine {
	l := cautionLine{Strong: true, Lead: "Today", Known: true,
		Past: "Caution levels unknown, but at least as named here: this copy is out of date. Treat every river as too high until you have seen it."}
	names := map[string][]string{}
	add := func(level wading.Level, known bool) {
		key := ""
		for _, h := range strong {
			if c := h.judged; c.Level == level && c.Known == known {
				key = h.Line.Lead
				names[key] = append(names[key], h.Name)
			}
		}
		if key != "" {
			l.Text = append(l.Text, fmt.Sprintf("%s: %s", strings.ReplaceAll(key, ": ", ", "), strings.Join(names[key], ", ")))
		}
	}
	for level := wading.KeepOut; level >= wading.Quiet; level-- {
		add(level, true)
		add(level, false)
	}
	for _, h := range strong {
		l.Known = l.Known && h.Line.Known
		if l.Until.IsZero() || h.Line.Until.Before(l.Until) {
			l.Until, l.Valid = h.Line.Until, h.Line.Valid
		}
	}
	return l
}
