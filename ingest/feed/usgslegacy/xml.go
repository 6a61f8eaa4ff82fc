package usgslegacy

import (
	"encoding/xml"
	"errors"
	"fmt"
	"html"
	"io"
	"math"
	"strconv"
	"strings"

	"example.org/eclose/ingest/feed/usgs"

	"example.org/eclose/ingest"
)

// WaterML 1.1, matched on local names: the prefixes differ between files.

type xmlSeries struct {
	Name       string `xml:"name,attr"`
	SourceInfo struct {
		SiteName string `xml:"siteName"`
		SiteCode struct {
			Agency string `xml:"agencyCode,attr"`
			Number string `xml:",chardata"`
		} `xml:"siteCode"`
		TimeZoneInfo struct {
			DST     string `xml:"siteUsesDaylightSavingsTime,attr"`
			Default struct {
				Abbreviation string `xml:"zoneAbbreviation,attr"`
			} `xml:"defaultTimeZone"`
		} `xml:"timeZoneInfo"`
		Lat string `xml:"geoLocation>geogLocation>latitude"`
		Lon string `xml:"geoLocation>geogLocation>longitude"`
	} `xml:"sourceInfo"`
	Variable struct {
		Code   string `xml:"variableCode"`
		Unit   string `xml:"unit>unitCode"`
		Option []struct {
			Code string `xml:"optionCode,attr"`
		} `xml:"options>option"`
		NoData string `xml:"noDataValue"`
	} `xml:"variable"`
	Values []struct {
		Value []struct {
			Qualifiers string `xml:"qualifiers,attr"`
			DateTime   string `xml:"dateTime,attr"`
			Text       string `xml:",chardata"`
		} `xml:"value"`
		Method struct {
			ID string `xml:"methodID,attr"`
		} `xml:"method"`
	} `xml:"values"`
}

func (c *collector) xml(r io.Reader) error {
	dec := xml.NewDecoder(r)
	root, n := "", 0
	for {
		tok, err := dec.Token()
		line, _ := dec.InputPos()
		where := fmt.Sprintf("line %d", line)
		switch {
		case errors.Is(err, io.EOF) && root != "":
			return nil
		case err != nil:
			return xmlError(where, err)
		}
		start, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		if root == "" {
			root = start.Name.Local
			if root != "timeSeriesResponse" {
				return bad(where, fmt.Sprintf("begins with <%s>, not with a WaterML 1.1 timeSeriesResponse", ingest.Clip(root)), "save the answer with format=waterml,1.1; for WaterML 2.0 use the feed waterml2", nil)
			}
		}
		if start.Name.Local != "timeSeries" {
			continue
		}
		n++
		var x xmlSeries
		if err := dec.DecodeElement(&x, &start); err != nil {
			line, _ := dec.InputPos()
			return xmlError(fmt.Sprintf("line %d", line), err)
		}
		if err := c.xmlSeries(fmt.Sprintf("time series %d (%s)", n, ingest.Clip(x.Name)), &x); err != nil {
			return err
		}
	}
}

func xmlError(where string, err error) error {
	if s := (*xml.SyntaxError)(nil); errors.As(err, &s) && strings.Contains(s.Msg, "unexpected EOF") || errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		return cut(where)
	}
	return bad(where, "is not valid WaterML", "save the answer again", err)
}

func (c *collector) xmlSeries(where string, x *xmlSeries) error {
	coordinate := func(s string) float64 {
		f, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
		if err != nil || math.IsInf(f, 0) {
			return math.NaN()
		}
		return f
	}
	si := &x.SourceInfo
	h := head{agency: si.SiteCode.Agency, number: strings.TrimSpace(si.SiteCode.Number), name: html.UnescapeString(si.SiteName),
		lat: coordinate(si.Lat), lon: coordinate(si.Lon), zone: usgs.ZoneOf(si.TimeZoneInfo.Default.Abbreviation, si.TimeZoneInfo.DST == "true"),
		parameter: strings.TrimSpace(x.Variable.Code), unit: strings.TrimSpace(x.Variable.Unit), noData: usgs.NoData}
	if len(x.Variable.Option) > 0 {
		h.statistic = x.Variable.Option[0].Code
	}
	if f := coordinate(x.Variable.NoData); !math.IsNaN(f) {
		h.noData = f
	}
	var ms []method
	for _, v := range x.Values {
		m := method{id: v.Method.ID}
		for i, r := range v.Value {
			at, daily, err := instant(r.DateTime)
			if err != nil {
				return bad(fmt.Sprintf("%s, value %d", where, i+1), err.Error(), "report it with the saved file", nil)
			}
			f, word, err := usgs.Value(r.Text)
			if err != nil {
				return bad(fmt.Sprintf("%s, value %d", where, i+1), "the value "+err.Error(), "report it with the saved file", nil)
			}
			rem := c.qualifiers(r.Qualifiers)
			if word != "" {
				rem.rest = join(word, rem.rest)
			}
			m.add(at, daily, f, rem)
		}
		ms = append(ms, m)
	}
	return c.methods(where, h, ms)
}
