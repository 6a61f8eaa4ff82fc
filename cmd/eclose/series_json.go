package main

import (
	"errors"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/series"
)

// seriesJSON is a stored series for programs.
type seriesJSON struct {
	Name       string       `json:"name"`
	Place      string       `json:"place,omitempty"`
	Unit       string       `json:"unit"`
	Readings   int          `json:"readings"`
	Superseded int          `json:"superseded"`
	First      time.Time    `json:"first,omitzero"`
	Last       time.Time    `json:"last,omitzero"`
	Changed    time.Time    `json:"last_changed,omitzero"`
	Bytes      int64        `json:"bytes"`
	Months     []monthsJSON `json:"coverage,omitempty"` // of one series, when it was asked for by name
}

type monthsJSON struct {
	Year    int     `json:"year"`
	Covered [12]int `json:"days_covered"`
	Days    [12]int `json:"days"`
}

// json prints what is stored: all series, or one with its coverage. A damaged series does
// not hide the others.
func (c seriesShowCmd) json(e *env, s *series.Store, keys []ingest.Key, damage error) error {
	if c.Series != "" {
		key, err := chooseSeries(keys, c.Series)
		if err != nil {
			return errors.Join(err, damage)
		}
		keys, damage = []ingest.Key{key}, nil
	}
	all := []seriesJSON{}
	for _, k := range keys {
		i, err := s.Info(e.ctx, k)
		if err != nil {
			return err
		}
		x := seriesJSON{Name: k.String(), Place: i.Place.Name, Unit: string(k.Variable.Unit()), Readings: i.Count, Superseded: i.Replaced, First: i.First, Last: i.Last, Changed: i.Retrieved, Bytes: i.Bytes}
		if c.Series != "" {
			a, err := s.Availability(e.ctx, k)
			if err != nil {
				return err
			}
			for n, y := range a.Years {
				x.Months = append(x.Months, monthsJSON{a.FirstYear + n, y.Covered, y.Days})
			}
		}
		all = append(all, x)
	}
	silent := *e
	silent.stdout = e.stderr // the JSON stands alone
	return errors.Join(writeJSON(e.stdout, all), damage, c.draw(&silent, s, keys))
}
