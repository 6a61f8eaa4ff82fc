package forecast

import (
	"context"
	"fmt"
	"strings"
	"time"

	"example.org/eclose/ingest/series"
	"example.org/eclose/ingest/warning"
	"example.org/eclose/model/wading"
)

// filesReader is a Reader that also holds the records beside the series.
type filesReader interface{ Files() *series.Files }

// warnedAhead is how long before its beginning a warning is passed on. Our own
// default: who reads today of tomorrow's flood may still stay at home.
const warnedAhead = 24 * time.Hour

// warningsOf returns the official warnings of a river as its feed last gave
// them: those about floods and thunder that are in force at a moment, or begin
// soon.
func warningsOf(ctx context.Context, store Reader, r River, at time.Time) (wading.Warnings, error) {
	out := wading.Warnings{Asked: r.Warnings != ""}
	if !out.Asked {
		return out, nil
	}
	f, ok := store.(filesReader)
	if !ok {
		out.Why = "the warnings were not read"
		return out, nil
	}
	record, err := warning.Load(ctx, f.Files(), r.Slug)
	if err != nil {
		return out, err
	}
	if record.Feed != r.Warnings { // of a service that the config no longer names
		record = warning.Record{Feed: r.Warnings}
	}
	out.Known = record.Known(at)
	if !out.Known {
		out.Why = fmt.Sprintf("no answer from %s since %s", record.Feed, record.Fetched.UTC().Format("15:04 UTC on 2 Jan 2006"))
		if record.Fetched.IsZero() {
			out.Why = "no answer from " + record.Feed + " yet"
		}
	}
	unplaced := 0
	heard := at
	if !out.Known && record.Fetched.Before(at) {
		heard = record.Fetched // nobody has said since that any is over
	}
	for _, w := range record.InForce(heard) {
		switch {
		case w.Hazard == "", w.From().After(at.Add(warnedAhead)):
		case w.Fit == warning.Unplaced:
			unplaced++
		default:
			out.List = append(out.List, wading.Warning{
				Hazard: hazards[w.Hazard], Event: w.Event, Headline: w.Headline, Authority: w.SenderName, URL: w.Web,
				Severity: w.Severity, Urgency: w.Urgency, Certainty: w.Certainty, Onset: w.From(), Expires: w.Until(),
				Area: areaWords(w), ID: w.Feed + " " + w.Chain,
			})
		}
	}
	if unplaced > 0 {
		out.Known = false
		out.Why = strings.TrimPrefix(out.Why+fmt.Sprintf("; flood or thunder warnings whose place is unknown: %d. Set zones in [river.warnings]", unplaced), "; ")
	}
	return out, nil
}

var hazards = map[warning.Hazard]wading.Hazard{warning.Flood: wading.FloodHazard, warning.Thunder: wading.ThunderHazard}

// longestArea is how much of a list of places is shown.
const longestArea = 90

// areaWords is where a warning holds, where that is not the river itself.
func areaWords(w warning.Warning) string {
	where := strings.Join(strings.Fields(w.Area.Desc), " ")
	if r := []rune(where); len(r) > longestArea {
		where = strings.TrimRight(string(r[:longestArea]), " ;,") + "…"
	}
	switch {
	case w.Fit == warning.Here, where == "":
		return ""
	case w.Fit == warning.Near:
		return "near: " + where
	}
	return "somewhere in " + where
}
