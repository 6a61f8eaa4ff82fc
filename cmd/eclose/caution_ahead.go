package main

import (
	"fmt"

	"example.org/eclose/forecast"
	"example.org/eclose/ingest/series"
	"example.org/eclose/model/wading"
)

// levelDays is how many days ahead the caution is told, levelMembers by how many possible
// flows. Our own defaults.
const levelDays, levelMembers = 7, 200

// levelsAhead prints the chances of caution levels by the flow of the days ahead.
func levelsAhead(e *env, store *series.Store, r forecast.River, caution wading.Caution) error {
	rec, err := forecast.Gather(e.ctx, store, r, e.now())
	if err != nil {
		return err
	}
	days := forecast.LevelsAhead(rec.FlowForecast(r, levelDays, levelMembers), rec.Issue, caution.Limits, caution.Level, caution.Known, levelDays)
	if len(days) == 0 {
		fmt.Fprintf(e.stdout, "Days ahead: unknown. The level can rise at any time.\n")
		return nil
	}
	fmt.Fprintf(e.stdout, "Days ahead, by modelled flow alone (thunder, cold and dam releases are not in it; it can rise at any time):\n")
	for _, d := range days {
		fmt.Fprintf(e.stdout, "  %s\n", d.Words())
	}
	return nil
}
