package nwps

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/url"
	"time"

	"example.org/eclose/ingest/series"
)

// A Record is what the service last said of a USGS gauge. It is kept in the
// series store.
type Record struct {
	LID     string      `json:"lid,omitempty"`
	Name    string      `json:"name,omitempty"`
	Reach   string      `json:"reach,omitempty"`
	StageM  [4]*float64 `json:"stage_m"`   // action, minor, moderate, major; null: none
	FlowM3s [4]*float64 `json:"flow_m3_s"` // likewise
	Note    string      `json:"note,omitempty"`
	Source  string      `json:"source,omitempty"`  // page of the gauge
	Fetched time.Time   `json:"fetched,omitzero"`  // last whole response; zero: none
	Tried   time.Time   `json:"tried,omitzero"`    // last attempt
	Absent  bool        `json:"absent,omitempty"`  // the service has no such gauge
	Problem string      `json:"problem,omitempty"` // of the last attempt
}

// Categories returns the flood categories of the record.
func (r Record) Categories() (c Categories) {
	for i := range c.StageM {
		c.StageM[i], c.FlowM3s[i] = orNaN(r.StageM[i]), orNaN(r.FlowM3s[i])
	}
	return c
}

func orNaN(p *float64) float64 {
	if p == nil {
		return math.NaN()
	}
	return *p
}

func known(x float64) *float64 {
	if math.IsNaN(x) {
		return nil
	}
	return &x
}

// Flood stages change every few years. Our own defaults.
const (
	renewAfter = 7 * 24 * time.Hour
	retryAfter = 6 * time.Hour
)

// Due reports whether the service should be asked again.
func (r Record) Due(now time.Time) bool {
	after := renewAfter
	if r.Problem != "" {
		after = retryAfter
	}
	return r.Tried.IsZero() || now.Sub(r.Tried).Abs() > after
}

const recordLimit = 1 << 16

func fileOf(site string) string { return "flood-stages/" + url.PathEscape(site) + ".json" }

// Load returns the record of a site, as the series name it. The zero Record:
// nothing was ever asked.
func Load(ctx context.Context, f *series.Files, site string) (r Record, err error) {
	b, err := f.Read(ctx, fileOf(site), recordLimit)
	if errors.Is(err, series.ErrNoFile) {
		return r, nil
	}
	if err != nil {
		return r, fmt.Errorf("reading the flood stages of %s: %w", site, err)
	}
	if json.Unmarshal(b, &r) != nil {
		return Record{}, nil // it is asked again
	}
	return r, nil
}

// Renew asks the service about a site and keeps what it said. A failure of the
// service leaves what it said before; it stands in Problem.
func (s Source) Renew(ctx context.Context, f *series.Files, site string, now time.Time) (Record, error) {
	r, err := Load(ctx, f, site)
	if err != nil {
		return r, err
	}
	g, failed := s.Gauge(ctx, site)
	if err := ctx.Err(); err != nil {
		return r, err
	}
	r.Tried, r.Problem = now, ""
	switch {
	case errors.Is(failed, ErrNoGauge):
		r = Record{Tried: now, Fetched: now, Absent: true}
	case failed != nil:
		r.Problem = failed.Error()
	default:
		r = Record{LID: g.LID, Name: g.Name, Reach: g.Reach, Note: g.Note, Source: "https://water.noaa.gov/gauges/" + g.LID, Fetched: now, Tried: now}
		for i := range r.StageM {
			r.StageM[i], r.FlowM3s[i] = known(g.Flood.StageM[i]), known(g.Flood.FlowM3s[i])
		}
	}
	b, err := json.Marshal(r)
	if err == nil {
		err = f.Write(ctx, fileOf(site), b)
	}
	if err != nil {
		return r, fmt.Errorf("keeping the flood stages of %s: %w", site, err)
	}
	return r, nil
}
