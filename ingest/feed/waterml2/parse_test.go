package waterml2

import (
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"example.org/eclose/ingest"
	"example.org/eclose/ingest/feed/replay"
)

// doc is a document with other prefixes than the recorded ones use: they are
// each writer's own.
func doc(observations string) string {
	return `<?xml version="1.0"?><w:Collection xmlns:w="http://www.opengis.net/waterml/2.0" xmlns:g="http://www.opengis.net/gml/3.2" xmlns:o="http://www.opengis.net/om/2.0" xmlns:x="http://www.w3.org/1999/xlink" xmlns:i="http://www.w3.org/2001/XMLSchema-instance" xmlns:s="http://www.opengis.net/swe/2.0" xmlns:sams="http://www.opengis.net/samplingSpatial/2.0">` + observations + `</w:Collection>`
}

func obs(property, feature, defaults, points string) string {
	return `<w:observationMember><o:OM_Observation>` + property + `<o:featureOfInterest ` + feature + `</o:featureOfInterest><o:result><w:MeasurementTimeseries><w:defaultPointMetadata><w:DefaultTVPMeasurementMetadata>` + defaults + `</w:DefaultTVPMeasurementMetadata></w:defaultPointMetadata>` + points + `</w:MeasurementTimeseries></o:result></o:OM_Observation></w:observationMember>`
}

const (
	water = `<o:observedProperty x:href="http://example.org/property/WaterTemperature"/>`
	rain  = `<o:observedProperty x:title="Rainfall"/>`
	wend  = `x:href="https://example.org/stations/wend">`
	degC  = `<w:uom code="degC"/>`
)

func point(at, value string) string {
	return `<w:point><w:MeasurementTVP><w:time>` + at + `</w:time>` + value + `</w:MeasurementTVP></w:point>`
}

func kindOf(word, span string) string {
	return `<w:interpolationType x:href="http://www.opengis.net/def/waterml/2.0/interpolationType/` + word + `"/><w:aggregationDuration>` + span + `</w:aggregationDuration>`
}

func parse(t *testing.T, body string) ([]ingest.Series, string) {
	t.Helper()
	var told []string
	s, err := Parser{Skipped: func(x ingest.Skipped) { told = append(told, x.String()) }}.Parse(strings.NewReader(body))
	if err != nil {
		t.Fatal(err)
	}
	return s, strings.Join(told, "; ")
}

func TestPrefixesAreEachWritersOwnAndManyObservationsStayApart(t *testing.T) {
	v := `<w:value>9.5</w:value>`
	s, _ := parse(t, doc(
		obs(`<o:procedure x:href="http://example.org/sensor/1"/>`+water, wend, degC, point("2026-05-01T10:00:00Z", v))+
			obs(`<o:procedure x:href="http://example.org/sensor/2"/>`+water, wend, degC, point("2026-05-01T10:00:00Z", v))+
			obs(water, `x:href="https://example.org/stations/garrow">`, degC, point("2026-05-01T12:00:00+02:00", v))))
	var keys []string
	for _, x := range s {
		keys = append(keys, x.String())
	}
	want := "waterml2/example.org/stations/wend/water_temperature/instant/ts=example.org/sensor/1 waterml2/example.org/stations/wend/water_temperature/instant/ts=example.org/sensor/2 waterml2/example.org/stations/garrow/water_temperature/instant"
	if got := strings.Join(keys, " "); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if got := s[2].At(0).Hour(); got != 10 {
		t.Errorf("12:00 at +02:00 became %d:00 UTC", got)
	}
}

func TestAPointOverridesTheDefaultAndKeepsItsWords(t *testing.T) {
	own := func(s string) string {
		return `<w:metadata><w:TVPMeasurementMetadata>` + s + `</w:TVPMeasurementMetadata></w:metadata>`
	}
	s, _ := parse(t, doc(obs(water, wend, degC+`<w:quality x:href="http://www.opengis.net/def/waterml/2.0/quality/unchecked"/><w:qualifier x:title="Provisional data"/>`,
		point("2026-05-01T10:00:00Z", `<w:value>9.5</w:value>`)+
			point("2026-05-01T11:00:00Z", `<w:value>9.6</w:value>`+own(`<w:quality x:href="http://www.opengis.net/def/waterml/2.0/quality/estimated"/><w:qualifier><s:Category><s:value>Ice</s:value></s:Category></w:qualifier>`))+
			point("2026-05-01T12:00:00Z", `<w:value i:nil="true" nilReason="missing"/>`+own(`<w:nilReason x:href="http://www.opengis.net/def/nil/OGC/0/withheld"/>`))+
			point("2026-05-01T13:00:00Z", `<w:value/>`)+
			point("2026-05-01T14:00:00Z", `<w:value>NaN</w:value>`)+
			point("2026-05-01T15:00:00Z", `<w:value>Ssn</w:value>`))))
	if s[0].Len() != 6 || s[0].MissingCount() != 4 {
		t.Fatalf("%d readings, %d missing, want 6 and 4", s[0].Len(), s[0].MissingCount())
	}
	if got := strings.Join(s[0].Qualifier, "|"); got != "unchecked|estimated,Ice|unchecked,withheld|unchecked|unchecked|Ssn,unchecked" {
		t.Errorf("qualifiers %q", got)
	}
	if s[0].Approval[0] != ingest.Provisional || s[0].Approval[1] != ingest.ApprovalUnknown {
		t.Errorf("approvals %v", s[0].Approval)
	}
}

func TestWhatAValueStandsForIsToldByItsInterpolationType(t *testing.T) {
	for _, c := range []struct {
		name, property, defaults, at string
		want                         string // key after the site, time; or what is told
	}{
		{"the mean of the hour before", water, kindOf("AveragePrec", "PT1H"), "2026-05-01T10:00:00Z", "water_temperature/mean/PT1H 2026-05-01T10:00"},
		{"the mean of the hour after", water, kindOf("AverageSucc", "PT60M"), "2026-05-01T09:00:00Z", "water_temperature/mean/PT1H 2026-05-01T10:00"},
		{"the highest of the day before, on the wall", water, kindOf("MaxPrec", "P1D"), "2026-05-02T00:00:00+02:00", "water_temperature/max/P1D 2026-05-01T00:00"},
		{"the lowest of the day after, on the wall", water, kindOf("MinSucc", "PT24H"), "2026-05-01T00:00:00-08:00", "water_temperature/min/P1D 2026-05-01T00:00"},
		{"rain of a quarter of an hour", rain, kindOf("TotalPrec", "PT15M"), "2026-05-01T10:00:00Z", "precipitation/sum/PT15M 2026-05-01T10:00"},
		{"a mean of nobody knows how long", water, kindOf("AveragePrec", ""), "2026-05-01T10:00:00Z", "the period they cover is not given"},
		{"a mean of a month", water, kindOf("AveragePrec", "P1M"), "2026-05-01T10:00:00Z", "their span"},
		{"rain at a moment", rain, kindOf("Continuous", ""), "2026-05-01T10:00:00Z", "the period its sums cover is not given"},
		{"a total that goes on growing", rain, kindOf("InstantTotal", ""), "2026-05-01T10:00:00Z", "InstantTotal"},
		{"a date", water, "", "2026-05-01", "water_temperature/instant/P1D 2026-05-01T00:00"},
	} {
		t.Run(c.name, func(t *testing.T) {
			unit := degC
			if c.property == rain {
				unit = `<w:uom code="mm"/>`
			}
			s, told := parse(t, doc(obs(c.property, wend, unit+c.defaults, point(c.at, `<w:value>1.5</w:value>`))))
			got := told
			if len(s) == 1 {
				got = strings.TrimPrefix(s[0].String(), "waterml2/example.org/stations/wend/") + " " + s[0].At(0).Format("2006-01-02T15:04")
			}
			if got != c.want && (len(s) > 0 || !strings.Contains(told, c.want)) {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func TestTheSiteIsItsMostLastingName(t *testing.T) {
	p := point("2026-05-01T10:00:00Z", `<w:value>1</w:value>`)
	inline := func(inside string) string {
		return ` x:title="Wend"><w:MonitoringPoint g:id="p1">` + inside + `</w:MonitoringPoint>`
	}
	id := `<g:identifier codeSpace="x">EX.17</g:identifier>`
	for _, c := range []struct{ name, body, want string }{
		{"of the point", doc(obs(water, inline(id), degC, p)), "EX.17"},
		{"of the link", doc(obs(water, wend, degC, p)), "example.org/stations/wend"},
		{"of the collection, for one place", doc(id + obs(water, inline(""), degC, p)), "EX.17"},
		{"of the point's element, for two places", doc(id + obs(water, inline(""), degC, p) + obs(water, ` x:title="Garrow"><w:MonitoringPoint g:id="p2"/>`, degC, p)), "p1 p2"},
		{"of the title", doc(obs(water, ` x:title="Wend">`, degC, p)), "Wend"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, _ := parse(t, c.body)
			var got []string
			for _, x := range s {
				got = append(got, x.Site)
			}
			if strings.Join(got, " ") != c.want {
				t.Errorf("got %q, want %q", got, c.want)
			}
		})
	}
}

func TestAPlaceAndItsZone(t *testing.T) {
	s, _ := parse(t, doc(obs(water, `x:title="Wend"><w:MonitoringPoint g:id="p"><sams:shape><g:Point><g:pos srsName="urn:ogc:def:crs:EPSG::4326">44.5 -121.25</g:pos></g:Point></sams:shape><w:timeZone><w:TimeZone><w:zoneOffset>-05:30</w:zoneOffset></w:TimeZone></w:timeZone></w:MonitoringPoint>`,
		degC, point("2026-05-01T10:00:00", `<w:value>1</w:value>`))))
	if got := s[0].At(0).Format(time.RFC3339); got != "2026-05-01T15:30:00Z" {
		t.Errorf("10:00 at -05:30 became %s", got)
	}
	if s[0].Place.Lat != 44.5 || s[0].Place.Lon != -121.25 || s[0].Place.Name != "Wend" || !math.IsNaN(s[0].Place.Elevation) {
		t.Errorf("got %+v", s[0].Place)
	}
}

func TestPointsSentTwiceAreKeptOnceAndTold(t *testing.T) {
	s, told := parse(t, doc(obs(water, wend, degC, point("2026-05-01T10:00:00Z", `<w:value>1</w:value>`)+point("2026-05-01T10:00:00Z", `<w:value>2</w:value>`))))
	if s[0].Len() != 1 || s[0].Value[0] != 2 || !strings.Contains(told, "repeated times") {
		t.Errorf("got %v, told %q", s[0].Value, told)
	}
}

func TestWhatIsLeftOutIsTold(t *testing.T) {
	temperature := `<o:observedProperty x:title="Temperature"/>`
	s, told := parse(t, doc(obs(temperature, wend, degC, point("2026-05-01T10:00:00Z", `<w:value>1</w:value>`))+
		`<w:observationMember><o:OM_Observation>`+water+`<o:featureOfInterest `+wend+`</o:featureOfInterest><o:result><w:CategoricalTimeseries><w:point/><w:point/></w:CategoricalTimeseries></o:result></o:OM_Observation></w:observationMember>`+
		`<w:observationMember><o:OM_Observation>`+water+`<o:featureOfInterest `+wend+`</o:featureOfInterest><o:result>7</o:result></o:OM_Observation></w:observationMember>`))
	for _, w := range []string{"observed property Temperature: skipped 1", "categories: skipped 2", "no time series: skipped 1"} {
		if !strings.Contains(told, w) {
			t.Errorf("told %q, without %q", told, w)
		}
	}
	if len(s) != 0 {
		t.Errorf("got %v", s)
	}
}

func TestWhatIsNoAnswerSaysWhatItIs(t *testing.T) {
	one := point("2026-05-01T10:00:00Z", `<w:value>1</w:value>`)
	for _, c := range []struct {
		name, body, want string
		retry            bool
	}{
		{"nothing", "", "is empty", false},
		{"a web page", "<!DOCTYPE html><html><body><p>closed", "web page", false},
		{"a refusal", `<ows:ExceptionReport xmlns:ows="http://www.opengis.net/ows/1.1"><ows:Exception exceptionCode="InvalidParameterValue"><ows:ExceptionText>no such procedure</ows:ExceptionText></ows:Exception></ows:ExceptionReport>`, "InvalidParameterValue no such procedure", false},
		{"WaterML 1", `<timeSeriesResponse xmlns="http://www.cuahsi.org/waterML/1.1/"/>`, "WaterML 1, not 2", false},
		{"something else", `<kml/>`, `"kml" holds no observation`, false},
		{"not XML", "{}", "is not XML", false},
		{"cut on its way", doc(obs(water, wend, degC, one))[:900], "ends early", true},
		{"a time without zone", doc(obs(water, wend, degC, point("2026-05-01T10:00:00", `<w:value>1</w:value>`))), "observation 1, point 1, time: \"2026-05-01T10:00:00\" does not say its offset", false},
		{"a time that is none", doc(obs(water, wend, degC, point("yesterday", `<w:value>1</w:value>`))), `"yesterday" is not a time`, false},
		{"a time long past", doc(obs(water, wend, degC, point("0001-01-01T00:00:00Z", `<w:value>1</w:value>`))), "year 1", false},
		{"a value that is none", doc(obs(water, wend, degC, point("2026-05-01T10:00:00Z", `<w:value>1.2.3</w:value>`))), `"1.2.3" is not a number`, false},
		{"a unit nobody knows", doc(obs(water, wend, `<w:uom code="furlong"/>`, one)), "furlong", false},
		{"no unit", doc(obs(water, wend, "", one)), `unit ""`, false},
		{"two units in one series", doc(obs(water, wend, degC, one) + obs(water, wend, `<w:uom code="[degF]"/>`, point("2026-05-01T11:00:00Z", `<w:value>50</w:value>`))), "must have one unit", false},
		{"no feature", doc(obs(water, ">", degC, one)), "does not name its feature", false},
	} {
		t.Run(c.name, func(t *testing.T) {
			_, err := Parser{}.Parse(strings.NewReader(c.body))
			var e *ingest.Error
			if !errors.As(err, &e) || !strings.Contains(err.Error(), c.want) {
				t.Fatalf("got %v, want an *ingest.Error with %q", err, c.want)
			}
			if e.Retryable != c.retry {
				t.Errorf("retryable is %v, want %v", e.Retryable, c.retry)
			}
		})
	}
}

func FuzzParse(f *testing.F) {
	for _, b := range replay.Seeds(f, 64<<10, "waterml2") {
		f.Add(b)
	}
	f.Add([]byte(doc(obs(rain, wend, degC+kindOf("TotalPrec", "PT15M"), point("2026-05-01T10:00:00Z", `<w:value i:nil="1"/>`)))))
	f.Fuzz(func(t *testing.T, b []byte) {
		series, err := Parser{Site: "s"}.Parse(strings.NewReader(string(b)))
		if e := (*ingest.Error)(nil); err != nil && !errors.As(err, &e) {
			t.Fatalf("the error %v is no *ingest.Error", err)
		}
		for i := range series {
			if err := series[i].Check(); err != nil {
				t.Fatal(err)
			}
			_ = fmt.Sprint(series[i].Key)
		}
	})
}
