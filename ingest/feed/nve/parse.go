package nve

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"math"
	"net/url"
	"strconv"
	"strings"
	"time"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "nve"

// Parser reads one saved answer of /api/v1/Observations.
type Parser struct {
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

func bad(where, problem, hint string, err error) *ingest.Error {
	return &ingest.Error{Feed: FeedName, Where: where, Problem: problem, Hint: hint, Err: err}
}

const report = "report it with the saved response"

var lax = jsonv2.JoinOptions(jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))

// parameters of the service. Only 1000 and 1001 were seen in an answer; 1003
// is by a third party's note.
var parameters = map[int]ingest.Variable{1000: ingest.GaugeHeight, 1001: ingest.Discharge, 1003: ingest.WaterTemperature}

type body struct {
	Link    string    `json:"currentLink"`
	Message string    `json:"message"`
	Title   string    `json:"title"`
	Data    *[]series `json:"data"`
}

type series struct {
	Station      string  `json:"stationId"`
	Name         *string `json:"stationName"`
	Parameter    int     `json:"parameter"`
	Version      *int    `json:"serieVersionNo"`
	Method       string  `json:"method"`
	Unit         string  `json:"unit"`
	Observations []struct {
		Time       string   `json:"time"`
		Value      *float64 `json:"value"`
		Correction *int     `json:"correction"`
		Quality    *int     `json:"quality"`
	} `json:"observations"`
}

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	raw, err := io.ReadAll(r)
	if err != nil {
		return nil, bad("answer", "could not be read", "", err)
	}
	raw = bytes.TrimSpace(bytes.TrimPrefix(raw, []byte("\xef\xbb\xbf")))
	switch {
	case len(raw) == 0:
		return nil, bad("answer", "is empty", "try again; the service needs a key", nil)
	case raw[0] == '<':
		return nil, bad("answer", "is a web page or XML, not data", "the service may be down; open the URL in a browser", nil)
	}
	var b body
	if err := jsonv2.Unmarshal(raw, &b, lax); err != nil {
		if errors.Is(err, io.ErrUnexpectedEOF) {
			e := bad("answer", "ends early", "the download was cut short; fetch it again", nil)
			e.Retryable = true
			return nil, e
		}
		return nil, bad("answer", "is not the expected JSON", "fetch it again; if it persists, "+report, err)
	}
	if b.Data == nil {
		if said := strings.TrimSpace(b.Title + " " + b.Message); said != "" {
			return nil, bad("answer", "is an error from the service: "+ingest.Clip(said), "check the key, the station and the dates", nil)
		}
		return nil, bad("answer", "has no member \"data\"", "save an answer of /Observations", nil)
	}
	c := ingest.NewCollector(FeedName, p.Skipped)
	for i := range *b.Data {
		if err := add(c, fmt.Sprintf("data[%d]", i), &(*b.Data)[i], resolution(b.Link)); err != nil {
			return nil, err
		}
	}
	return c.Finish()
}

// resolution is the step in minutes that was asked for; the answer says it only
// in its own address.
func resolution(link string) string {
	u, err := url.Parse(link)
	if err != nil {
		return ""
	}
	for k, v := range u.Query() {
		if strings.EqualFold(k, "ResolutionTime") && len(v) > 0 {
			return v[0]
		}
	}
	return ""
}

func add(c *ingest.Collector, where string, s *series, step string) error {
	if s.Station == "" {
		return bad(where, "does not name its station", report, nil)
	}
	v, ok := parameters[s.Parameter]
	if !ok {
		c.Skip(s.Station, fmt.Sprintf("parameter %d", s.Parameter), "unsupported variable", len(s.Observations))
		return nil
	}
	k := ingest.Key{Feed: FeedName, Site: s.Station, Variable: v, Statistic: ingest.Instant}
	switch {
	case s.Method == "Instantaneous":
	case s.Method == "Mean" && step == "1440", s.Method == "Mean" && step == "day":
		k.Statistic, k.Period = ingest.Mean, ingest.Daily
	default:
		c.Skip(s.Station, fmt.Sprintf("method %s, step %q", ingest.Clip(s.Method), ingest.Clip(step)), "it is not known whether its times begin or end a span", len(s.Observations))
		return nil
	}
	// A series that was computed anew gets another version; the two are not
	// joined.
	if s.Version != nil && *s.Version != 1 {
		k.TimeSeries = "version-" + strconv.Itoa(*s.Version)
	}
	g, err := c.Open(k, s.Unit)
	if err != nil {
		return bad(where, "has a unit that cannot be used", "", err)
	}
	g.Place = ingest.SiteInfo{Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN()}
	if s.Name != nil {
		g.Place.Name = *s.Name
	}
	for i, o := range s.Observations {
		at, err := time.Parse(time.RFC3339, o.Time)
		if err == nil {
			err = ingest.YearInRange(at)
		}
		if err != nil {
			return bad(fmt.Sprintf("%s.observations[%d].time", where, i), fmt.Sprintf("%q is not a time with a UTC offset", ingest.Clip(o.Time)), report, nil)
		}
		if k.Period == ingest.Daily {
			// The agency's day is one of Norwegian normal time.
			at = at.UTC().Add(time.Hour).Truncate(24 * time.Hour)
			g.DayStart = "midnight UTC+01:00, as far as known"
		}
		x := math.NaN()
		if o.Value != nil {
			x = *o.Value
		}
		g.Add(at.UnixMicro(), x, remark(o.Quality, o.Correction), approval(o.Quality))
	}
	return nil
}

// remark keeps the codes that say something; the service's list of codes is
// not at hand, so they stay numbers.
func remark(quality, correction *int) string {
	var w []string
	if quality != nil {
		w = append(w, fmt.Sprintf("quality %d", *quality))
	}
	if correction != nil && *correction != 0 {
		w = append(w, fmt.Sprintf("correction %d", *correction))
	}
	return strings.Join(w, ",")
}

// approval: codes 0 and 1 are of unchecked data; what the higher ones promise
// is not known well enough to call it approved.
func approval(quality *int) ingest.Approval {
	if quality != nil && *quality <= 1 {
		return ingest.Provisional
	}
	return ingest.ApprovalUnknown
}
