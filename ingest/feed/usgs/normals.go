package usgs

import (
	"context"
	"fmt"
	"io"
	"maps"
	"math"
	"net/url"
	"slices"
	"sort"
	"strconv"
	"strings"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/response"
)

// Normal is one figure of the years before: what a day or month of the year,
// or one span of time, has been like.
type Normal struct {
	Site, TimeSeries string
	Parameter        string
	Statistic        string // USGS code of the daily values that it sums up: "00003" for their means
	Variable         ingest.Variable
	OfYear           string  // "MM-DD" or "MM"; "" for a span of time
	From, To         string  // "YYYY-MM-DD" of the span, both included; "" for a time of year
	Span             string  // "day_of_year", "month_of_year", "month", "calendar_year", "water_year"
	Computation      string  // "arithmetic_mean", "minimum", "median", "maximum", "percentile"
	Percentile       float64 // 0 to 100; NaN unless Computation is "percentile"
	Value            float64 // in Variable.Unit(); NaN where too few years
	Years            int     // sample count
}

func readNormals(r io.Reader) (out []Normal, pg page, err error) {
	pg, err = readPage(r, func(_ int, where string, r *row) error {
		if r.kind() != normalKind {
			return feed.Fault(where, "holds no statistics", "save an answer of observationNormals or observationIntervals", nil)
		}
		ns, err := normals(where, r)
		out = append(out, ns...)
		return err
	})
	return out, pg, err
}

func normals(where string, r *row) ([]Normal, error) {
	var data []struct {
		Parameter text `json:"parameter_code"`
		Series    text `json:"parent_time_series_id"`
		Statistic text `json:"parent_statistic_id"`
		Unit      text `json:"unit_of_measure"`
		Values    []struct {
			Computation text   `json:"computation"`
			Count       text   `json:"sample_count"`
			OfYear      text   `json:"time_of_year"`
			OfYearType  text   `json:"time_of_year_type"`
			Start       text   `json:"start_date"`
			End         text   `json:"end_date"`
			Interval    text   `json:"interval_type"`
			Value       text   `json:"value"`
			Percentiles []text `json:"percentiles"`
			Values      []text `json:"values"`
		} `json:"values"`
	}
	if err := response.Unmarshal(r.Data, &data); err != nil {
		return nil, feed.Unexpected(where, "its statistics cannot be read", err)
	}
	var out []Normal
	for _, d := range data {
		p, ok := parameters[string(d.Parameter)]
		if !ok {
			continue
		}
		conv, err := ingest.ConversionOf(p.Variable, string(d.Unit))
		if err != nil {
			return nil, feed.Fault(where, "unit_of_measure", "", err)
		}
		for _, v := range d.Values {
			n := Normal{Site: string(r.Site), TimeSeries: string(d.Series), Parameter: p.Code, Statistic: string(d.Statistic), Variable: p.Variable, OfYear: string(v.OfYear),
				From: string(v.Start), To: string(v.End), Span: string(v.OfYearType + v.Interval), Computation: string(v.Computation), Percentile: math.NaN()}
			if n.Years, err = strconv.Atoi(string(v.Count)); err != nil {
				return nil, feed.Unexpected(where, fmt.Sprintf("sample_count %q is not a whole number", ingest.Clip(string(v.Count))), nil)
			}
			if len(v.Percentiles) != len(v.Values) {
				return nil, feed.Unexpected(where, fmt.Sprintf("has %d percentiles but %d values for them", len(v.Percentiles), len(v.Values)), nil)
			}
			if v.Computation != "percentile" {
				n.Value = conv.Apply(number(v.Value))
				out = append(out, n)
				continue
			}
			for i := range v.Percentiles {
				n.Percentile, n.Value = number(v.Percentiles[i]), conv.Apply(number(v.Values[i])) // "nan" where too few years
				out = append(out, n)
			}
		}
	}
	return out, nil
}

// DayNormal is what one day of the year has been like, over the years that the
// agency has approved.
type DayNormal struct {
	Day                                               string // "MM-DD"
	Years                                             int
	Lowest, P10, P25, Median, P75, P90, Highest, Mean float64 // in Variable.Unit(); NaN where too few years
}

// Normals asks the statistics API for the days of the year at one site, of the
// daily means. The answer is in order of the calendar; it is empty where the
// agency has none. Of several series that one counts which has the most years.
func (s *Source) Normals(ctx context.Context, site string, v ingest.Variable) ([]DayNormal, error) {
	id, err := SiteID(site)
	if err != nil {
		return nil, err
	}
	codes := codesFor([]ingest.Variable{v})
	if len(codes) == 0 {
		return nil, feed.Fault(id, fmt.Sprintf("the service does not measure %q", v), "ask for water_temperature or discharge", nil)
	}
	code := codes[0] // the one in the unit of today
	base, err := s.statistics()
	if err != nil {
		return nil, err
	}
	q := url.Values{"monitoring_location_id": {id}, "parameter_code": {code}, "start_date": {"01-01"}, "end_date": {"12-31"}, "normal_type": {"DOY"}, "page_size": {"100"}}
	var all []Normal
	for n, token := 1, ""; n == 1 || token != ""; n++ {
		if n > mostPages || n > 1 && token == q.Get("next_token") {
			return nil, feed.Fault("statistics", fmt.Sprintf("paging loops at page %d", n), "report it to the agency", nil)
		}
		if token != "" {
			q.Set("next_token", token)
		}
		pg, err := s.get(ctx, base+"/observationNormals?"+q.Encode(), func(r io.Reader) (page, error) {
			part, pg, err := readNormals(r)
			all = append(all, part...)
			return pg, err
		})
		if err != nil {
			return nil, err
		}
		token = pg.token
	}
	return daysOf(all, id, code), nil
}

// statistics is the address of the statistics API, which is on the host of the
// other one.
func (s *Source) statistics() (string, error) {
	root, version, ok := strings.Cut(s.base.String(), "/ogcapi/")
	if !ok || strings.Contains(version, "/") {
		return "", feed.Fault("base-url", "does not end in /ogcapi/v1, so the statistics beside it cannot be found", "write for example "+DefaultBaseURL, nil)
	}
	return root + "/statistics/v0", nil
}

// daysOf sorts the normals of daily means by the calendar. Rows of whole months,
// which the service mixes in, are left out.
func daysOf(all []Normal, site, parameter string) []DayNormal {
	bySeries := map[string]map[string]*DayNormal{}
	for _, n := range all {
		if n.Site != site || n.Parameter != parameter || n.Span != "day_of_year" || n.Statistic != "00003" {
			continue
		}
		if bySeries[n.TimeSeries] == nil {
			bySeries[n.TimeSeries] = map[string]*DayNormal{}
		}
		d := bySeries[n.TimeSeries][n.OfYear]
		if d == nil {
			nan := math.NaN()
			d = &DayNormal{n.OfYear, n.Years, nan, nan, nan, nan, nan, nan, nan, nan}
			bySeries[n.TimeSeries][n.OfYear] = d
		}
		switch into := map[string]*float64{"minimum": &d.Lowest, "median": &d.Median, "maximum": &d.Highest, "arithmetic_mean": &d.Mean}[n.Computation]; {
		case into != nil:
			*into = n.Value
		case n.Computation == "percentile":
			if into := map[float64]*float64{10: &d.P10, 25: &d.P25, 75: &d.P75, 90: &d.P90}[n.Percentile]; into != nil {
				*into = n.Value
			}
		}
	}
	var out []DayNormal
	most := 0
	for _, id := range slices.Sorted(maps.Keys(bySeries)) {
		years := 0
		for _, d := range bySeries[id] {
			years += d.Years
		}
		if years <= most {
			continue
		}
		most, out = years, out[:0:0]
		for _, d := range bySeries[id] {
			out = append(out, *d)
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Day < out[j].Day })
	return out
}
