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
	if n := strings.Count(svg, "h-12z"); n != 9 { // a month without a day has no bar
		t.Errorf("%d bars, want 9", n)
	}
	for _, want := range []string{"2019", "2021", "&lt;b&gt;", "M32 74h12v-24h-12z", "M44 74h12v-12h-12z"} {
		if !strings.Contains(svg, want) {
			t.Errorf("no %q in\n%s", want, svg)
		}
	}
	// Seventy years keep three pixels a month.
	long := Coverage{Rows: []CoverageRow{{Name: "x", FirstYear: 1950, Months: make([]float64, 70*12)}}}.SVG()
	if !strings.Contains(long, `width="2536"`) {
		t.Errorf("seventy years: %s", long[:200])
	}
	if empty := (Coverage{}).SVG(); !strings.Contains(empty, "0 series") {
		t.Errorf("nothing drawn: %s", empty)
	}
}
