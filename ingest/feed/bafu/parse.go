package bafu

import (
	"bufio"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	"example.org/eclose/ingest"
)

// FeedName is the feed's name in keys, config and messages.
const FeedName = "bafu"

// Parser reads one saved file.
type Parser struct {
	Skipped func(ingest.Skipped)
}

// Name implements ingest.Parser.
func (Parser) Name() string { return FeedName }

func bad(where, problem, hint string, err error) *ingest.Error {
	return &ingest.Error{Feed: FeedName, Where: where, Problem: problem, Hint: hint, Err: err}
}

const report = "report it with the saved file"

// types: number of a parameter -> meaning. The older files write no unit; the
// units are those that hydroweb.xml of the same day writes beside the numbers.
var types = map[string]struct {
	variable ingest.Variable
	unit     string
}{
	"1": {ingest.GaugeHeight, "m"}, "2": {ingest.GaugeHeight, "m ü. M."}, "3": {ingest.WaterTemperature, "°C"},
	"10": {ingest.Discharge, "m3/s"}, "22": {ingest.Discharge, "l/s"},
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

// listed is a row of the SMS list. The value is the one without attributes;
// those with them are sliding extremes and the reading of a day before.
type listed struct {
	Number  string `xml:"StrNr,attr"`
	Type    string `xml:"Typ,attr"`
	Variant string `xml:"Var,attr"`
	Name    string `xml:"Name"`
	Date    string `xml:"Datum"`
	Time    string `xml:"Zeit"`
	Values  []struct {
		Span string `xml:"dt,attr"`
		Kind string `xml:"Typ,attr"`
		Text string `xml:",chardata"`
	} `xml:"Wert"`
}

// reading is one value of either kind of file.
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
		return nil, bad("time zones", "Europe/Zurich is not known here", "install the system's time zone data", err)
	}
	br := bufio.NewReader(r)
	if b, _ := br.Peek(3); string(b) == "\xef\xbb\xbf" {
		_, _ = br.Discard(3)
	}
	ps := &parsing{c: ingest.NewCollector(FeedName, p.Skipped), zone: zone}
	d := xml.NewDecoder(br)
	if err := ps.read(d); err != nil {
		if e, ok := errors.AsType[*ingest.Error](err); ok {
			return nil, e
		}
		line, _ := d.InputPos()
		where := fmt.Sprintf("line %d", line)
		if s, ok := errors.AsType[*xml.SyntaxError](err); ok && strings.Contains(s.Msg, "unexpected EOF") || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			e := bad(where, "the file ends early", "the download was cut short; fetch it again", nil)
			e.Retryable = true
			return nil, e
		}
		return nil, bad(where, "is not XML", "fetch it again; if it persists, "+report, err)
	}
	return ps.c.Finish()
}

func (p *parsing) read(d *xml.Decoder) error {
	root := ""
	for {
		t, err := d.Token()
		if errors.Is(err, io.EOF) && root == "" {
			return bad("file", "is empty or not XML", "fetch it again", nil)
		}
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
			case root == "":
				root = t.Name.Local
				if root != "locations" && root != "AKT_Data" {
					return bad("file", fmt.Sprintf("its root is %q", ingest.Clip(root)), "save hydroweb.xml or the SMS list", nil)
				}
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
			case t.Name.Local == "MesPar":
				var l listed
				if err := d.DecodeElement(&l, &t); err != nil {
					return err
				}
				if err := p.listed(l); err != nil {
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
		r := reading{site: s.Number, series: number(x.Type) + "-" + number(x.Variant), unit: x.Unit, place: pl, time: x.Time}
		if x.Value != nil {
			r.value = *x.Value
		}
		if x.Field != "" {
			r.series = x.Field
		}
		if t, ok := types[number(x.Type)]; ok {
			r.variable = t.variable
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

func (p *parsing) listed(l listed) error {
	t, ok := types[number(l.Type)]
	if !ok {
		p.c.Skip(l.Number, "type "+ingest.Clip(l.Type), "unsupported variable", 1)
		return nil
	}
	r := reading{site: l.Number, series: number(l.Type) + "-" + number(l.Variant), variable: t.variable, unit: t.unit,
		place: ingest.SiteInfo{Name: strings.TrimSpace(l.Name), Lat: math.NaN(), Lon: math.NaN(), Elevation: math.NaN(), Zone: "Europe/Zurich"}}
	if l.Date != "" || l.Time != "" {
		at, err := time.Parse("02.01.2006 15:04", strings.TrimSpace(l.Date)+" "+strings.TrimSpace(l.Time))
		if err != nil {
			return bad("station "+ingest.Clip(l.Number), fmt.Sprintf("%q is not a date and a time like 11.07.2020 15:10", ingest.Clip(l.Date+" "+l.Time)), report, nil)
		}
		r.time = at.Format("2006-01-02T15:04:05")
	}
	for _, v := range l.Values {
		if v.Span == "" && v.Kind == "" {
			r.value = v.Text
		}
	}
	return p.add(r)
}

// number takes away the leading zero with which the older list writes "02".
func number(s string) string {
	if t := strings.TrimLeft(s, "0"); t != "" || s == "" {
		return t
	}
	return "0"
}

func (p *parsing) add(r reading) error {
	where := "station " + ingest.Clip(r.site)
	if r.site == "" {
		return bad("file", "a station has no number", report, nil)
	}
	at, ok, err := p.instant(strings.TrimSpace(r.time))
	if err != nil {
		return bad(where, err.Error(), report, nil)
	}
	if !ok {
		p.c.Skip(r.site, "series "+r.series, "it has no reading at present", 1)
		return nil
	}
	v, err := value(r.value)
	if err != nil {
		return bad(where+", "+r.series, err.Error(), report, nil)
	}
	g, err := p.c.Open(ingest.Key{Feed: FeedName, Site: r.site, Variable: r.variable, Statistic: ingest.Instant, TimeSeries: r.series}, r.unit)
	if err != nil {
		return bad(where, "has a unit that cannot be used", "", err)
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

// value reads a number with apostrophes between thousands; nothing and NaN are
// missing.
func value(s string) (float64, error) {
	s = strings.ReplaceAll(strings.TrimSpace(s), "'", "")
	if s == "" || s == "NaN" {
		return math.NaN(), nil
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || math.IsInf(v, 0) || math.IsNaN(v) {
		return 0, fmt.Errorf("%q is not a number", ingest.Clip(s))
	}
	return v, nil
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
