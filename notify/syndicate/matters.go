package syndicate

import (
	"slices"

	"example.org/eclose/forecast"
	"example.org/eclose/forecast/trip"
	"example.org/eclose/forecast/verdict"
)

// Matters tells of a stage of an outlook whether it is among the few that the verdict
// names next.
func Matters(o *forecast.Outlook, groups trip.Groups) func(group string, stage forecast.Stage) bool {
	v := verdict.Of(verdict.Question{Now: o.IssuedAt}, []trip.River{{Outlook: o}}, groups)
	return func(group string, stage forecast.Stage) bool {
		return len(v.Rivers) > 0 && slices.ContainsFunc(v.Rivers[0].Next, func(c verdict.Catch) bool { return c.Group == group && c.Stage == stage })
	}
}
