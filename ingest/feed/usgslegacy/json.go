package usgslegacy

import (
	"errors"
	"fmt"
	"html"
	"io"
	"math"
	"strconv"
	"strings"
	"time"

	jsonv2 "github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/usgs"
)

// WaterML-JSON is read as a stream of tokens: a year of quarter hours never
// stands in memory twice. Members may come in any order, so values are turned
// into house units only when their time series is whole.

var lax = jsonv2.JoinOptions(jsontext.AllowDuplicateNames(true), jsontext.AllowInvalidUTF8(true))

type sourceInfo struct {
	SiteName string `json:"siteName"`
	SiteCode []struct {
		Value      string `json:"value"`
		AgencyCode string `json:"agencyCode"`
	} `json:"siteCode"`
	TimeZoneInfo struct {
		DefaultTimeZone struct {
			ZoneAbbreviation string `json:"zoneAbbreviation"`
		} `json:"defaultTimeZone"`
		SiteUsesDaylightSavingsTime bool `json:"siteUsesDaylightSavingsTime"`
	} `json:"timeZoneInfo"`
	GeoLocation struct {
		GeogLocation struct {
			Latitude  float64 `json:"latitude"`
			Longitude float64 `json:"longitude"`
		} `json:"geogLocation"`
	} `json:"geoLocation"`
}

type variable struct {
	VariableCode []struct {
		Value string `json:"value"`
	} `json:"variableCode"`
	Unit struct {
		UnitCode string `json:"unitCode"`
	} `json:"unit"`
	Options struct {
		Option []struct {
			OptionCode string `json:"optionCode"`
		} `json:"option"`
	} `json:"options"`
	NoDataValue *float64 `json:"noDataValue"`
}

// method is one sensor's column of values, as sent.
type method struct {
	id    string
	daily bool
	mixed bool
	time  []int64
	value []float64
	qual  []string
	appr  []ingest.Approval
}

func (m *method) add(at int64, daily bool, v float64, r remark) {
	if len(m.time) == 0 {
		m.daily = daily
	}
	m.mixed = m.mixed || m.daily != daily
	m.time, m.value = append(m.time, at), append(m.value, v)
	m.qual, m.appr = append(m.qual, r.rest), append(m.appr, r.approval)
}

func (c *collector) json(r io.Reader) error {
	dec := jsontext.NewDecoder(r, lax)
	found := false
	err := object(dec, func(name string) error {
		switch {
		case name == "value" && dec.PeekKind() == '{':
			return object(dec, func(name string) error {
				if name != "timeSeries" {
					return dec.SkipValue()
				}
				found = true
				n := 0
				return array(dec, func() error {
					n++
					return c.timeSeries(dec, n)
				})
			})
		case name == "code" || name == "error" || name == "description" || name == "features":
			return bad("file", "is not WaterML-JSON", "for Water Data API responses use the feed usgs", nil)
		}
		return dec.SkipValue()
	})
	switch {
	case err == nil && !found:
		return bad("file", "has no member value.timeSeries", "save an answer of the legacy services with format=json", nil)
	case err == nil:
		return nil
	case errors.Is(err, io.ErrUnexpectedEOF) || errors.Is(err, io.EOF):
		return cut(fmt.Sprintf("byte %d", dec.InputOffset()))
	}
	return asError(err, fmt.Sprintf("byte %d, %s", dec.InputOffset(), dec.StackPointer()), "is not valid WaterML-JSON", "save the answer again")
}

func (c *collector) timeSeries(dec *jsontext.Decoder, n int) error {
	where := fmt.Sprintf("time series %d", n)
	var si sourceInfo
	var v variable
	var ms []method
	err := object(dec, func(name string) error {
		switch name {
		case "sourceInfo":
			return jsonv2.UnmarshalDecode(dec, &si)
		case "variable":
			return jsonv2.UnmarshalDecode(dec, &v)
		case "values":
			return array(dec, func() error {
				m, err := c.method(dec, where)
				ms = append(ms, m)
				return err
			})
		case "name":
			t, err := dec.ReadToken()
			if err == nil && t.Kind() == '"' {
				where += " (" + ingest.Clip(t.String()) + ")"
			}
			return err
		}
		return dec.SkipValue()
	})
	if err != nil {
		return err
	}
	if len(si.SiteCode) == 0 || len(v.VariableCode) == 0 {
		return bad(where, "names no site or no variable", "save the answer again", nil)
	}
	h := head{agency: si.SiteCode[0].AgencyCode, number: si.SiteCode[0].Value, name: html.UnescapeString(si.SiteName),
		lat: si.GeoLocation.GeogLocation.Latitude, lon: si.GeoLocation.GeogLocation.Longitude,
		zone:      usgs.ZoneOf(si.TimeZoneInfo.DefaultTimeZone.ZoneAbbreviation, si.TimeZoneInfo.SiteUsesDaylightSavingsTime),
		parameter: v.VariableCode[0].Value, unit: v.Unit.UnitCode, noData: usgs.NoData}
	if len(v.Options.Option) > 0 {
		h.statistic = v.Options.Option[0].OptionCode
	}
	if v.NoDataValue != nil {
		h.noData = *v.NoDataValue
	}
	return c.methods(where, h, ms)
}

// methods makes one series of each sensor. Two sensors are never joined, not
// even when one of them is silent.
func (c *collector) methods(where string, h head, ms []method) error {
	for _, m := range ms {
		if m.mixed {
			return bad(where, "mixes days with instants", "save the answer again", nil)
		}
		daily := m.daily
		if len(m.time) == 0 {
			daily = h.statistic != "" && h.statistic != "00000"
		}
		s, conv, ok, err := c.open(where, h, m.id, daily, len(m.time))
		if err != nil {
			return err
		}
		if !ok {
			continue
		}
		s.Time, s.Value, s.Qualifier, s.Approval = m.time, m.value, m.qual, m.appr
		for i, x := range s.Value {
			if x == h.noData {
				x = math.NaN()
			}
			s.Value[i] = conv.Apply(x)
		}
		if err := c.keep(where, s); err != nil {
			return err
		}
	}
	return nil
}

func (c *collector) method(dec *jsontext.Decoder, where string) (m method, _ error) {
	return m, object(dec, func(name string) error {
		switch name {
		case "method":
			var list []struct {
				MethodID jsontext.Value `json:"methodID"`
			}
			if err := jsonv2.UnmarshalDecode(dec, &list); err != nil {
				return err
			}
			if len(list) > 0 {
				m.id = strings.Trim(string(list[0].MethodID), `"`)
			}
			return nil
		case "value":
			return array(dec, func() error { return c.reading(dec, where, &m) })
		}
		return dec.SkipValue()
	})
}

func (c *collector) reading(dec *jsontext.Decoder, where string, m *method) error {
	var (
		v        float64
		word     string
		at       int64
		daily    bool
		haveTime bool
		rem      remark
	)
	at0 := func() string { return fmt.Sprintf("%s, value %d", where, len(m.time)+1) }
	// Every reading of every answer passes here: members are read as raw bytes,
	// and short strings made of them stay on the stack.
	t, err := dec.ReadToken()
	if err != nil {
		return err
	}
	if t.Kind() != '{' {
		return bad(at0(), "is not an object", "save the answer again", nil)
	}
	for dec.PeekKind() != '}' {
		name, err := dec.ReadValue()
		if err != nil {
			return err
		}
		switch string(name) {
		case `"value"`:
			raw, err := dec.ReadValue()
			if err != nil {
				return err
			}
			if v, word, err = jsonNumber(raw); err != nil {
				return bad(at0(), "the value "+err.Error(), "report it with the saved file", nil)
			}
		case `"dateTime"`:
			raw, err := dec.ReadValue()
			if err != nil {
				return err
			}
			if at, daily, err = jsonInstant(raw); err != nil {
				return bad(at0(), err.Error(), "report it with the saved file", nil)
			}
			haveTime = true
		case `"qualifiers"`:
			if rem, err = c.jsonQualifiers(dec); err != nil {
				return err
			}
		default:
			if err := dec.SkipValue(); err != nil {
				return err
			}
		}
	}
	_, err = dec.ReadToken()
	if err != nil {
		return err
	}
	if !haveTime {
		return bad(at0(), "has no dateTime", "report it with the saved file", nil)
	}
	if word != "" {
		rem.rest = join(word, rem.rest)
	}
	m.add(at, daily, v, rem)
	return nil
}

// jsonNumber reads a value: a number in quotes in every answer seen, a bare one
// or null allowed.
func jsonNumber(raw jsontext.Value) (v float64, word string, err error) {
	switch raw.Kind() {
	case 'n':
		return math.NaN(), "", nil
	case '"':
		if v, err := strconv.ParseFloat(string(raw[1:len(raw)-1]), 64); err == nil && !math.IsInf(v, 0) && v != usgs.NoData {
			return v, "", nil
		}
		s, err := unquote(raw)
		if err != nil {
			return 0, "", err
		}
		return usgs.Value(s)
	}
	return usgs.Value(string(raw))
}

func jsonInstant(raw jsontext.Value) (at int64, daily bool, err error) {
	if raw.Kind() != '"' {
		return 0, false, fmt.Errorf("the time %s is not a text", ingest.Clip(string(raw)))
	}
	if t, err := time.Parse(time.RFC3339, string(raw[1:len(raw)-1])); err == nil {
		return t.UnixMicro(), false, inRange(t)
	}
	s, err := unquote(raw)
	if err != nil {
		return 0, false, err
	}
	return instant(s)
}

func unquote(raw jsontext.Value) (string, error) {
	b, err := jsontext.AppendUnquote(nil, raw)
	if err != nil {
		return "", fmt.Errorf("%s cannot be read", ingest.Clip(string(raw)))
	}
	return string(b), nil
}

func join(word, rest string) string {
	if rest == "" || rest == word {
		return word
	}
	return word + "," + rest
}

// jsonQualifiers reads the list; the common list of one code costs no copy.
func (c *collector) jsonQualifiers(dec *jsontext.Decoder) (remark, error) {
	raw, err := dec.ReadValue()
	if err != nil {
		return remark{}, err
	}
	if r, ok := c.words[string(raw)]; ok {
		return r, nil
	}
	var list []string
	if err := jsonv2.Unmarshal(raw, &list, lax); err != nil {
		return remark{}, bad("qualifiers", "is not a list of codes", "report it with the saved file", err)
	}
	r := c.qualifiers(strings.Join(list, ","))
	if len(c.words) < 1000 {
		c.words[string(raw)] = r
	}
	return r, nil
}

// object walks the members of the object that comes next; member must consume
// the value.
func object(dec *jsontext.Decoder, member func(name string) error) error {
	t, err := dec.ReadToken()
	if err != nil {
		return err
	}
	if t.Kind() == 'n' {
		return nil
	}
	if t.Kind() != '{' {
		return bad(fmt.Sprintf("byte %d", dec.InputOffset()), "an object was expected here", "save the answer again", nil)
	}
	for dec.PeekKind() != '}' {
		t, err := dec.ReadToken()
		if err != nil {
			return err
		}
		if err := member(t.String()); err != nil {
			return err
		}
	}
	_, err = dec.ReadToken()
	return err
}

func array(dec *jsontext.Decoder, element func() error) error {
	t, err := dec.ReadToken()
	if err != nil {
		return err
	}
	if t.Kind() == 'n' {
		return nil
	}
	if t.Kind() != '[' {
		return bad(fmt.Sprintf("byte %d", dec.InputOffset()), "a list was expected here", "save the answer again", nil)
	}
	for dec.PeekKind() != ']' {
		if err := element(); err != nil {
			return err
		}
	}
	_, err = dec.ReadToken()
	return err
}
