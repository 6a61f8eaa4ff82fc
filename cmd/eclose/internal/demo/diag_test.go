package demo

import (
	"fmt"
	"os"
	"slices"
	"testing"
	"time"

	"example.org/eclose/forecast"
	"example.org/eclose/model/insects"
)

func TestDiag(t *testing.T) {
	if os.Getenv("DIAG") == "" {
		t.Skip()
	}
	c, _ := insects.Load()
	w := wish{catalogue: c, from: forecast.DateOf(time.Date(2026, 6, 8, 0, 0, 0, 0, time.UTC))}
	w.groups = slices.DeleteFunc(c.Forecastable(insects.Rockies), func(g *insects.Group) bool { return !slices.Contains(wished, g.Key) })
	for _, g := range w.groups {
		x, _ := g.Window(insects.Rockies, insects.Emergence)
		fmt.Println(g.Key, "median", x.Median, "sd", x.MedianSDDays, "spread", x.ReachSpreadSDDays(), "dd", g.DDWeight, g.BaseTempC, "matur", g.MaturationDays, g.Fishable(insects.Emergence), g.Fishable(insects.EggLaying), g.Kind)
	}
	d0 := forecast.DateOf(time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC))
	for k := range 20 {
		seed := uint64(1001 + k)
		w.season, w.seed = inventSeason(seed, w.groups), seed
		for _, r := range w.planned(t, Issue) {
			o := r.Outlook
			for i := range o.Stages {
				s := &o.Stages[i]
				if s.Stage != forecast.Emergence {
					continue
				}
				// chance curve compare
				tr := w.season.median[o.River][s.Group]
				ht := w.season.heat[o.River][s.Group]
				g, _ := c.Group(s.Group)
				pmax, tot, tt := 0.0, 0.0, 0.0
				for _, d := range s.Days.All() {
					pmax = max(pmax, d.P)
					tot += d.P
					tt += w.season.shows(g, insects.Emergence, d.Date, tr)
				}
				eg, egt := 0.0, 0.0
				for j := range o.Stages {
					if o.Stages[j].Group == s.Group && o.Stages[j].Stage == forecast.EggLaying {
						for _, d := range o.Stages[j].Days.All() {
							eg += d.P
							egt += w.season.shows(g, insects.EggLaying, d.Date, tr)
						}
						fmt.Printf("EGG %d %s %s peak %d true %.1f\n", seed, o.River, s.Group, int(o.Stages[j].Window.Peak.P50-d0), tr+g.MaturationDays)
					}
				}
				fmt.Printf("D %d %s %s peak %d cal %d true %.1f heat %.1f range %d pmax %.2f area %.1f true %.1f eggs %.1f true %.1f\n", seed, o.River, s.Group, int(s.Window.Peak.P50-d0), int(s.Calendar.Peak.P50-d0), tr, ht, int(s.Window.Peak.P90-s.Window.Peak.P10), pmax, tot, tt, eg, egt)
			}
			for week := range 4 {
				open, flowOK := 0.0, 0.0
				for d := w.from + forecast.Date(7*week); d < w.from+forecast.Date(7*week)+7; d++ {
					f, _ := w.season.day(o.River, d)
					if f < betterNot[o.River] {
						flowOK++
					}
					if !w.season.spoiled(o.River, d) {
						open++
					}
				}
				a, b := w.from+forecast.Date(7*week), w.from+forecast.Date(7*week)+6
				fo, _ := o.Flow.AboveOver(betterNot[o.River], a, b)
				past := 0.0
				n := 0.0
				for d := a - 3; d <= b+3; d++ {
					for back := 1; back <= 8; back++ {
						f, _ := w.season.day(o.River, forecast.DateOf(d.Time().AddDate(-back, 0, 0)))
						n++
						if f >= betterNot[o.River] {
							past++
						}
					}
				}
				x, _ := o.WaterOn(a + 3)
				_, wm := w.season.day(o.River, a+3)
				fmt.Printf("F %d %s week %d flowok %.2f open %.2f forecast %.2f past %.2f maxp50 %.1f p90 %.1f true %.1f\n", seed, o.River, week, flowOK/7, open/7, 1-fo, 1-past/n, x.MaxP50, x.MaxP90, wm)
			}
		}
	}
}
