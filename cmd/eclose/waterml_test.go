package main

import (
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"
	"time"
)

// TestAWaterMLServerIsAskedByTheRequestOfTheConfig: one reading of an invented
// gauge comes in, the next pass finds nothing new, and the doctor asks the
// server's front door without a gauge's request.
func TestAWaterMLServerIsAskedByTheRequestOfTheConfig(t *testing.T) {
	t.Parallel()
	var asked []string
	srv := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		asked = append(asked, r.URL.RequestURI())
		w.Header().Set("Content-Type", "application/xml")
		point := ""
		if strings.Contains(r.URL.Query().Get("t"), "/2026-05-01T12:00:00Z") {
			point = `<w:point><w:MeasurementTVP><w:time>2026-05-01T10:00:00Z</w:time><w:value>9.5</w:value></w:MeasurementTVP></w:point>`
		}
		fmt.Fprint(w, `<w:Collection xmlns:w="http://www.opengis.net/waterml/2.0" xmlns:o="http://www.opengis.net/om/2.0" xmlns:x="http://www.w3.org/1999/xlink"><w:observationMember><o:OM_Observation><o:observedProperty x:href="http://example.org/property/WaterTemperature"/><o:featureOfInterest x:href="https://example.org/stations/beck"/><o:result><w:MeasurementTimeseries><w:defaultPointMetadata><w:DefaultTVPMeasurementMetadata><w:uom code="degC"/></w:DefaultTVPMeasurementMetadata></w:defaultPointMetadata>`+point+`</w:MeasurementTimeseries></o:result></o:OM_Observation></w:observationMember></w:Collection>`)
	}))
	defer srv.Close()
	river := "store = \"series\"\nbackfill-years = 1\n[[river]]\nname = \"Our beck\"\nlat = 54.4\nlon = -2.9\n  [[river.gauge]]\n  feed = \"waterml2\"\n  site = \"beck\"\n"
	_, path := write(t, river)
	now := time.Date(2026, 5, 1, 12, 0, 0, 0, time.UTC)
	if code, _, errs := call(t, now, "ingest", "--config", path); code != 2 || !strings.Contains(errs, `needs file = "...", or base-url in [feeds.waterml2]`) {
		t.Fatalf("without file and server: %d, %s", code, errs)
	}
	_, path = write(t, river+"[feeds.waterml2]\nbase-url = \""+srv.URL+"/sos?f={site}\"\n")
	if code, _, errs := call(t, now, "ingest", "--config", path); code != 2 || !strings.Contains(errs, "has no {from} in it") {
		t.Fatalf("a request without a span: %d, %s", code, errs)
	}
	_, path = write(t, river+"[feeds.waterml2]\nbase-url = \""+srv.URL+"/sos?f={site}&t={from}/{to}\"\n")
	code, out, errs := call(t, now, "ingest", "--config", path)
	if code != 0 || !strings.Contains(out, "1 new") {
		t.Fatalf("%d, %s%s", code, out, errs)
	}
	if code, out, _ = call(t, now, "ingest", "--config", path); code != 0 || !strings.Contains(out, "0 new, 0 revised") {
		t.Errorf("again: %d, %s", code, out)
	}
	asked = nil
	_, out, _ = call(t, now, "doctor", "--config", path)
	if len(asked) != 1 || asked[0] != "/sos" || !strings.Contains(out, "feed waterml2: "+srv.URL+"/sos answers") {
		t.Errorf("the doctor asked %v and says\n%s", asked, out)
	}
}
