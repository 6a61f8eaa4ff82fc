package nwps

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"net/url"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/client"
)

// Names of the series of forecasts. Each reading's qualifier says when its
// forecast was issued.
const (
	Official = "forecast" // of the river forecast center, instant flow and gauge height
	NWM      = "nwm-"     // of the National Water Model, before the name of the range
)

const issued = "issued "

// Parser reads saved responses of /gauges/{id}/stageflow, of which it takes the
// forecast, and of /reaches/{id}/streamflow, of which it takes the members.
type Parser struct {
	Site    string // the gauge as the series shall name it; "": the reach or gauge that answered
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

type branch struct {
	Issued         string `json:"issuedTime"`
	PrimaryName    string `json:"primaryName"`
	PrimaryUnits   string `json:"primaryUnits"`
	SecondaryName  string `json:"secondaryName"`
	SecondaryUnits string `json:"secondaryUnits"`
	Data           []struct {
		Valid     string `json:"validTime"`
		Primary   number `json:"primary"`
		Secondary number `json:"secondary"`
	} `json:"data"`
}

type run struct {
	Reference string `json:"referenceTime"`
	Units     string `json:"units"`
	Data      []struct {
		Valid string `json:"validTime"`
		Flow  number `json:"flow"`
	} `json:"data"`
}

// ranges are the series of the National Water Model: the member of the response
// and the name that asks for it.
var ranges = map[string]string{"shortRange": "short_range", "mediumRange": "medium_range", "longRange": "long_range", "mediumRangeBlend": "medium_range_blend"}

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	var body map[string]jsontext.Value
	if err := decode(r, &body); err != nil {
		return nil, err
	}
	c := ingest.NewCollector(FeedName, p.Skipped)
	switch {
	case body["reach"] != nil:
		if err := p.reach(body, c); err != nil {
			return nil, err
		}
	case body["forecast"] != nil:
		var forecast, observed branch
		if err := member(body, "forecast", &forecast); err != nil {
			return nil, err
		}
		if err := member(body, "observed", &observed); err != nil {
			return nil, err
		}
		if err := p.official(forecast, observed, c); err != nil {
			return nil, err
		}
	default:
		return nil, bad("response", "has neither \"forecast\" nor \"reach\"", "this is not a response of stageflow or streamflow", nil)
	}
	return c.Finish()
}

func member(body map[string]jsontext.Value, name string, out any) error {
	if len(body[name]) == 0 {
		return nil
	}
	if err := jsonv2.Unmarshal(body[name], out, lax); err != nil {
		return bad(name, "is not the expected JSON", "report it with the saved response", err)
	}
	return nil
}

// official takes the forecast of a stageflow response. Which of the two numbers
// is the flow differs from gauge to gauge; where the forecast does not say, the
// readings beside it do.
func (p Parser) official(f, beside branch, c *ingest.Collector) error {
	if p.Site == "" && len(f.Data) > 0 {
		return bad("response", "does not name its gauge", "give --site", nil)
	}
	columns := []struct {
		name, units string
		value       func(i int) number
	}{
		{or(f.PrimaryName, beside.PrimaryName), or(f.PrimaryUnits, beside.PrimaryUnits), func(i int) number { return f.Data[i].Primary }},
		{or(f.SecondaryName, beside.SecondaryName), or(f.SecondaryUnits, beside.SecondaryUnits), func(i int) number { return f.Data[i].Secondary }},
	}
	q := qualifier(f.Issued)
	for _, col := range columns {
		k := ingest.Key{Site: p.Site, Statistic: ingest.Instant, TimeSeries: Official}
		switch strings.ToLower(col.name) {
		case "flow":
			k.Variable = ingest.Discharge
		case "stage":
			k.Variable = ingest.GaugeHeight
		default:
			c.Skip(p.Site, "forecast of \""+ingest.Clip(col.name)+"\"", "it is neither flow nor stage", len(f.Data))
			continue
		}
		if len(f.Data) == 0 {
			continue
		}
		g, err := c.Open(k, col.units)
		if err != nil {
			return err
		}
		for i, d := range f.Data {
			at, err := valid(d.Valid)
			if err != nil {
				return err
			}
			g.Add(at, col.value(i).orGap(), q, ingest.ApprovalUnknown)
		}
	}
	return nil
}

func or(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// reach takes the members of a streamflow response. The mean of an ensemble is
// no member; a range of one run is member 0.
func (p Parser) reach(body map[string]jsontext.Value, c *ingest.Collector) error {
	var about struct {
		ID string `json:"reachId"`
	}
	if err := member(body, "reach", &about); err != nil {
		return err
	}
	site := or(p.Site, about.ID)
	if site == "" {
		return bad("response", "does not name its reach", "give --site", nil)
	}
	found := false
	for _, name := range slices.Sorted(maps.Keys(ranges)) {
		var runs map[string]jsontext.Value
		if err := member(body, name, &runs); err != nil {
			return err
		}
		for _, key := range slices.Sorted(maps.Keys(runs)) {
			n, ok := memberNumber(key)
			if !ok {
				continue
			}
			var x run
			if err := member(runs, key, &x); err != nil {
				return err
			}
			if len(x.Data) == 0 {
				continue
			}
			found = true
			k := ingest.Key{Site: site, Variable: ingest.Discharge, Statistic: ingest.Instant, TimeSeries: NWM + strings.ReplaceAll(ranges[name], "_", "-"), Member: n}
			g, err := c.Open(k, x.Units)
			if err != nil {
				return err
			}
			q := qualifier(x.Reference)
			for _, d := range x.Data {
				at, err := valid(d.Valid)
				if err != nil {
					return err
				}
				g.Add(at, d.Flow.orGap(), q, ingest.ApprovalUnknown)
			}
		}
	}
	if !found {
		e := bad("response", "holds no run of the model yet", "the service answers so while it is busy; the next fetch tries again", nil)
		e.Retryable = true
		return e
	}
	return nil
}

var memberName = regexp.MustCompile(`^member([1-9][0-9]?)$`)

func memberNumber(key string) (int, bool) {
	if key == "series" {
		return 0, true
	}
	m := memberName.FindStringSubmatch(key)
	if m == nil {
		return 0, false // mean
	}
	n, err := strconv.Atoi(m[1])
	return n, err == nil
}

// orGap is the number, NaN for one that is not set.
func (n number) orGap() float64 {
	if n.v == nil || *n.v <= unset || math.IsInf(*n.v, 0) {
		return math.NaN()
	}
	return *n.v
}

func valid(s string) (int64, error) {
	at, err := time.Parse(time.RFC3339, s)
	if err == nil {
		err = ingest.YearInRange(at)
	}
	if err != nil {
		return 0, bad("validTime", fmt.Sprintf("%q is not a time", ingest.Clip(s)), "report it with the saved response", nil)
	}
	return at.UnixMicro(), nil
}

// qualifier says when a forecast was issued; the year 1 stands for none.
func qualifier(issuedTime string) string {
	at, err := time.Parse(time.RFC3339, issuedTime)
	if err != nil || ingest.YearInRange(at) != nil {
		return ""
	}
	return issued + at.UTC().Format(time.RFC3339)
}

// Issued returns when the forecast of a reading was issued, from its qualifier.
// ok is false where the service did not say.
func Issued(qualifier string) (at time.Time, ok bool) {
	text, ok := strings.CutPrefix(qualifier, issued)
	if !ok {
		return at, false
	}
	at, err := time.Parse(time.RFC3339, text)
	return at.UTC(), err == nil
}

// Name implements ingest.Source.
func (Source) Name() string { return FeedName }

// Fetch implements ingest.Source for the gauge that req.Site names: the official
// forecast, if there is one, and the members of the National Water Model for its
// reach. A gauge that the service does not know has none.
func (s Source) Fetch(ctx context.Context, req ingest.Request, yield func(ingest.Series) error) error {
	g, err := s.Gauge(ctx, req.Site)
	if errors.Is(err, ErrNoGauge) {
		return nil
	}
	if err != nil {
		return err
	}
	all := s.hand(ctx, "/gauges/"+url.PathEscape(g.LID)+"/stageflow", req, yield)
	if !reachID.MatchString(g.Reach) {
		return all
	}
	for _, name := range []string{"short_range", "medium_range", "long_range"} {
		err := s.hand(ctx, "/reaches/"+g.Reach+"/streamflow?series="+name, req, yield)
		if again, _ := ingest.Retryable(err); again && ctx.Err() == nil && !errors.As(err, new(*client.StatusError)) {
			err = s.hand(ctx, "/reaches/"+g.Reach+"/streamflow?series="+name, req, yield) // an empty response passes
		}
		all = errors.Join(all, err)
	}
	return all
}

var reachID = regexp.MustCompile(`^[0-9]{1,12}$`)

// hand fetches one response and hands its series over.
func (s Source) hand(ctx context.Context, path string, req ingest.Request, yield func(ingest.Series) error) error {
	body, err := s.get(ctx, path)
	if err != nil {
		return err
	}
	list, err := Parser{Site: req.Site, Skipped: s.Skipped}.Parse(bytes.NewReader(body))
	if err != nil {
		return err
	}
	now := time.Now
	if s.Now != nil {
		now = s.Now
	}
	for _, x := range list {
		if len(req.Variables) > 0 && !slices.Contains(req.Variables, x.Variable) {
			continue
		}
		if x = x.Between(req.From, req.To); x.Len() == 0 {
			continue
		}
		x.Retrieved = slices.Repeat([]int64{now().UnixMicro()}, x.Len())
		if err := yield(x); err != nil {
			return err
		}
	}
	return nil
}
