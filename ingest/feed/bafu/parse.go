package bafu

import (
	"encoding/xml"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/response"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "bafu"

const feed response.Feed = FeedName

// Parser reads one response.
type Parser struct {
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

// types: number of a parameter -> variable.
var types = map[string]ingest.Variable{
	"1": ingest.GaugeHeight, "2": ingest.GaugeHeight, "3": ingest.WaterTemperature, "10": ingest.Discharge, "22": ingest.Discharge,
}

// words: first word of a parameter's name -> meaning, where it has no number.
var words = map[string]ingest.Variable{"Pegel": ingest.GaugeHeight, "Abfluss": ingest.Discharge, "Wassertemperatur": ingest.WaterTemperature, "Temperatur": ingest.WaterTemperature}

type station struct {
	Number     string `xml:"number,attr"`
	Name       string `xml:"name,attr"`
	Water      string `xml:"water-body-name,attr"`
	Easting    string `xml:"easting,attr"`
	Northing   string `xml:"northing,attr"`
	Parameters []struct {
		Type    string  `xml:"type,attr"`
		Variant string  `xml:"variant,attr"`
		Field   string  `xml:"field-name,attr"`
		Name    string  `xml:"name,attr"`
		Unit    string  `xml:"unit,attr"`
		Time    string  `xml:"datetime"`
		Value   *string `xml:"value"`
	} `xml:"parameter"`
}

// reading is one value.
type reading struct {
	site, series string
	variable     ingest.Variable
	unit         string
	place        ingest.SiteInfo
	time, value  string
}

type parsing struct {
	c        *ingest.Collector
	zone     *time.Location
	exported time.Time // when the file was written; zero if it does not say
}

// Parse implements ingest.Parser.
func (p Parser) Parse(r io.Reader) ([]ingest.Series, error) {
	zone, err := time.LoadLocation("Europe/Zurich")
	if err != nil {
		return nil, feed.Fault("time zones", "Europe/Zurich is unknown on this machine", "install the system's time zone data", err)
	}
	ps := &parsing{c: ingest.NewCollector(FeedName, p.Skipped), zone: zone}
	if err := feed.XML(r, ps.read); err != nil {
		return nil, err
	}
	return ps.c.Finish()
}

func (p *parsing) read(d *xml.Decoder) error {
	const root = "locations"
	for inside := false; ; {
		t, err := d.Token()
		if err != nil {
			return err
		}
		switch t := t.(type) {
		case xml.EndElement:
			if t.Name.Local == root {
				return nil
			}
		case xml.StartElement:
			switch {
			case !inside:
				if t.Name.Local != root {
					return feed.Fault("response", fmt.Sprintf("its root is %q", ingest.Clip(t.Name.Local)), "save hydroweb.xml", nil)
				}
				inside = true
				for _, a := range t.Attr {
					if a.Name.Local == "export-time" {
						// Newer files tell the offset of the export rightly.
						if at, err := time.Parse(time.RFC3339, a.Value); err == nil {
							p.exported = at
						}
					}
				}
			case t.Name.Local == "station":
				var s station
				if err := d.DecodeElement(&s, &t); err != nil {
					return err
				}
				if err := p.station(s); err != nil {
					return err
				}
			}
		}
	}
}

func (p *parsing) station(s station) error {
	pl := ingest.SiteInfo{Name: strings.Trim(s.Water+" - "+s.Name, " -"), Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN(), Zone: "Europe/Zurich"}
	e, err1 := strconv.ParseFloat(s.Easting, 64)
	n, err2 := strconv.ParseFloat(s.Northing, 64)
	if err1 == nil && err2 == nil {
		pl.Lat, pl.Lon = wgs84(e, n)
	}
	for _, x := range s.Parameters {
		r := reading{site: s.Number, series: x.Type + "-" + x.Variant, unit: x.Unit, place: pl, time: x.Time}
		if x.Value != nil {
			r.value = *x.Value
		}
		if x.Field != "" {
			r.series = x.Field
		}
		if t, ok := types[x.Type]; ok {
			r.variable = t
		} else if x.Type == "" {
			first, _, _ := strings.Cut(x.Name, " ")
			r.variable = words[first]
		}
		if r.variable == "" {
			p.c.Skip(s.Number, "parameter "+ingest.Clip(x.Name), "unsupported variable", 1)
			continue
		}
		if err := p.add(r); err != nil {
			return err
		}
	}
	return nil
}

func (p *parsing) add(r reading) error {
	where := "station " + ingest.Clip(r.site)
	if r.site == "" {
		return feed.Unexpected("response", "a station has no number", nil)
	}
	at, ok, err := p.instant(strings.TrimSpace(r.time))
	if err != nil {
		return feed.Unexpected(where, err.Error(), nil)
	}
	if !ok {
		p.c.Skip(r.site, "series "+r.series, "it has no reading at present", 1)
		return nil
	}
	if r.value == "NaN" {
		r.value = ""
	}
	v, err := response.Number(r.value)
	if err != nil {
		return feed.Unexpected(where+", "+r.series, err.Error(), nil)
	}
	g, err := p.c.Open(ingest.Key{Feed: FeedName, Site: r.site, Variable: r.variable, Statistic: ingest.Instant, TimeSeries: r.series}, r.unit)
	if err != nil {
		return feed.Unit(where, err)
	}
	g.Place = r.place
	g.Add(at.UnixMicro(), v, "", ingest.ApprovalUnknown)
	return nil
}

// instant reads a time of the Swiss wall clock. Files of 2021 write "+01:00"
// behind it all year, also in summer, when a reading would lie an hour ahead of
// the file that holds it: so the offset is put aside. Of the hour that autumn
// repeats, the later pass that is not ahead of the file is taken. No time, or
// one of 1900, means that there is no reading.
func (p *parsing) instant(s string) (at time.Time, ok bool, err error) {
	if s == "" || strings.HasPrefix(s, "1900-01-01") {
		return at, false, nil
	}
	wall, err := time.Parse("2006-01-02T15:04:05", s[:min(len(s), len("2006-01-02T15:04:05"))])
	if err != nil {
		return at, false, fmt.Errorf("%q is not a time", ingest.Clip(s))
	}
	if err := ingest.YearInRange(wall); err != nil {
		return at, false, fmt.Errorf("%q %w", ingest.Clip(s), err)
	}
	two, n := ingest.WallClock(wall, p.zone)
	switch {
	case n == 0:
		return at, false, fmt.Errorf("%q is in the hour that the clocks leave out", ingest.Clip(s))
	case n == 2 && !p.exported.IsZero() && !two[1].After(p.exported):
		return two[1], true, nil
	}
	return two[0], true, nil
}

// wgs84 turns Swiss coordinates (LV03, m) into degrees by the approximate
// formulas of the Federal Office of Topography ("Approximate formulas for the
// transformation between Swiss projection coordinates and WGS84"; recalled,
// held to its worked example in the test; good to about a metre inside
// Switzerland).
func wgs84(easting, northing float64) (lat, lon float64) {
	y, x := (easting-600000)/1e6, (northing-200000)/1e6
	if math.Abs(y) > 0.3 || math.Abs(x) > 0.3 {
		return math.NaN(), math.NaN()
	}
	lon = 2.6779094 + 4.728982*y + 0.791484*y*x + 0.1306*y*x*x - 0.0436*y*y*y
	lat = 16.9023892 + 3.238272*x - 0.270978*y*y - 0.002528*x*x - 0.0447*y*y*x - 0.0140*x*x*x
	return lat * 100 / 36, lon * 100 / 36
}
