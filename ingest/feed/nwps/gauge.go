package nwps

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strings"
	"time"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
)

// FeedName is the feed's name in config and messages, and LiveURL where it
// answers.
const (
	FeedName = "nwps"
	LiveURL  = "https://api.water.noaa.gov/nwps/v1"
)

// Categories are the flood categories of a gauge: action, minor, moderate and
// major. NaN: the service counts none.
type Categories struct {
	StageM  [4]float64 // gauge height, m, on the datum of the gauge
	FlowM3s [4]float64
}

// Gauge is what the service says of one gauge.
type Gauge struct {
	LID      string // the service's own id
	USGS     string // USGS site number
	Reach    string // reach of the National Water Model
	Name     string
	Lat, Lon float64 // degrees
	Flood    Categories
	// Note says why heights that the service gives are left out; empty otherwise.
	Note string
}

// Source asks the service.
type Source struct {
	Client  *client.Client
	BaseURL string           // "": LiveURL
	Now     func() time.Time // nil: time.Now
	Skipped func(ingest.Skipped)
}

func bad(where, problem, hint string, err error) *ingest.Error {
	return &ingest.Error{Feed: FeedName, Where: where, Problem: problem, Hint: hint, Err: err}
}

// ErrNoGauge is wrapped where the service has no such gauge.
var ErrNoGauge = errors.New("no such gauge")

var gaugeID = regexp.MustCompile(`^[A-Za-z0-9]{4,15}$`)

// Gauge asks for a gauge by its id of five letters and digits, or by its USGS
// number, with or without "USGS-".
func (s Source) Gauge(ctx context.Context, id string) (Gauge, error) {
	id = strings.TrimPrefix(id, "USGS-")
	if !gaugeID.MatchString(id) {
		return Gauge{}, bad("request", fmt.Sprintf("%q is neither a gauge id such as ACRT2 nor a USGS number", ingest.Clip(id)), "check site in the config", nil)
	}
	body, err := s.get(ctx, "/gauges/"+id)
	if status := (*client.StatusError)(nil); errors.As(err, &status) && status.Code == 404 {
		return Gauge{}, bad(id, "has no flood stages in this service", "", ErrNoGauge)
	}
	if err != nil {
		return Gauge{}, err
	}
	return parseGauge(bytes.NewReader(body))
}

func (s Source) get(ctx context.Context, path string) ([]byte, error) {
	base := cmp.Or(strings.TrimRight(s.BaseURL, "/"), LiveURL)
	resp, err := s.Client.Get(ctx, client.Request{Feed: FeedName, URL: base + path, Types: []string{"application/json"}})
	if err != nil {
		return nil, err
	}
	return io.ReadAll(resp.Body)
}

var lax = jsonv2.JoinOptions(jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))

// decode reads a JSON response into out.
func decode(r io.Reader, out any) error {
	raw, err := io.ReadAll(r)
	if err != nil {
		return bad("response", "could not be read", "", err)
	}
	raw = bytes.TrimSpace(bytes.TrimPrefix(raw, []byte("\xef\xbb\xbf")))
	if len(raw) == 0 || raw[0] != '{' {
		e := bad("response", "is not a JSON object", "the service may be down; open the URL in a browser", nil)
		e.Retryable = true
		return e
	}
	if err := jsonv2.Unmarshal(raw, out, lax); err != nil {
		e := bad("response", "is not the expected JSON", "fetch it again; if it persists, report it with the saved response", err)
		e.Retryable = errors.Is(err, io.ErrUnexpectedEOF)
		return e
	}
	return nil
}

// number is a number that may come as a string, or as null.
type number struct{ v *float64 }

// UnmarshalJSONFrom implements json.UnmarshalerFrom.
func (n *number) UnmarshalJSONFrom(dec *jsontext.Decoder) error {
	v, err := dec.ReadValue()
	if err != nil {
		return err
	}
	var x float64
	if json.Unmarshal([]byte(strings.Trim(string(v), `"`)), &x) == nil && v.Kind() != 'n' {
		n.v = &x
	}
	return nil
}

// unset is at or below what the service writes for no value: -999, -9999.
const unset = -900

// in converts a value to the unit of a variable; NaN where it is unset or its
// unit is unknown.
func (n number) in(v ingest.Variable, unit string) float64 {
	if n.v == nil || *n.v <= unset || math.IsInf(*n.v, 0) {
		return math.NaN()
	}
	conv, err := ingest.ConversionOf(v, unit)
	if err != nil {
		return math.NaN()
	}
	return conv.Apply(*n.v)
}

// parseGauge reads a response of /gauges/{id}.
func parseGauge(r io.Reader) (Gauge, error) {
	type category struct {
		Stage number `json:"stage"`
		Flow  number `json:"flow"`
	}
	var body struct {
		LID   string `json:"lid"`
		USGS  string `json:"usgsId"`
		Reach string `json:"reachId"`
		Name  string `json:"name"`
		Lat   number `json:"latitude"`
		Lon   number `json:"longitude"`
		Pedts struct {
			Observed string `json:"observed"`
		} `json:"pedts"`
		Flood struct {
			StageUnits string `json:"stageUnits"`
			FlowUnits  string `json:"flowUnits"`
			Categories struct {
				Action   category `json:"action"`
				Minor    category `json:"minor"`
				Moderate category `json:"moderate"`
				Major    category `json:"major"`
			} `json:"categories"`
		} `json:"flood"`
	}
	if err := decode(r, &body); err != nil {
		return Gauge{}, err
	}
	if body.LID == "" {
		return Gauge{}, bad("response", "names no gauge", "report it with the saved response", nil)
	}
	g := Gauge{LID: body.LID, USGS: body.USGS, Reach: body.Reach, Name: body.Name, Lat: math.NaN(), Lon: math.NaN()}
	if body.Lat.v != nil && body.Lon.v != nil {
		g.Lat, g.Lon = *body.Lat.v, *body.Lon.v
	}
	c := body.Flood.Categories
	for i, x := range []category{c.Action, c.Minor, c.Moderate, c.Major} {
		g.Flood.StageM[i] = x.Stage.in(ingest.GaugeHeight, body.Flood.StageUnits)
		g.Flood.FlowM3s[i] = x.Flow.in(ingest.Discharge, body.Flood.FlowUnits)
	}
	g.check(body.Pedts.Observed)
	return g, nil
}

// check leaves out heights and flows that cannot be those of the gauge: heights of
// another kind than river stage, as at reservoirs and tide gauges, and what is out
// of order.
func (g *Gauge) check(observed string) {
	drop := func(why string) {
		for i := range g.Flood.StageM {
			g.Flood.StageM[i] = math.NaN()
		}
		g.Note = why
	}
	// The physical element of the SHEF code: HG is river stage, Q the flows.
	if pe := strings.ToUpper(observed); pe != "" && !strings.HasPrefix(pe, "HG") && !strings.HasPrefix(pe, "Q") {
		drop("its heights are not gauge heights (SHEF code " + ingest.Clip(pe) + ")")
	}
	if !rise(g.Flood.StageM) {
		drop("its heights do not rise from action to major")
	}
	if !rise(g.Flood.FlowM3s) {
		for i := range g.Flood.FlowM3s {
			g.Flood.FlowM3s[i] = math.NaN()
		}
		g.Note = strings.TrimPrefix(g.Note+"; its flows do not rise from action to major", "; ")
	}
}

// rise reports whether values, but for those that are missing, never fall.
func rise(values [4]float64) bool {
	last := math.Inf(-1)
	for _, x := range values {
		if x < last {
			return false
		}
		if !math.IsNaN(x) {
			last = x
		}
	}
	return true
}

// Any reports whether there is a height or a flow.
func (c Categories) Any() bool {
	for i := range c.StageM {
		if !math.IsNaN(c.StageM[i]) || !math.IsNaN(c.FlowM3s[i]) {
			return true
		}
	}
	return false
}
