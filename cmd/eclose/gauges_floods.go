package main

import (
	"errors"
	"fmt"
	"math"
	"strings"

	"example.org/eclose/cmd/eclose/internal/app"
	"example.org/eclose/cmd/eclose/internal/config"
	"example.org/eclose/cmd/eclose/internal/sources"
	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/nwps"
	"example.org/eclose/ingest/feed/usgs"
)

// floodsAsked is of how many gauges the flood stages are asked, the nearest
// first: each is a question of its own. Our own default.
const floodsAsked = 5

// gaugeFloods is what the National Water Prediction Service says of a gauge.
type gaugeFloods struct {
	nwps.Gauge
	problem string // why it is not known
}

// floodStages asks for the flood stages of the nearest gauges of the USGS. A
// service that fails costs a note.
func (c *gaugesFindCmd) floodStages(e *env, cfg *config.Config, found []ingest.Gauge) (map[string]gaugeFloods, error) {
	server, err := c.Servers.server(e, cfg, nwps.FeedName)
	if err != nil {
		return nil, err
	}
	source := sources.FloodStages(cfg, server.Client)
	if source == nil || c.Servers.BaseURL != "" { // that server is no USGS
		return nil, nil
	}
	out := map[string]gaugeFloods{}
	for _, g := range found {
		if g.Feed != usgs.FeedName || len(out) == floodsAsked {
			continue
		}
		x, err := source.Gauge(e.ctx, g.Site)
		f := gaugeFloods{Gauge: x}
		if errors.Is(err, nwps.ErrNoGauge) {
			f.Note = "no flood stages"
		} else if err != nil {
			f.problem = err.Error()
		}
		out[g.Site] = f
		if f.problem != "" {
			break // the next question would end alike
		}
	}
	return out, nil
}

// line is the flood stages within the width of the table, in the service's own
// units; empty where there are none.
func (f gaugeFloods) line() string {
	if f.problem != "" {
		return "flood stages unknown: " + app.OneLine(f.problem, 52)
	}
	const foot, cubicFoot = 0.3048, 0.028316846592
	list := func(at [4]float64, unit float64, word string) string {
		var out []string
		for i, name := range categoryNames {
			if !math.IsNaN(at[i]) {
				out = append(out, fmt.Sprintf("%s %.4g", name, at[i]/unit))
			}
		}
		if out == nil {
			return ""
		}
		return "floods: " + strings.Join(out, ", ") + " " + word
	}
	if f.LID == "" {
		return ""
	}
	if s := list(f.Flood.StageM, foot, "ft"); s != "" {
		return s
	}
	return list(f.Flood.FlowM3s, cubicFoot, "cfs")
}

type gaugeFloodsJSON struct {
	LID     string      `json:"lid,omitempty"`
	StageM  [4]*float64 `json:"stage_m"` // action, minor, moderate, major
	FlowM3s [4]*float64 `json:"flow_m3_s"`
	Note    string      `json:"note,omitempty"`
	Problem string      `json:"problem,omitempty"`
}

func (f gaugeFloods) json() *gaugeFloodsJSON {
	j := &gaugeFloodsJSON{LID: f.LID, Note: f.Note, Problem: f.problem}
	if f.LID != "" {
		for i := range j.StageM {
			j.StageM[i], j.FlowM3s[i] = known(f.Flood.StageM[i]), known(f.Flood.FlowM3s[i])
		}
	}
	return j
}
