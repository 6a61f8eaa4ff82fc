package chart

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
)

func TestCoverageIsWellFormedAndDrawsEachMonthOnce(t *testing.T) {
	none := math.NaN()
	svg := Coverage{Rows: []CoverageRow{
		{Name: "usgs/a<b>/water_temperature", FirstYear: 2019, Months: []float64{none, none, 1, 0.5, 0, 1, 1, 1, 1, 1, 1, none}},
		{Name: "usgs/a/discharge", FirstYear: 2021, Months: []float64{1, none, none, none, none, none, none, none, none, none, none, none}},
	}}.SVG()
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		if _, err := d.Token(); errors.Is(err, io.EOF) {
			break
		} else if err != nil {
			t.Fatalf("%v in\n%s", err, svg)
		}
	}
	if n := strings.Count(svg, "h-3z"); n != 9 { // a month without a day has no bar
		t.Errorf("%d bars, want 9", n)
	}
	for _, want := range []string{"2019", "2021", "&lt;b&gt;", "M14 74h3v-24h-3z", "M17 74h3v-12h-3z"} {
		if !strings.Contains(svg, want) {
			t.Errorf("no %q in\n%s", want, svg)
		}
	}
	if empty := (Coverage{}).SVG(); !strings.Contains(empty, "0 series") {
		t.Errorf("nothing drawn: %s", empty)
	}
}
